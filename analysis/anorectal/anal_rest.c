#include "analysis/anorectal/anal_rest.h"

#include "analysis/criteria_anorectal.h"
#include "analysis/measure.h"
#include "analysis/memory.h"
#include "analysis/series_copy.h"
#include "analysis/signal/resample.h"

#include <math.h>

/* Means of the anal pressure over a second each, and which of them may be rest. */
struct blocks {
    struct series means;
    bool *free;
    size_t whole; /* blocks in a full resting record */
};

/* Stretch of blocks. */
struct stretch {
    size_t first;
    size_t count;
};

static void occupy(struct blocks *blocks, struct span span)
{
    const double half_s = 0.5 / blocks->means.rate_hz;
    const size_t end = series_end_at(&blocks->means, span.to_s + half_s);

    for (size_t i = series_first_at(&blocks->means, span.from_s - half_s); i < end; i++) {
        blocks->free[i] = false;
    }
}

/* Blocks well below the usual pressure are none of the canal. */
static double low_limit(const struct blocks *blocks, double *values)
{
    size_t held = 0;

    for (size_t i = 0; i < blocks->means.count; i++) {
        if (!isnan(blocks->means.samples[i])) {
            values[held++] = blocks->means.samples[i];
        }
    }
    return CRITERIA_ARM_REST_LOW_SHARE * level_median_of(values, held);
}

static bool make_blocks(struct study *study, const struct anal_signals *signals,
                        const struct manoeuvre_list *list, struct blocks *blocks)
{
    const struct series *anal = &signals->anal;
    const size_t block = resample_block(anal, 1.0 / CRITERIA_ARM_REST_BLOCK_S);
    double *means = memory_doubles(study->memory, anal->count / block);
    double *values = memory_doubles(study->memory, anal->count / block);

    blocks->free = memory_array(study->memory, anal->count / block, sizeof *blocks->free);
    if (means == NULL || values == NULL || blocks->free == NULL) {
        return false;
    }
    blocks->means = resample_means(anal, block, means);
    blocks->whole = series_whole_samples(&blocks->means, CRITERIA_ARM_REST_S);

    const double low = low_limit(blocks, values);

    for (size_t i = 0; i < blocks->means.count; i++) {
        blocks->free[i] = means[i] >= low;
    }
    for (size_t i = 0; i < list->count; i++) {
        occupy(blocks, manoeuvre_span(&list->items[i]));
    }
    occupy(blocks, list->sensory);
    occupy(blocks, list->pull);
    return true;
}

/* The stretch of a full record, up to `end`, that varies least. Count 0 when there is none. */
static struct stretch find_quietest(const struct blocks *blocks, size_t end)
{
    struct stretch best = {0, 0};
    double least = SERIES_ENDLESS;
    double sum = 0.0;
    double squares = 0.0;
    size_t length = 0;

    /* Blocks that are longer than the record asked for are left to find_longest(). */
    for (size_t i = 0; i < end && blocks->whole > 0; i++) {
        if (!blocks->free[i]) {
            length = 0;
            sum = 0.0;
            squares = 0.0;
            continue;
        }
        const double value = blocks->means.samples[i];

        sum += value;
        squares += value * value;
        length++;
        if (length > blocks->whole) {
            const double dropped = blocks->means.samples[i - blocks->whole];

            sum -= dropped;
            squares -= dropped * dropped;
            length--;
        }
        const double spread = squares - sum * sum / (double)length;

        if (length == blocks->whole && spread < least - 1e-6) {
            least = spread;
            best = (struct stretch){i + 1 - length, length};
        }
    }
    return best;
}

static struct stretch find_longest(const struct blocks *blocks)
{
    struct stretch best = {0, 0};
    size_t length = 0;

    for (size_t i = 0; i < blocks->means.count; i++) {
        length = blocks->free[i] ? length + 1 : 0;
        if (length > best.count) {
            best = (struct stretch){i + 1 - length, length};
        }
    }
    return best;
}

static struct span stretch_span(const struct blocks *blocks, struct stretch stretch)
{
    const double half_s = 0.5 / blocks->means.rate_hz;

    return (struct span){series_time(&blocks->means, stretch.first) - half_s,
                         series_time(&blocks->means, stretch.first + stretch.count - 1) + half_s};
}

static struct span no_span(void)
{
    return (struct span){SERIES_ENDLESS, -SERIES_ENDLESS};
}

static struct span find_span(const struct blocks *blocks, const struct manoeuvre_list *list)
{
    const size_t first =
        list->count > 0 ? series_end_at(&blocks->means, list->items[0].at_s) : blocks->means.count;
    struct stretch stretch = find_quietest(blocks, first);

    if (stretch.count == 0) {
        stretch = find_quietest(blocks, blocks->means.count);
    }
    if (stretch.count == 0) {
        stretch = find_longest(blocks);
    }
    return stretch.count == 0 ? no_span() : stretch_span(blocks, stretch);
}

/* From the marker on, until the first manoeuvre after it. */
static struct span marked_span(const struct manoeuvre_list *list, double from_s)
{
    struct span span = {from_s, from_s + CRITERIA_ARM_REST_S};

