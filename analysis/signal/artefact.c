#include "analysis/signal/artefact.h"

#include "analysis/criteria.h"
#include "analysis/signal/smooth.h"

#include <math.h>

/* Samples between two readings of the neighbourhood. */
static size_t thinning(const struct series *series)
{
    const size_t step = series_whole_samples(series, 1.0 / CRITERIA_SPIKE_NEIGHBOUR_HZ);

    return step > 0 ? step : 1;
}

/* Every step-th sample, its sliding median, and the median's sorted window. */
struct neighbourhood {
    size_t step;
    struct series median;
};

size_t artefact_scratch(const struct series *series)
{
    const size_t thinned = series->count / thinning(series) + 1;

    return 3 * thinned + 2;
}

static struct neighbourhood take_neighbourhood(const struct series *series, double *scratch)
{
    const size_t step = thinning(series);
    const size_t count = (series->count + step - 1) / step;
    double *picked = scratch;
    double *median = scratch + count;
    double *sorted = scratch + 2 * count;

    for (size_t i = 0; i < count; i++) {
        picked[i] = series->samples[i * step];
    }
    const struct series thinned = {.rate_hz = series->rate_hz / (double)step,
                                   .start_s = 0.0,
                                   .count = count,
                                   .samples = picked};

    /* Where everything around lies well within the edge of an excursion there is none. */
    smooth_median_beyond(&thinned, smooth_window(&thinned, CRITERIA_SPIKE_NEIGHBOUR_HALF_S),
                         CRITERIA_SPIKE_QUIET_SHARE * CRITERIA_SPIKE_EDGE_ML_S, sorted, median);
    return (struct neighbourhood){.step = step, .median = {thinned.rate_hz, 0.0, count, median}};
}

static double level_around(const struct neighbourhood *around, size_t index)
{
    const size_t nearest = (index + around->step / 2) / around->step;
    const size_t last = around->median.count - 1;

    return around->median.samples[nearest < last ? nearest : last];
}

/* One past the last sample that has the same level around it as this one. */
static size_t level_end(const struct neighbourhood *around, size_t index)
{
    const size_t half = around->step / 2;

    return ((index + half) / around->step + 1) * around->step - half;
}

/* Height of a sample above its neighbourhood; NaN when either is missing. */
static double height(const struct series *series, const struct neighbourhood *around, size_t index)
{
    return series->samples[index] - level_around(around, index);
}

/* Largest change by which the signal comes up to (direction 1) or goes down from (-1) its values
 * within `step` samples, over the stretch first..last. */
static double fastest_change(const struct series *series, size_t first, size_t last, size_t step,
                             double direction)
{
    double fastest = 0.0;

    for (size_t i = first; i + step <= last; i++) {
        const double change = (series->samples[i + step] - series->samples[i]) * direction;

        if (change > fastest) {
            fastest = change;
        }
    }
    return fastest;
}

/* Whether the excursion comes and goes as fast as a knock. */
static bool is_fast(const struct series *series, const struct knock *knock)
{
    const double away = knock->height > 0.0 ? 1.0 : -1.0;
    const double size = fabs(knock->height);
    const size_t whole = series_whole_samples(series, CRITERIA_SPIKE_STEP_S);
    const size_t step = whole > 0 ? whole : 1;
    const size_t first = knock->first > step ? knock->first - step : 0;
    const size_t room = series->count - 1 - knock->last;
    const size_t last = knock->last + (room < step ? room : step);

    return fastest_change(series, first, last, step, away) >= CRITERIA_SPIKE_RISE_SHARE * size &&
           fastest_change(series, first, last, step, -away) >= CRITERIA_SPIKE_FALL_SHARE * size;
}

static double knock_length(const struct series *series, const struct knock *knock)
{
    return (double)(knock->last - knock->first + 1) / series->rate_hz;
}

