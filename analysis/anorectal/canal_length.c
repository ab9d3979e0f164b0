#include "analysis/anorectal/canal_length.h"

#include "analysis/criteria_anorectal.h"
#include "analysis/measure.h"

#include <math.h>

enum { BINS_MAX = 302 };

/* Anal above rectal pressure by position, at rest. */
struct profile {
    bool by_sensors; /* few and far between: the pressure falls exponentially; else in lines */
    size_t count;
    double position_mm[BINS_MAX];
    double above_mmhg[BINS_MAX];
};

static const char no_rest[] = "no resting stretch in which the sensors could be read";

/* From the first sample that is away from where the puller began to the last that is away from
 * where it ends. */
static struct span puller_span(const struct series *puller)
{
    struct span span = {SERIES_ENDLESS, -SERIES_ENDLESS};
    size_t first = 0;
    size_t last = puller->count;

    while (first < puller->count && isnan(puller->samples[first])) {
        first++;
    }
    while (last > first && isnan(puller->samples[last - 1])) {
        last--;
    }
    if (first >= last) {
        return span;
    }
    const double begin_mm = puller->samples[first];
    const double end_mm = puller->samples[last - 1];

    while (first < last &&
           !(fabs(puller->samples[first] - begin_mm) > CRITERIA_ARM_PULL_MOVED_MM)) {
        first++;
    }
    while (last > first &&
           !(fabs(puller->samples[last - 1] - end_mm) > CRITERIA_ARM_PULL_MOVED_MM)) {
        last--;
    }
    if (first < last) {
        span.from_s = series_time(puller, first) - CRITERIA_ARM_PULL_DWELL_S;
        span.to_s = series_time(puller, last - 1) + CRITERIA_ARM_PULL_DWELL_S;
    }
    return span;
}

struct span canal_length_pull(const struct study *study, const struct anal_signals *signals)
{
    const struct optional_number start =
        timeline_first(&study->timeline, EVENT_PULL_START, -SERIES_ENDLESS);

    if (start.known) {
        const struct optional_number end =
            timeline_first(&study->timeline, EVENT_PULL_END, start.value);

        return (struct span){start.value, end.known ? end.value : signals->extent.to_s};
    }
    return puller_span(&signals->puller);
}

/* ---- From the highest point both ways ---- */

/* Share of the way between two places at which the pressure passes the threshold. */
static double share_above(bool exponential, double above_mmhg, double below_mmhg)
{
    if (exponential) {
        return log(above_mmhg / CRITERIA_ARM_LENGTH_MMHG) /
               log(above_mmhg / fmax(below_mmhg, CRITERIA_ARM_LENGTH_FLOOR_MMHG));
    }
    return (above_mmhg - CRITERIA_ARM_LENGTH_MMHG) / (above_mmhg - below_mmhg);
}

/* Where the pressure passes the threshold beyond the highest point, towards one side. False when it
 * does not on that side. */
static bool find_edge(const struct profile *profile, size_t highest, bool up, double *ret_mm)
{
    size_t i = highest;

    *ret_mm = profile->position_mm[i];
    while (up ? i + 1 < profile->count : i > 0) {
        const size_t next = up ? i + 1 : i - 1;
        const double above = profile->above_mmhg[i];
        const double below = profile->above_mmhg[next];

        if (below <= CRITERIA_ARM_LENGTH_MMHG) {
            *ret_mm =
                profile->position_mm[i] + (profile->position_mm[next] - profile->position_mm[i]) *
                                              share_above(profile->by_sensors, above, below);
            return true;
        }
        *ret_mm = profile->position_mm[next];
        i = next;
    }
    return false;
}

