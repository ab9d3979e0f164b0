#include "analysis/flow/flow.h"

#include "analysis/criteria.h"
#include "analysis/memory.h"
#include "analysis/signal/integrate.h"
#include "analysis/signal/smooth.h"

#include <math.h>
#include <string.h>

/* A series on the same axis as `like`, with room of its own. False when memory ran out. */
static bool like_series(const struct analysis_memory *memory, const struct series *like,
                        struct series *ret_series, double **ret_samples)
{
    double *samples = memory_doubles(memory, like->count);

    if (samples == NULL) {
        return false;
    }
    *ret_series = *like;
    ret_series->samples = samples;
    *ret_samples = samples;
    return true;
}

static bool clean(const struct study *study, struct flow_record *record)
{
    double *samples = NULL;

    if (!like_series(study->memory, &study->flow, &record->cleaned, &samples)) {
        return false;
    }
    double *scratch = memory_doubles(study->memory, artefact_scratch(&study->flow));

    record->knocks = memory_array(study->memory, ARTEFACT_KNOCKS_MAX, sizeof *record->knocks);
    if (scratch == NULL || record->knocks == NULL) {
        return false;
    }
    memcpy(samples, study->flow.samples, study->flow.count * sizeof *samples);
    record->knock_count =
        artefact_remove_knocks(&record->cleaned, samples, scratch, record->knocks);
    return true;
}

static bool detect(const struct study *study, struct flow_record *record)
{
    const size_t window = smooth_window(&record->cleaned, CRITERIA_DETECT_HALF_S);
    double *sorted = memory_doubles(study->memory, window);
    double *detected = NULL;

    if (sorted == NULL ||
        !like_series(study->memory, &record->cleaned, &record->detected, &detected)) {
        return false;
    }
    smooth_median_beyond(&record->cleaned, window, CRITERIA_FLOW_ON_ML_S, sorted, detected);
    return true;
}

/* The 2 s average, of flow whose short gaps are bridged as they are for volumes; missing where a
 * longer gap lies in the window. A clock that is a little slow still has a sample to each side: one
 * sample alone would be no average. */
static bool smooth(const struct study *study, struct flow_record *record)
{
    const struct series *cleaned = &record->cleaned;
    const size_t whole = smooth_window(cleaned, CRITERIA_SMOOTH_HALF_S);
    const size_t window = whole > 1 ? whole : 3;
    struct series bridged;
    double *samples = NULL;
    double *smoothed = NULL;

    if (!like_series(study->memory, cleaned, &bridged, &samples) ||
        !like_series(study->memory, cleaned, &record->smoothed, &smoothed)) {
        return false;
    }
    memcpy(samples, cleaned->samples, cleaned->count * sizeof *samples);
    smooth_bridge(cleaned, CRITERIA_BRIDGE_S, samples);
    smooth_mean(&bridged, window, SMOOTH_ENDS_ZERO, smoothed);
    smooth_drop_partial(&bridged, window, smoothed);
    if (cleaned->rate_hz < CRITERIA_SMOOTH_RATE_MIN_HZ) {
        record->smoothed.count = 0;
    }
    return true;
}

double flow_run_volume(const struct flow_record *record, const struct run *run)
{
    double volume_ml = 0.0;

    (void)integrate_span(&record->cleaned, run->span, CRITERIA_BRIDGE_S, &volume_ml);
    return volume_ml;
}

static bool find_runs(const struct study *study, struct flow_record *record)
{
    const struct run_rule rule = {.threshold = CRITERIA_FLOW_ON_ML_S,
                                  .min_run_s = CRITERIA_FLOW_ON_MIN_S,
                                  .min_gap_s = CRITERIA_FLOW_GAP_S,
                                  .bridge_s = CRITERIA_BRIDGE_S,
                                  .step_per_s = CRITERIA_FLOW_STEP_ML_S2};

    record->runs =
        memory_array(study->memory, runs_capacity(&record->detected, &rule), sizeof *record->runs);
    if (record->runs == NULL) {
        return false;
    }
    const size_t found = runs_find(&record->detected, &rule, record->runs);

    for (size_t i = 0; i < found; i++) {
        if (flow_run_volume(record, &record->runs[i]) >= CRITERIA_RUN_VOLUME_MIN_ML) {
            record->runs[record->run_count++] = record->runs[i];
        }
    }
    return true;
}

