#include "analysis/emg/bursts.h"

#include "analysis/criteria.h"
#include "analysis/criteria_emg.h"
#include "analysis/memory.h"
#include "analysis/series_copy.h"
#include "analysis/signal/runs.h"

#include <math.h>

static double overlap_s(struct span a, struct span b)
{
    return fmax(0.0, fmin(a.to_s, b.to_s) - fmax(a.from_s, b.from_s));
}

static double largest_within(const struct series *series, struct span span)
{
    const struct series part = series_part(series, span);
    size_t index = 0;

    return series_maximum(&part, &index) ? part.samples[index] : SERIES_MISSING;
}

bool bursts_find(const struct series *envelope, double line_uv, struct span span,
                 const struct analysis_memory *memory, struct burst_list *ret_bursts)
{
    const struct series part = series_part(envelope, span);
    const struct run_rule rule = {.threshold = line_uv,
                                  .min_run_s = 0.0,
                                  .min_gap_s = CRITERIA_EMG_BURST_GAP_S,
                                  .bridge_s = CRITERIA_EMG_BURST_GAP_S,
                                  .step_per_s = SERIES_ENDLESS};
    const size_t capacity = runs_capacity(&part, &rule);
    struct run *runs = memory_array(memory, capacity, sizeof *runs);

    *ret_bursts = (struct burst_list){0, memory_array(memory, capacity, sizeof *ret_bursts->items)};
    if (runs == NULL || ret_bursts->items == NULL) {
        return false;
    }
    const size_t run_count = runs_find(&part, &rule, runs);

    for (size_t i = 0; i < run_count; i++) {
        const struct span found = runs[i].span;

        if (found.to_s - found.from_s >= CRITERIA_EMG_BURST_S * (1.0 - 1e-9)) {
            ret_bursts->items[ret_bursts->count++] =
                (struct emg_burst){found.from_s, found.to_s, largest_within(&part, found)};
        }
    }
    return true;
}

double bursts_overlap(const struct burst_list *bursts, struct span span)
{
    double covered_s = 0.0;

    if (!(span.to_s > span.from_s)) {
        return SERIES_MISSING;
    }
    for (size_t i = 0; i < bursts->count; i++) {
        const struct span burst = {bursts->items[i].start_s, bursts->items[i].end_s};

        covered_s += overlap_s(burst, span);
    }
    return 100.0 * covered_s / (span.to_s - span.from_s);
}

/* Whether a run is the better candidate: more of the flow lies in it, or it is higher. */
static bool is_better(struct span flow, struct span run, double peak, struct span best,
                      double best_peak)
{
    const double gain_s = overlap_s(run, flow) - overlap_s(best, flow);

    return fabs(gain_s) > 0.0 ? gain_s > 0.0 : peak > best_peak;
}

bool bursts_contraction(const struct study *study, double level_cmh2o, struct span where,
                        struct span flow, struct detrusor_contraction *ret_contraction)
{
    const struct series part = series_part(&study->pdet, where);
    const struct run_rule rule = {.threshold = level_cmh2o + CRITERIA_EMG_CONTRACTION_CMH2O,
                                  .min_run_s = CRITERIA_EMG_CONTRACTION_S,
                                  .min_gap_s = CRITERIA_EMG_CONTRACTION_S,
                                  .bridge_s = CRITERIA_BRIDGE_S,
                                  .step_per_s = SERIES_ENDLESS};
    double best_peak = -SERIES_ENDLESS;

    *ret_contraction = (struct detrusor_contraction){.found = false};
    if (part.count == 0 || !isfinite(level_cmh2o)) {
        return true;
    }
    struct run *runs = memory_array(study->memory, runs_capacity(&part, &rule), sizeof *runs);
    struct series averaged;

    if (runs == NULL ||
        !series_copy_smoothed(&part, CRITERIA_PEAK_HALF_S, study->memory, &averaged)) {
        return false;
    }
    const size_t count = runs_find(&averaged, &rule, runs);

    for (size_t i = 0; i < count; i++) {
        const struct series inside = series_part(&averaged, runs[i].span);
        size_t peak = 0;

        if (series_maximum(&inside, &peak) &&
            (!ret_contraction->found || is_better(flow, runs[i].span, inside.samples[peak],
                                                  ret_contraction->span, best_peak))) {
            best_peak = inside.samples[peak];
            *ret_contraction =
                (struct detrusor_contraction){true, runs[i].span, series_time(&inside, peak)};
        }
    }
    return true;
}