/* Methods: whole length, and one that ends with what was recorded. */
static struct measure profile_length(const struct profile *profile, double at_s,
                                     const char *const methods[2])
{
    size_t highest = 0;
    double edges[2];

    for (size_t i = 1; i < profile->count; i++) {
        highest = profile->above_mmhg[i] > profile->above_mmhg[highest] ? i : highest;
    }
    if (profile->count == 0 || !(profile->above_mmhg[highest] > CRITERIA_ARM_LENGTH_MMHG)) {
        return measure_absent("the anal pressure is nowhere more than 5 mmHg above the rectal one");
    }
    const bool inner = find_edge(profile, highest, false, &edges[0]);
    const bool outer = find_edge(profile, highest, true, &edges[1]);

    return measure_at(edges[1] - edges[0], at_s, methods[inner && outer ? 0 : 1]);
}

/* ---- Pull-through ---- */

/* The sensor that is pulled: the only one, or with known spacing the outermost; sensors without are
 * taken to lie at one level, and the highest counts. */
static const struct series *pulled_series(const struct study *study,
                                          const struct anal_signals *signals)
{
    if (study->recording->conditions.anal_sensor_spacing_mm.known && signals->sensor_count > 0) {
        return &signals->sensors[0].series;
    }
    return &signals->anal_pull;
}

struct pull {
    const struct study *study;
    const struct anal_signals *signals;
    struct span span;
    double rect_mmhg; /* where there is no rectal signal: where the pull began */
};

static double position_at(const struct pull *pull, double at_s)
{
    if (pull->signals->puller.count > 0) {
        return series_value(&pull->signals->puller, at_s);
    }
    return pull->study->recording->conditions.puller_speed_mm_s.value * (at_s - pull->span.from_s);
}

/* Sums of what fell into each millimetre. */
struct bins {
    double position[BINS_MAX];
    double above[BINS_MAX];
    double count[BINS_MAX];
};

static void fill_bins(const struct pull *pull, const struct series *part,
                      const struct manoeuvre_list *list, double first_mm, struct bins *bins)
{
    size_t next = 0;

    for (size_t i = 0; i < part->count; i++) {
        const double at_s = series_time(part, i);
        const double rect = pull->signals->rect.count > 0 ? series_value(&pull->signals->rect, at_s)
                                                          : pull->rect_mmhg;
        const double travelled = fabs(position_at(pull, at_s) - first_mm);
        const double above = part->samples[i] - rect;

        while (next < list->count && manoeuvre_span(&list->items[next]).to_s < at_s) {
            next++;
        }
        const bool disturbed =
            next < list->count && manoeuvre_span(&list->items[next]).from_s <= at_s;

        if (!disturbed && !isnan(above) && travelled < CRITERIA_ARM_LENGTH_MOST_MM) {
            const size_t bin = (size_t)(travelled / CRITERIA_ARM_LENGTH_BIN_MM);

            if (bin < BINS_MAX) {
                bins->position[bin] += travelled;
                bins->above[bin] += above;
                bins->count[bin] += 1.0;
            }
        }
    }
}

static void take_bins(const struct bins *bins, struct profile *profile)
{
    profile->count = 0;
    for (size_t i = 0; i < BINS_MAX; i++) {
        if (bins->count[i] > 0.0) {
            profile->position_mm[profile->count] = bins->position[i] / bins->count[i];
            profile->above_mmhg[profile->count++] = bins->above[i] / bins->count[i];
        }
    }
}