bool flow_open(const struct study *study, struct flow_record *record)
{
    *record = (struct flow_record){.cleaned = {.rate_hz = 1.0}};
    record->detected = record->cleaned;
    record->smoothed = record->cleaned;
    if (study->flow.count == 0) {
        return true;
    }
    return clean(study, record) && detect(study, record) && smooth(study, record) &&
           find_runs(study, record);
}

static void limit_end(const struct timeline *timeline, struct void_phase *limits)
{
    const double earliest =
        timeline->void_start.known ? timeline->void_start.value : limits->limits.from_s;

    if (timeline->void_end.known && timeline->void_end.value > earliest) {
        limits->limits.to_s = timeline->void_end.value;
    }
}

struct void_phase flow_limits_free(const struct study *study, const struct flow_record *record)
{
    const struct optional_number permission = study->timeline.permission;
    const bool follows = permission.known && record->run_count > 0 &&
                         record->runs[record->run_count - 1].span.to_s > permission.value;

    return flow_limits_from(study, follows ? permission.value : -SERIES_ENDLESS);
}

struct void_phase flow_limits_from(const struct study *study, double from_s)
{
    const struct timeline *timeline = &study->timeline;
    struct void_phase limits = {.limits = {from_s, SERIES_ENDLESS}};

    if (timeline->void_start.known && timeline->void_start.value > from_s) {
        limits.limits.from_s = timeline->void_start.value;
        limits.clip_start = true;
    }
    limit_end(timeline, &limits);
    return limits;
}

/* Whether the start of a run lies before the void_start marker by more than a hand's delay. */
static bool cuts_start(const struct void_phase *phase, const struct run *run)
{
    return phase->clip_start && phase->limits.from_s - run->span.from_s > CRITERIA_MARKER_SLACK_S;
}

struct span flow_run_span(const struct flow_record *record, const struct void_phase *phase,
                          size_t index)
{
    struct span span = record->runs[index].span;

    if (cuts_start(phase, &record->runs[index])) {
        span.from_s = phase->limits.from_s;
    }
    if (phase->limits.to_s < span.to_s) {
        span.to_s = phase->limits.to_s;
    }
    return span;
}

static double half_level(const struct study *study, const struct flow_record *record, double from_s,
                         double to_s)
{
    return level_median(&record->cleaned, (struct span){from_s, to_s}, study->scratch);
}

/* What noise alone may make of a median: 2 of its standard deviations, 1.25 * sigma / sqrt(n),
 * sigma being 1.25 mean absolute deviations. */
static double noise_of_level(const struct flow_record *record, const struct rest_level *rest)
{
    const struct series part = series_part(&record->cleaned, rest->span);
    double deviations = 0.0;
    double present = 0.0;

    for (size_t i = 0; i < part.count; i++) {
        if (!isnan(part.samples[i])) {
            deviations += fabs(part.samples[i] - rest->level_ml_s);
            present += 1.0;
        }
    }
    return present > 0.0 ? 2.0 * 1.25 * 1.25 * deviations / (present * sqrt(present)) : 0.0;
}

static struct rest_level find_rest(const struct study *study, const struct flow_record *record,
                                   struct span span)
{
    const double middle_s = 0.5 * (span.from_s + span.to_s);
    struct rest_level rest = {.span = span};

    if (!(span.to_s - span.from_s >= CRITERIA_REST_MIN_S)) {
        return rest;
    }
    const double first = half_level(study, record, span.from_s, middle_s);
    const double second = half_level(study, record, middle_s, span.to_s);

    rest.level_ml_s = half_level(study, record, span.from_s, span.to_s);
    rest.known = isfinite(first) && isfinite(second) && isfinite(rest.level_ml_s);
    rest.off = rest.known &&
               fabs(rest.level_ml_s) > CRITERIA_FLOW_ZERO_ML_S + noise_of_level(record, &rest) &&
               fmin(fabs(first), fabs(second)) > CRITERIA_FLOW_ZERO_ML_S && first * second > 0.0;
    return rest;
}