/* First sample from `index` on that is beyond the edge of an excursion; the count when none is. */
static size_t next_beyond(const struct series *series, const struct neighbourhood *around,
                          size_t index)
{
    size_t i = index;

    while (i < series->count) {
        const double level = level_around(around, i);
        const size_t alike = level_end(around, i);
        const size_t end = alike < series->count ? alike : series->count;

        for (; i < end; i++) {
            if (fabs(series->samples[i] - level) > CRITERIA_SPIKE_EDGE_ML_S) {
                return i;
            }
        }
    }
    return i;
}

/* The excursions that are high and short enough, fast or not: only together do they show a train.
 */
static size_t find_excursions(const struct series *series, const struct neighbourhood *around,
                              struct knock *knocks)
{
    size_t found = 0;
    size_t i = next_beyond(series, around, 0);

    while (i < series->count && found < ARTEFACT_KNOCKS_MAX) {
        const double side = height(series, around, i) > 0.0 ? 1.0 : -1.0;
        struct knock knock = {.first = i};

        while (i < series->count && side * height(series, around, i) > CRITERIA_SPIKE_EDGE_ML_S) {
            if (fabs(height(series, around, i)) > fabs(knock.height)) {
                knock.height = height(series, around, i);
            }
            i++;
        }
        knock.last = i - 1;
        if (fabs(knock.height) > CRITERIA_SPIKE_HEIGHT_ML_S &&
            knock_length(series, &knock) < CRITERIA_SPIKE_MAX_S) {
            knock.fast = is_fast(series, &knock);
            knocks[found++] = knock;
        }
        i = next_beyond(series, around, i);
    }
    return found;
}

static bool is_alike(const struct series *series, const struct knock *a, const struct knock *b)
{
    const double lengths[2] = {knock_length(series, a), knock_length(series, b)};
    const double heights[2] = {fabs(a->height), fabs(b->height)};

    return fmin(lengths[0], lengths[1]) >= CRITERIA_SPIKE_TINY_S * (1.0 - 1e-9) &&
           fmax(lengths[0], lengths[1]) <=
               CRITERIA_TRAIN_ALIKE * fmin(lengths[0], lengths[1]) + 1.0 / series->rate_hz &&
           fmax(heights[0], heights[1]) <= CRITERIA_TRAIN_ALIKE * fmin(heights[0], heights[1]);
}

/* Whether enough excursions like it lie near. */
static bool is_in_train(const struct series *series, const struct knock *knocks, size_t count,
                        size_t index)
{
    const size_t near = series_whole_samples(series, CRITERIA_TRAIN_NEAR_S);
    const struct knock *knock = &knocks[index];
    size_t alike = 0;

    for (size_t i = index; i > 0 && knock->first - knocks[i - 1].first <= near; i--) {
        alike += is_alike(series, knock, &knocks[i - 1]) ? 1 : 0;
    }
    for (size_t i = index + 1; i < count && knocks[i].first - knock->first <= near; i++) {
        alike += is_alike(series, knock, &knocks[i]) ? 1 : 0;
    }
    return alike >= CRITERIA_TRAIN_OTHERS;
}

/* Whether another fast excursion upwards lies beside it. */
static bool has_company(const struct series *series, const struct knock *knocks, size_t count,
                        size_t index)
{
    const size_t away = series_whole_samples(series, CRITERIA_SPIKE_ISOLATE_S);
    const struct knock *knock = &knocks[index];

    for (size_t i = index; i > 0 && knock->first - knocks[i - 1].last <= away; i--) {
        if (knocks[i - 1].fast && knocks[i - 1].height > 0.0) {
            return true;
        }
    }
    for (size_t i = index + 1; i < count && knocks[i].first - knock->last <= away; i++) {
        if (knocks[i].fast && knocks[i].height > 0.0) {
            return true;
        }
    }
    return false;
}

static double volume_between(const struct series *series, size_t first, size_t last)
{
    double sum = 0.0;

    for (size_t i = first; i <= last; i++) {
        sum += series->samples[i] > 0.0 ? series->samples[i] : 0.0;
    }
    return sum / series->rate_hz;
}

