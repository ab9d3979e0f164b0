#include "analysis/training/holds.h"

#include "analysis/criteria_training.h"
#include "analysis/memory.h"
#include "analysis/series_copy.h"
#include "analysis/signal/runs.h"

#include <math.h>

enum { ROUNDS_MAX = 12 };

struct finder {
    struct holds *holds;
    double *values; /* room for all samples */
    struct run *runs;
    struct run *parts; /* of one run, above half of its peak */
};

static struct run_rule rule_above(double threshold)
{
    return (struct run_rule){.threshold = threshold,
                             .min_run_s = 0.0,
                             .min_gap_s = CRITERIA_TRAINING_GAP_S,
                             .bridge_s = CRITERIA_TRAINING_GAP_S,
                             .step_per_s = SERIES_ENDLESS};
}

static size_t gather_below(const struct series *series, double limit, double *values)
{
    size_t held = 0;

    for (size_t i = 0; i < series->count; i++) {
        if (series->samples[i] < limit) {
            values[held++] = series->samples[i];
        }
    }
    return held;
}

/* The middle of the lowest quarter of the samples: at rest, unless hardly any rest was recorded. */
static double guess_rest(const struct series *signal, double *values)
{
    double level = SERIES_ENDLESS;

    for (int i = 0; i < CRITERIA_TRAINING_REST_HALVINGS; i++) {
        const size_t held = gather_below(signal, level, values);

        if (held > 0) {
            level = level_median_of(values, held);
        }
    }
    return level;
}

static double largest_within(const struct series *series, struct span span)
{
    const struct series part = series_part(series, span);
    size_t index = 0;

    return series_maximum(&part, &index) ? part.samples[index] : SERIES_MISSING;
}

static double lowest_moment(const struct series *series, struct span span)
{
    const struct series part = series_part(series, span);
    double lowest = SERIES_ENDLESS;
    double at_s = 0.5 * (span.from_s + span.to_s);

    for (size_t i = 0; i < part.count; i++) {
        if (part.samples[i] < lowest) {
            lowest = part.samples[i];
            at_s = series_time(&part, i);
        }
    }
    return at_s;
}

static bool are_quick(const struct span *spans, size_t count)
{
    for (size_t i = 0; i < count; i++) {
        if (spans[i].to_s - spans[i].from_s > CRITERIA_TRAINING_QUICK_S) {
            return false;
        }
    }
    return true;
}

/* Adds a run: as quick contractions when it falls apart into such at half of its peak, else as one.
 */
static void add_run(struct finder *finder, struct span run)
{
    struct holds *holds = finder->holds;
    struct span *spans = holds->spans + holds->count;
    const struct series part = series_part(&holds->detected, run);
    const double net = largest_within(&part, run) - holds->rest.median;
    const struct run_rule rule =
        rule_above(holds->rest.median + CRITERIA_TRAINING_RETURN_SHARE * net);
    const size_t count = runs_find(&part, &rule, finder->parts);
    double from_s = run.from_s;

    for (size_t i = 1; i < count; i++) {
        const struct span valley = {finder->parts[i - 1].span.to_s, finder->parts[i].span.from_s};

        spans[i - 1] = (struct span){from_s, lowest_moment(&part, valley)};
        from_s = spans[i - 1].to_s;
    }
    if (count > 1) {
        spans[count - 1] = (struct span){from_s, run.to_s};
    }
    if (count > 1 && are_quick(spans, count)) {
        holds->count += count;
    } else {
        spans[0] = run;
        holds->count++;
    }
}

static void find_runs(struct finder *finder)
{
    struct holds *holds = finder->holds;
    const struct run_rule rule = rule_above(holds->line);
    const size_t run_count = runs_find(&holds->detected, &rule, finder->runs);

    holds->count = 0;
    for (size_t i = 0; i < run_count; i++) {
        const struct span run = finder->runs[i].span;

        if (run.to_s - run.from_s >= CRITERIA_TRAINING_MIN_S * (1.0 - 1e-9)) {
            add_run(finder, run);
        }
    }
}

/* Whether a moment lies within a contraction widened by slack_s. Moments come in order; *next is
 * where the search goes on. */
static bool is_within(const struct holds *holds, double at_s, double slack_s, size_t *next)
{
    while (*next < holds->count && holds->spans[*next].to_s + slack_s < at_s) {
        ++*next;
    }
    return *next < holds->count && at_s >= holds->spans[*next].from_s - slack_s;
}

