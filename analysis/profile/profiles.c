#include "analysis/profile/profiles.h"

#include "analysis/criteria.h"
#include "analysis/criteria_profile.h"
#include "analysis/measure.h"
#include "analysis/memory.h"
#include "analysis/profile/profile_quality.h"
#include "analysis/profile/profile_summary.h"

/* Whether the puller ever moved as far as a pull, whatever else it did. */
static bool puller_moves(const struct channel *puller)
{
    double least = SERIES_ENDLESS;

    for (size_t i = 0; puller != NULL && i < puller->sample_count; i++) {
        const double x = puller->samples[i];

        if (!(fabs(x) <= CRITERIA_SAMPLE_LIMIT)) {
            continue;
        }
        least = fmin(least, x);
        if (x - least >= CRITERIA_PROFILE_TRAVEL_MIN_MM) {
            return true;
        }
    }
    return false;
}

bool profiles_exist(const struct study *study)
{
    if (study->recording->type == RECORDING_URETHRAL_PRESSURE_PROFILE) {
        return true;
    }
    return recording_channel(study->recording, SIGNAL_PURA) != NULL &&
           (timeline_count(&study->timeline, EVENT_PULL_START) > 0 ||
            timeline_count(&study->timeline, EVENT_PULL_END) > 0 ||
            puller_moves(recording_channel(study->recording, SIGNAL_PULLER)));
}

static struct measure speed_of(const struct profile_trace *trace)
{
    switch (trace->speed_known) {
    case PROFILE_SPEED_ENTERED:
        return measure_entered(trace->speed_mm_s, "as entered, taken to be constant");
    case PROFILE_SPEED_MEASURED:
        return measure_of(trace->speed_mm_s, "slope of the withdrawn length over the pull");
    case PROFILE_SPEED_UNKNOWN:
    default:
        return measure_absent("the puller did not move or was not recorded, and no speed was "
                              "entered");
    }
}

static struct measure vesical_mean(const struct profile_trace *trace, double at_s)
{
    double sum = 0.0;
    double n = 0.0;

    if (trace->no_closure != NULL) {
        return measure_absent(trace->no_closure);
    }
    for (size_t i = 0; i < trace->count; i++) {
        sum += isnan(trace->pves[i]) ? 0.0 : trace->pves[i];
        n += isnan(trace->pves[i]) ? 0.0 : 1.0;
    }
    return n > 0.0 ? measure_at(sum / n, at_s,
                                trace->one_level ? "median of the 5 s before the pull" : NULL)
                   : measure_absent("no vesical pressure during the pull");
}

static struct item_list list_ratios(const struct profile_coughs *coughs,
                                    const struct profile_trace *trace,
                                    struct transmission_ratio *items)
{
    const struct series pura = profile_trace_pura(trace);
    const struct series pves = profile_trace_pves(trace);
    struct item_list list = {.state = MEASURE_PRESENT,
                             .items = items,
                             .method = "coughs that raise pves by at least 15 cmH2O; each line's "
                                       "own peak within 0.3 s over the median of the second "
                                       "before, moved along the resting curve"};

    if (trace->one_level) {
        return (struct item_list){.state = MEASURE_ABSENT,
                                  .reason = "no vesical pressure during the pull"};
    }
    for (size_t i = 0; i < coughs->count; i++) {
        if (profile_coughs_ratio(&coughs->items[i], &pura, &pves, &items[list.count])) {
            list.count++;
        }
    }
    return list;
}

/* Where along the functional length each cough was. */
static void place_ratios(const struct profile_trace *trace, const struct profile_extent *extent,
                         const struct profile_measures *measures, struct transmission_ratio *items,
                         size_t count)
{
    if (extent->absent != NULL || trace->speed_known == PROFILE_SPEED_UNKNOWN ||
        extent->start_cut) {
        return;
    }
    for (size_t i = 0; i < count; i++) {
        items[i].position_mm = profile_trace_place(trace, items[i].at_s) - extent->start_mm;
        if (!extent->end_cut && measure_known(&measures->functional_length) &&
            measures->functional_length.value > 0.0) {
            items[i].position_percent =
                100.0 * items[i].position_mm / measures->functional_length.value;
        }
    }
}

static void mark_too_short(struct profile_trace *trace)
{
    for (size_t i = 0; i < trace->count; i++) {
        trace->pura[i] = SERIES_MISSING;
    }
}

static bool measure_pull(struct study *study, const struct pull_signals *signals,
                         const struct pull *pull, struct profile_measures *measures)
{
    struct profile_coughs *coughs = memory_array(study->memory, 1, sizeof *coughs);
    struct transmission_ratio *items = NULL;
    struct profile_trace trace;
    struct profile_extent extent;

    if (coughs == NULL || !profile_trace_open(study, signals, pull, &trace)) {
        return false;
    }
    if (trace.count < PROFILE_SAMPLES_MIN) {
        mark_too_short(&trace);
    }
    if (!trace.one_level) {
        profile_coughs_find(study, &signals->pura, pull->span, coughs);
    }
    profile_coughs_cut(coughs, &trace);
    const double middle_s = 0.5 * (pull->span.from_s + pull->span.to_s);

    items = memory_array(study->memory, coughs->count, sizeof *items);
    if (items == NULL) {
        return false;
    }
    measures->transmission_ratios = list_ratios(coughs, &trace, items);
    profile_trace_finish(&trace);
    measures->kind = measure_word(coughs->count > 0 ? "stress" : "rest",
                                  coughs->count > 0 ? "coughs of at least 15 cmH2O lie within it; "
                                                      "they are cut out of the resting values"
                                                    : NULL);
    measures->start = measure_of(pull->span.from_s, NULL);
    measures->end = measure_of(pull->span.to_s, NULL);
    measures->speed = speed_of(&trace);
    measures->pves_mean = vesical_mean(&trace, middle_s);
    if (!profile_curve_measure(study, &trace, study->choices->closure_threshold_cmh2o.value,
                               measures, &extent)) {
        return false;
    }
    place_ratios(&trace, &extent, measures, items, measures->transmission_ratios.count);
    profile_quality_of_pull(study, &(struct profile_pull_facts){.pull = pull,
                                                                .trace = &trace,
                                                                .extent = &extent,
                                                                .coughs = coughs,
                                                                .measures = measures});
    return true;
}

bool profiles_measure(struct study *study)
{
    struct analysis_result *result = study->outcome.result;
    struct pull_signals signals;
    struct pull_list pulls;

    if (!pull_signals_open(study, &signals) || !pull_list_find(study, &signals, &pulls)) {
        return false;
    }
    result->profiles.pulls =
        memory_array(study->memory, pulls.count, sizeof *result->profiles.pulls);
    if (result->profiles.pulls == NULL) {
        return false;
    }
    result->has_profiles = true;
    result->has_profiles_summary = true;
    for (size_t i = 0; i < pulls.count && signals.pura.count > 0; i++) {
        if (!measure_pull(study, &signals, &pulls.items[i], &result->profiles.pulls[i])) {
            return false;
        }
        result->profiles.count++;
    }
    profile_summary_measure(study);
    profile_quality_of_all(study, &signals, &pulls);
    return true;
}