static void find_rests(const struct study *study, const struct flow_record *record,
                       struct void_phase *phase)
{
    const struct run *first = &record->runs[phase->first_run];
    const struct run *last = &record->runs[phase->run_end - 1];
    const double start_s = record->cleaned.start_s;
    const double end_s = series_time(&record->cleaned, record->cleaned.count - 1);
    struct span before = {start_s, first->span.from_s - CRITERIA_REST_LEAD_S};
    struct span after = {last->span.to_s + CRITERIA_TAIL_MAX_S, end_s};

    if (phase->first_run > 0) {
        before.from_s = record->runs[phase->first_run - 1].span.to_s + CRITERIA_TAIL_MAX_S;
    }
    if (phase->run_end < record->run_count) {
        after.to_s = record->runs[phase->run_end].span.from_s - CRITERIA_REST_LEAD_S;
    }
    before.from_s = fmax(before.from_s, before.to_s - CRITERIA_REST_WINDOW_S);
    after.to_s = fmin(after.to_s, after.from_s + CRITERIA_REST_WINDOW_S);
    phase->before = find_rest(study, record, before);
    phase->after = find_rest(study, record, after);
}

struct void_phase flow_find_void(const struct study *study, const struct flow_record *record,
                                 struct void_phase limits)
{
    struct void_phase phase = limits;
    double ignored = 0.0;

    while (phase.first_run < record->run_count &&
           record->runs[phase.first_run].span.to_s <= phase.limits.from_s) {
        phase.first_run++;
    }
    phase.run_end = phase.first_run;
    while (phase.run_end < record->run_count &&
           record->runs[phase.run_end].span.from_s < phase.limits.to_s) {
        phase.run_end++;
    }
    if (phase.run_end == phase.first_run) {
        phase.only_earlier = phase.first_run > 0;
        return phase;
    }
    const struct run *first = &record->runs[phase.first_run];
    const struct run *last = &record->runs[phase.run_end - 1];

    phase.found = true;
    phase.span.from_s = flow_run_span(record, &phase, phase.first_run).from_s;
    phase.span.to_s = flow_run_span(record, &phase, phase.run_end - 1).to_s;
    phase.start_cut = cuts_start(&phase, first);
    phase.end_cut = phase.limits.to_s < last->span.to_s;
    phase.start_unseen = first->start_unseen && !phase.start_cut;
    phase.end_unseen = last->end_unseen && !phase.end_cut;
    phase.gap_inside = !integrate_span(&record->cleaned, phase.span, CRITERIA_BRIDGE_S, &ignored);
    find_rests(study, record, &phase);
    return phase;
}

/* Down to where the trickle beside a voiding is followed: the side's own rest, else the other's. */
static double tail_floor(const struct rest_level *own, const struct rest_level *other)
{
    const double rest = own->known ? own->level_ml_s : other->level_ml_s;

    return fmax(rest, 0.0) + CRITERIA_TAIL_ML_S;
}

struct span flow_with_tails(const struct flow_record *record, const struct void_phase *phase)
{
    const struct series *smoothed = &record->smoothed;
    const double first_s = fmax(phase->span.from_s - CRITERIA_TAIL_MAX_S, phase->limits.from_s);
    const double last_s = fmin(phase->span.to_s + CRITERIA_TAIL_MAX_S, phase->limits.to_s);
    const double floor_before = tail_floor(&phase->before, &phase->after);
    const double floor_after = tail_floor(&phase->after, &phase->before);
    struct span span = phase->span;

    if (smoothed->count == 0) {
        return span;
    }
    size_t first = series_first_at(smoothed, span.from_s);
    size_t last = series_end_at(smoothed, span.to_s);

    while (!phase->start_cut && first > 0 && smoothed->samples[first - 1] > floor_before &&
           series_time(smoothed, first - 1) >= first_s) {
        first--;
    }
    while (!phase->end_cut && last < smoothed->count && smoothed->samples[last] > floor_after &&
           series_time(smoothed, last) <= last_s) {
        last++;
    }
    if (first < smoothed->count) {
        span.from_s = fmin(span.from_s, fmax(series_time(smoothed, first), first_s));
    }
    if (last > 0) {
        span.to_s = fmax(span.to_s, series_time(smoothed, last - 1));
    }
    return span;
}