/* Slope of the rest by least squares, times its length. */
static double drift_of_rest(const struct holds *holds)
{
    const struct series *series = &holds->signal;
    double count = 0.0;
    double mean_s = 0.0;
    double mean = 0.0;
    double squares = 0.0;
    double products = 0.0;
    double first_s = SERIES_MISSING;
    double last_s = SERIES_MISSING;
    size_t next = 0;

    for (size_t i = 0; i < series->count; i++) {
        const double at_s = series_time(series, i);

        if (is_within(holds, at_s, CRITERIA_TRAINING_REST_SLACK_S, &next) ||
            isnan(series->samples[i])) {
            continue;
        }
        const double off_s = at_s - mean_s;

        count += 1.0;
        mean_s += off_s / count;
        products += (at_s - mean_s) * (series->samples[i] - mean);
        squares += off_s * (at_s - mean_s);
        mean += (series->samples[i] - mean) / count;
        first_s = isnan(first_s) ? at_s : first_s;
        last_s = at_s;
    }
    return squares > 0.0 ? products / squares * (last_s - first_s) : SERIES_MISSING;
}

size_t holds_gather(const struct holds *holds, const struct series *series, bool during_rest,
                    double *values, size_t capacity)
{
    const double slack_s = during_rest ? CRITERIA_TRAINING_REST_SLACK_S : 0.0;
    const size_t step = series->count > capacity ? (series->count + capacity - 1) / capacity : 1;
    size_t next = 0;
    size_t held = 0;

    for (size_t i = 0; i < series->count; i += step) {
        const bool inside = is_within(holds, series_time(series, i), slack_s, &next);

        if (inside != during_rest && !isnan(series->samples[i])) {
            values[held++] = series->samples[i];
        }
    }
    return held;
}

static void settle(struct finder *finder)
{
    struct holds *holds = finder->holds;
    const struct series *signal = &holds->signal;
    size_t index = 0;
    const double top =
        series_maximum(&holds->detected, &index) ? holds->detected.samples[index] : SERIES_MISSING;

    holds->rest = (struct robust){guess_rest(signal, finder->values), 0.0, 1};
    for (int i = 0; i < ROUNDS_MAX && holds->rest.count > 0; i++) {
        const double before = holds->rest.median;
        const double noise =
            CRITERIA_TRAINING_REST_SD * fmax(holds->rest.sd, CRITERIA_TRAINING_SD_FLOOR);

        holds->best = top - before;
        holds->line = before + fmax(noise, CRITERIA_TRAINING_BEST_SHARE * holds->best);
        find_runs(finder);
        const size_t held = holds_gather(holds, signal, true, finder->values, signal->count);

        if ((double)held < CRITERIA_TRAINING_REST_LEAST_S * signal->rate_hz) {
            holds->rest.count = 0;
            return;
        }
        const double sd = holds->rest.sd;

        holds->rest = robust_of(finder->values, held);
        if (fabs(holds->rest.median - before) <= 0.0 && fabs(holds->rest.sd - sd) <= 0.0) {
            break;
        }
    }
    holds->rest_drift = drift_of_rest(holds);
}

bool holds_find(const struct series *signal, const struct analysis_memory *memory,
                struct holds *ret_holds)
{
    const struct run_rule rule = rule_above(0.0);
    const size_t capacity = runs_capacity(signal, &rule);
    struct finder finder = {.holds = ret_holds,
                            .values = memory_doubles(memory, signal->count),
                            .runs = memory_array(memory, capacity, sizeof(struct run)),
                            .parts = memory_array(memory, capacity, sizeof(struct run))};

    *ret_holds = (struct holds){.signal = *signal,
                                .detected = *signal,
                                .best = SERIES_MISSING,
                                .line = SERIES_MISSING,
                                .rest_drift = SERIES_MISSING};
    /* A run takes a gap with its successor, and so does a part of one. */
    ret_holds->spans = memory_array(memory, 2 * capacity, sizeof *ret_holds->spans);
    if (finder.values == NULL || finder.runs == NULL || finder.parts == NULL ||
        ret_holds->spans == NULL ||
        !series_copy_median(signal, CRITERIA_TRAINING_DETECT_HALF_S, memory,
                            &ret_holds->detected) ||
        !series_copy_smoothed(signal, CRITERIA_TRAINING_PEAK_HALF_S, memory, &ret_holds->peaked) ||
        !series_copy_smoothed(signal, CRITERIA_TRAINING_ENDURANCE_HALF_S, memory,
                              &ret_holds->averaged)) {
        return false;
    }
    settle(&finder);
    return true;
}

double holds_rest_before_s(const struct holds *holds)
{
    const struct series *signal = &holds->signal;

    if (signal->count == 0) {
        return 0.0;
    }
    const double to_s =
        holds->count > 0 ? holds->spans[0].from_s : series_time(signal, signal->count - 1);

    return to_s - signal->start_s;
}