    for (size_t i = 0; i < list->count; i++) {
        if (list->items[i].at_s >= from_s) {
            span.to_s = fmin(span.to_s, list->items[i].window.from_s);
            break;
        }
    }
    return span;
}

/* Mean over the samples that lie near the median around them. False when less than half do, or
 * memory ran out (*ret_fits false). */
static bool mean_without_artefacts(struct study *study, const struct series *part, double *ret_mean,
                                   bool *ret_found)
{
    const size_t block = resample_block(part, CRITERIA_ARM_LEVEL_RATE_HZ);
    struct series slow;
    struct series median;
    double sum = 0.0;
    size_t kept = 0;

    if (!series_copy_reduced(part, CRITERIA_ARM_LEVEL_RATE_HZ, study->memory, &slow) ||
        !series_copy_median(&slow, CRITERIA_ARM_ARTEFACT_HALF_S, study->memory, &median)) {
        return false;
    }
    for (size_t i = 0; i < part->count && slow.count > 0; i++) {
        const size_t nearest = i / block < slow.count ? i / block : slow.count - 1;

        if (fabs(part->samples[i] - median.samples[nearest]) <= CRITERIA_ARM_ARTEFACT_MMHG) {
            sum += part->samples[i];
            kept++;
        }
    }
    *ret_found = kept > 0 && kept * 2 >= part->count;
    *ret_mean = *ret_found ? sum / (double)kept : SERIES_MISSING;
    return true;
}

#define OF_ZONE                                                                                    \
    "; of the highest at each instant of the sensors in the anal high-pressure zone, which at "    \
    "rest are more than 5 mmHg above the rectum"

static const char *rest_method(bool several, bool marked, bool is_short)
{
    static const char *const one[2][2] = {
        {"mean over the quietest 60 s between the manoeuvres, found without a marker; artefacts "
         "(more than 15 mmHg off the median around them) cut",
         "mean over a quiet stretch shorter than 60 s, found without a marker, because there is no "
         "longer one between the manoeuvres; artefacts cut"},
        {"mean over 60 s from the rest marker; artefacts (more than 15 mmHg off the median around "
         "them) cut",
         "mean from the rest marker to the next manoeuvre or the end, shorter than 60 s; artefacts "
         "cut"}};
    static const char *const more[2][2] = {
        {"mean over the quietest 60 s between the manoeuvres, found without a marker; artefacts "
         "(more than 15 mmHg off the median around them) cut" OF_ZONE,
         "mean over a quiet stretch shorter than 60 s, found without a marker, because there is no "
         "longer one between the manoeuvres; artefacts cut" OF_ZONE},
        {"mean over 60 s from the rest marker; artefacts (more than 15 mmHg off the median around "
         "them) cut" OF_ZONE,
         "mean from the rest marker to the next manoeuvre or the end, shorter than 60 s; artefacts "
         "cut" OF_ZONE}};

    return (several ? more : one)[marked ? 1 : 0][is_short ? 1 : 0];
}

static struct measure rest_measure(const struct anal_rest *rest, bool several, bool marked)
{
    const double length_s = rest->span.to_s - rest->span.from_s;
    const bool is_short = length_s < CRITERIA_ARM_REST_S - 0.5;
    struct measure measure =
        measure_at(rest->level_mmhg, 0.5 * (rest->span.from_s + rest->span.to_s),
                   rest_method(several, marked, is_short));

    measure.part_count = 1;
    measure.parts[0] = (struct named_number){"length_s", length_s};
    return measure;
}

bool anal_rest_measure(struct study *study, const struct anal_signals *signals,
                       const struct manoeuvre_list *list, struct anal_rest *ret_rest,
                       struct measure *ret_measure)
{
    const struct optional_number marker =
        timeline_first(&study->timeline, EVENT_REST, -SERIES_ENDLESS);
    struct anal_rest rest = {.known = false, .span = no_span()};
    struct blocks blocks;

    *ret_rest = rest;
    if (signals->anal.count == 0) {
        *ret_measure = measure_absent("no anal pressure signal");
        return true;
    }
    if (!make_blocks(study, signals, list, &blocks)) {
        return false;
    }
    const struct span span =
        marker.known ? marked_span(list, marker.value) : find_span(&blocks, list);
    const struct series part = series_part(&signals->anal, span);
    const double length_s =
        part.count > 0 ? fmin(span.to_s - span.from_s, (double)part.count / part.rate_hz) : 0.0;

    if (length_s < CRITERIA_ARM_REST_LEAST_S - 1e-6) {
        *ret_measure = measure_absent(marker.known ? "less than 10 s of rest follow the rest marker"
                                                   : "no 10 s of rest between the manoeuvres");
        return true;
    }
    if (!mean_without_artefacts(study, &part, &rest.level_mmhg, &rest.known)) {
        return false;
    }
    if (!rest.known) {
        *ret_measure = measure_absent("more than half of the resting stretch are artefacts or "
                                      "missing");
        return true;
    }
    rest.span = (struct span){span.from_s, span.from_s + length_s};
    *ret_rest = rest;
    *ret_measure = rest_measure(&rest, signals->sensor_count > 1, marker.known);
    return true;
}