static struct measure by_pull(const struct study *study, const struct anal_signals *signals,
                              const struct manoeuvre_list *list)
{
    static const char *const with_rect[2] = {
        "length of the pull-through over which the anal pressure is more than 5 mmHg above the "
        "rectal one of the same instant",
        "at least this long: the pull-through begins or ends within the canal; anal more than 5 "
        "mmHg above the rectal pressure"};
    static const char *const without_rect[2] = {
        "length of the pull-through over which the anal pressure is more than 5 mmHg above that at "
        "the beginning of the pull, taken for the rectal one",
        "at least this long: the pull-through begins or ends within the canal; anal more than 5 "
        "mmHg above the pressure at the beginning of the pull"};
    const struct optional_number speed = study->recording->conditions.puller_speed_mm_s;
    struct pull pull = {.study = study, .signals = signals, .span = list->pull};
    struct profile profile = {.by_sensors = false};
    struct bins bins = {.count = {0.0}};

    if (signals->puller.count == 0 &&
        !(speed.known && speed.value > 0.0 && speed.value <= CRITERIA_ARM_LENGTH_MOST_MM)) {
        return measure_absent("neither a puller channel nor the puller's speed is known");
    }
    const struct series part = series_part(pulled_series(study, signals), pull.span);

    if (part.count == 0) {
        return measure_absent("no anal pressure during the pull-through");
    }
    const double begin_s = part.start_s;
    const struct span begin = {begin_s, begin_s + CRITERIA_ARM_PULL_RECTAL_S};
    double first_mm = position_at(&pull, begin_s);

    if (isnan(first_mm)) {
        first_mm = position_at(&pull, pull.signals->puller.start_s);
    }
    pull.rect_mmhg = level_median(&part, begin, study->scratch);
    fill_bins(&pull, &part, list, first_mm, &bins);
    take_bins(&bins, &profile);
    return profile_length(&profile, 0.5 * (pull.span.from_s + pull.span.to_s),
                          signals->rect.count > 0 ? with_rect : without_rect);
}

/* ---- Sensors of known spacing ---- */

static double mean_within(const struct series *series, struct span span)
{
    const struct series part = series_part(series, span);
    double sum = 0.0;
    size_t present = 0;

    for (size_t i = 0; i < part.count; i++) {
        if (!isnan(part.samples[i])) {
            sum += part.samples[i];
            present++;
        }
    }
    return present > 0 ? sum / (double)present : SERIES_MISSING;
}

static struct measure by_sensors(const struct study *study, const struct anal_signals *signals,
                                 struct span rest)
{
    static const char *const methods[2] = {
        "length between the sensors over which their mean at rest is more than 5 mmHg above the "
        "rectal one; between neighbours this excess is taken to fall exponentially, to 1 mmHg at "
        "the first one beyond; uncertain by up to half of their spacing",
        "at least this long: the canal reaches beyond the sensors; mean at rest more than 5 mmHg "
        "above the rectal one"};
    const double spacing_mm = study->recording->conditions.anal_sensor_spacing_mm.value;
    const double rect = mean_within(&signals->rect, rest);
    struct profile profile = {.by_sensors = true};

    if (signals->rect.count == 0) {
        return measure_absent("no rectal pressure signal");
    }
    if (!(rest.from_s < rest.to_s) || isnan(rect)) {
        return measure_absent(no_rest);
    }
    for (size_t i = 0; i < signals->sensor_count; i++) {
        const struct anal_sensor *sensor = &signals->sensors[i];
        const double above = mean_within(&sensor->series, rest) - rect;

        if (!sensor->dead && sensor->signal != SIGNAL_PANAL && !isnan(above)) {
            profile.position_mm[profile.count] =
                spacing_mm * (double)(sensor->signal - SIGNAL_PANAL1);
            profile.above_mmhg[profile.count++] = above;
        }
    }
    if (profile.count < 2) {
        return measure_absent("fewer than two sensors of known place could be read at rest");
    }
    return profile_length(&profile, 0.5 * (rest.from_s + rest.to_s), methods);
}

struct measure canal_length_measure(const struct study *study, const struct anal_signals *signals,
                                    const struct manoeuvre_list *list, struct span rest)
{
    const struct optional_number spacing = study->recording->conditions.anal_sensor_spacing_mm;

    if (signals->anal.count == 0) {
        return measure_absent("no anal pressure signal");
    }
    if (list->pull.from_s < list->pull.to_s) {
        return by_pull(study, signals, list);
    }
    if (spacing.known && spacing.value > 0.0 && spacing.value <= CRITERIA_ARM_LENGTH_MOST_MM) {
        return by_sensors(study, signals, rest);
    }
    return measure_absent("no pull-through, and the spacing of the anal sensors is not known");
}
