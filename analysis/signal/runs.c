#include "analysis/signal/runs.h"

#include <math.h>

size_t runs_capacity(const struct series *series, const struct run_rule *rule)
{
    const double length_s = (double)series->count / series->rate_hz;
    const double most = length_s / (rule->min_run_s + rule->min_gap_s) + 2.0;
    const size_t samples = series->count / 2 + 2;

    /* A run cut by missing samples can be shorter, but takes at least two samples. */
    return most < (double)samples && rule->bridge_s >= rule->min_gap_s ? (size_t)most : samples;
}

struct scan {
    const struct run_rule *rule;
    struct run *runs;
    size_t count;
    double reached_s; /* end of the last stretch, short or not, that goes on the last run */
};

/* Takes a stretch. One that is long enough goes on the last run when the gaps between them are too
 * short to count, and else starts a new run; a shorter one only bridges to a later one, so that a
 * run ends as it starts, with a stretch that lasts. */
static void take_stretch(struct scan *scan, struct run stretch)
{
    struct run *last = scan->count > 0 ? &scan->runs[scan->count - 1] : NULL;
    const bool lasts =
        stretch.span.to_s - stretch.span.from_s >= scan->rule->min_run_s * (1.0 - 1e-9);

    if (last != NULL && stretch.span.from_s - scan->reached_s < scan->rule->min_gap_s) {
        scan->reached_s = stretch.span.to_s;
        if (lasts || stretch.end_unseen) {
            last->span.to_s = stretch.span.to_s;
            last->end_unseen = stretch.end_unseen;
        }
        return;
    }
    if (lasts) {
        scan->runs[scan->count++] = stretch;
        scan->reached_s = stretch.span.to_s;
    }
}

/* Moment at which the signal passes the threshold between two samples. */
static double crossing(const struct series *series, size_t before, size_t after,
                       const struct run_rule *rule)
{
    const double from = series->samples[before];
    const double to = series->samples[after];
    const double time_from = series_time(series, before);
    const double time_to = series_time(series, after);
    const bool step = fabs(to - from) > rule->step_per_s * (time_to - time_from);

    return time_from +
           (time_to - time_from) * (step ? 0.5 : (rule->threshold - from) / (to - from));
}

size_t runs_find(const struct series *series, const struct run_rule *rule, struct run *runs)
{
    const double longest = fmax(rule->bridge_s, 1.0 / series->rate_hz) * (1.0 + 1e-9);
    struct scan scan = {.rule = rule, .runs = runs};
    struct run stretch = {.start_unseen = false};
    bool on = false;
    bool have = false;
    size_t known = 0;

    for (size_t i = 0; i < series->count; i++) {
        if (isnan(series->samples[i])) {
            continue;
        }
        const bool is_on = series->samples[i] >= rule->threshold;
        const bool joined = have && series_time(series, i) - series_time(series, known) <= longest;

        if (on && !joined) {
            stretch.span.to_s = series_time(series, known);
            stretch.end_unseen = true;
            take_stretch(&scan, stretch);
            on = false;
        }
        if (is_on && !on) {
            const bool seen = joined;

            stretch = (struct run){.start_unseen = !seen};
            stretch.span.from_s = seen ? crossing(series, known, i, rule) : series_time(series, i);
            on = true;
        } else if (!is_on && on) {
            stretch.span.to_s = crossing(series, known, i, rule);
            take_stretch(&scan, stretch);
            on = false;
        }
        have = true;
        known = i;
    }
    if (on) {
        stretch.span.to_s = series_time(series, known);
        stretch.end_unseen = true;
        take_stretch(&scan, stretch);
    }
    return scan.count;
}