/* What the verdict on one excursion needs to know of the rest. */
struct scene {
    const struct series *series;
    const struct neighbourhood *around;
    const struct knock *knocks;
    size_t count;
    double volume_ml; /* of the whole signal */
};

static bool is_spurt(const struct scene *scene, const struct knock *knock)
{
    const double level = level_around(scene->around, (knock->first + knock->last) / 2);

    return level < CRITERIA_FLOW_ON_ML_S &&
           volume_between(scene->series, knock->first, knock->last) >=
               CRITERIA_SPURT_SHARE * scene->volume_ml;
}

static enum knock_verdict judge_upward(const struct scene *scene, size_t index)
{
    const struct knock *knock = &scene->knocks[index];
    const double length_s = knock_length(scene->series, knock);

    if (length_s < CRITERIA_SPIKE_TINY_S * (1.0 - 1e-9) ||
        knock->height > CRITERIA_PLAUSIBLE_QMAX_ML_S) {
        return KNOCK_REMOVED;
    }
    if (is_in_train(scene->series, scene->knocks, scene->count, index) ||
        (length_s >= CRITERIA_SPIKE_BRIEF_S &&
         has_company(scene->series, scene->knocks, scene->count, index))) {
        return KNOCK_SEVERAL;
    }
    return is_spurt(scene, knock) ? KNOCK_ALONE : KNOCK_REMOVED;
}

static bool goes_negative(const struct series *series, const struct knock *knock)
{
    for (size_t i = knock->first; i <= knock->last; i++) {
        if (series->samples[i] < CRITERIA_NEGATIVE_ML_S) {
            return true;
        }
    }
    return false;
}

/* Whether a fast excursion is worth a word: a dip that the flow can make is not. */
static bool judge(const struct scene *scene, size_t index, enum knock_verdict *ret_verdict)
{
    const struct knock *knock = &scene->knocks[index];

    if (!knock->fast) {
        return false;
    }
    if (knock->height > 0.0) {
        *ret_verdict = judge_upward(scene, index);
        return true;
    }
    *ret_verdict = KNOCK_REMOVED;
    return goes_negative(scene->series, knock) ||
           knock_length(scene->series, knock) < CRITERIA_SPIKE_TINY_S * (1.0 - 1e-9);
}

/* Straight line over the knock between the samples beside it; a flat one where there is only one;
 * missing where there is none. */
static void replace(double *samples, size_t count, const struct knock *knock)
{
    double before = knock->first > 0 ? samples[knock->first - 1] : SERIES_MISSING;
    double after = knock->last + 1 < count ? samples[knock->last + 1] : SERIES_MISSING;
    const double steps = (double)(knock->last - knock->first + 2);

    before = isnan(before) ? after : before;
    after = isnan(after) ? before : after;
    for (size_t i = knock->first; i <= knock->last; i++) {
        const double share = (double)(i - knock->first + 1) / steps;

        samples[i] = before + (after - before) * share;
    }
}

size_t artefact_remove_knocks(const struct series *series, double *samples, double *scratch,
                              struct knock *knocks)
{
    if (series->count == 0 || series->rate_hz < CRITERIA_SPIKE_RATE_MIN_HZ) {
        return 0;
    }
    const struct neighbourhood around = take_neighbourhood(series, scratch);
    const size_t found = find_excursions(series, &around, knocks);
    bool told[ARTEFACT_KNOCKS_MAX];
    size_t kept = 0;

    if (found == 0) {
        return 0;
    }
    const struct scene scene = {.series = series,
                                .around = &around,
                                .knocks = knocks,
                                .count = found,
                                .volume_ml = volume_between(series, 0, series->count - 1)};

    for (size_t i = 0; i < found; i++) {
        told[i] = judge(&scene, i, &knocks[i].verdict);
    }
    for (size_t i = 0; i < found; i++) {
        if (told[i]) {
            knocks[kept++] = knocks[i];
        }
    }
    for (size_t i = 0; i < kept; i++) {
        if (knocks[i].verdict == KNOCK_REMOVED) {
            replace(samples, series->count, &knocks[i]);
        }
    }
    return kept;
}
