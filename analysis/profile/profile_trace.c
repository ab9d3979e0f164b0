#include "analysis/profile/profile_trace.h"

#include "analysis/criteria.h"
#include "analysis/criteria_profile.h"
#include "analysis/memory.h"
#include "analysis/signal/smooth.h"

static struct series over_time(const struct profile_trace *trace, const double *samples)
{
    return (struct series){trace->rate_hz, trace->start_s, trace->count, samples};
}

struct series profile_trace_pura(const struct profile_trace *trace)
{
    return over_time(trace, trace->pura);
}

struct series profile_trace_pves(const struct profile_trace *trace)
{
    return over_time(trace, trace->pves);
}

static double entered_speed(const struct study *study)
{
    const struct optional_number entered = study->recording->conditions.puller_speed_mm_s;

    return entered.known && entered.value > 0.0 && isfinite(entered.value) ? entered.value
                                                                           : SERIES_MISSING;
}

static bool take_positions(struct study *study, const struct pull_signals *signals,
                           const struct pull *pull, struct profile_trace *trace)
{
    const struct series axis = over_time(trace, NULL);
    const double entered_mm_s = entered_speed(study);
    bool memory_left = true;
    const double measured_mm_s = puller_positions(&signals->puller, pull->span, pull->inward, &axis,
                                                  study->memory, trace->position_mm, &memory_left);

    if (!isnan(measured_mm_s)) {
        trace->speed_known = PROFILE_SPEED_MEASURED;
        trace->speed_mm_s = measured_mm_s;
        return memory_left;
    }
    trace->speed_known = isnan(entered_mm_s) ? PROFILE_SPEED_UNKNOWN : PROFILE_SPEED_ENTERED;
    trace->speed_mm_s = isnan(entered_mm_s) ? 1.0 : entered_mm_s;
    for (size_t i = 0; i < trace->count; i++) {
        trace->position_mm[i] = trace->speed_mm_s * (double)i / trace->rate_hz;
    }
    return memory_left;
}

/* Where the sensor still lies in the bladder: beside the pull, on the bladder's side. */
static struct span beside(const struct pull *pull)
{
    if (pull->inward) {
        return (struct span){pull->span.to_s, pull->span.to_s + CRITERIA_PROFILE_BEFORE_S};
    }
    return (struct span){pull->span.from_s - CRITERIA_PROFILE_BEFORE_S, pull->span.from_s};
}

static void take_vesical(const struct study *study, const struct series *pura, struct span before,
                         struct profile_trace *trace)
{
    const struct series axis = over_time(trace, NULL);
    size_t present = 0;

    for (size_t i = 0; i < trace->count; i++) {
        trace->pves[i] = series_value(&study->pves, series_time(&axis, i));
        present += isnan(trace->pves[i]) ? 0 : 1;
    }
    if (present * 2 >= trace->count) {
        return;
    }
    const struct series *source = study->pves.count > 0 ? &study->pves : pura;
    const double level = level_median(source, before, study->scratch);

    trace->one_level = true;
    if (isnan(level)) {
        trace->no_closure = "no vesical pressure during the pull or in the 5 s before it";
    }
    for (size_t i = 0; i < trace->count; i++) {
        trace->pves[i] = level;
    }
}

/* What the two lines differ by while both see the bladder. */
static void look_at_bladder(const struct study *study, const struct series *pura,
                            struct span before, struct profile_trace *trace)
{
    const struct series part = series_part(pura, before);
    /* The pull's own sample at this edge is counted with the pull. */
    const struct series axis = over_time(trace, NULL);
    const double edge_s = trace->mirrored ? series_time(&axis, trace->count - 1) : trace->start_s;
    size_t near = 0;
    size_t held = 0;

    for (size_t i = 0; i < part.count && held < study->scratch.capacity; i++) {
        const double vesical =
            trace->one_level ? trace->pves[0] : series_value(&study->pves, series_time(&part, i));
        const double closure = part.samples[i] - vesical;
        const bool beside_pull = fabs(series_time(&part, i) - edge_s) * pura->rate_hz > 0.5;

        if (!isnan(closure)) {
            study->scratch.values[held++] = closure;
            near += beside_pull && fabs(closure) <= CRITERIA_PROFILE_BASELINE_CMH2O ? 1 : 0;
        }
    }
    trace->bladder_s = (double)near / pura->rate_hz;
    trace->bladder_closure = (double)held / pura->rate_hz >= CRITERIA_PROFILE_BASELINE_S
                                 ? level_median_of(study->scratch.values, held)
                                 : SERIES_MISSING;
}

bool profile_trace_open(struct study *study, const struct pull_signals *signals,
                        const struct pull *pull, struct profile_trace *ret_trace)
{
    const struct channel *channel = recording_channel(study->recording, SIGNAL_PURA);
    const struct series part = series_part(&signals->pura, pull->span);
    const struct span before = beside(pull);
    struct profile_trace trace = {.count = part.count,
                                  .rate_hz = part.rate_hz,
                                  .start_s = part.start_s,
                                  .raw_rate_hz = channel != NULL ? channel->rate_hz : 0.0,
                                  .mirrored = pull->inward};

    trace.position_mm = memory_doubles(study->memory, part.count);
    trace.pura = memory_doubles(study->memory, part.count);
    trace.pves = memory_doubles(study->memory, part.count);
    trace.closure = memory_doubles(study->memory, part.count);
    if (trace.position_mm == NULL || trace.pura == NULL || trace.pves == NULL ||
        trace.closure == NULL || !take_positions(study, signals, pull, &trace)) {
        return false;
    }
    for (size_t i = 0; i < part.count; i++) {
        trace.pura[i] = part.samples[i];
    }
    if (part.count > 0) {
        take_vesical(study, &signals->pura, before, &trace);
        look_at_bladder(study, &signals->pura, before, &trace);
    }
    smooth_bridge(&part, CRITERIA_BRIDGE_S, trace.pura);
    smooth_bridge(&part, CRITERIA_BRIDGE_S, trace.pves);
    *ret_trace = trace;
    return true;
}

void profile_trace_cut(struct profile_trace *trace, struct span span)
{
    const struct series axis = over_time(trace, trace->pura);
    const size_t from = series_first_at(&axis, span.from_s);
    const size_t end = series_end_at(&axis, span.to_s);

    if (from == 0 || end >= trace->count || from >= end) {
        return; /* at an edge there is nothing to draw a line from */
    }
    const double steps = (double)(end - from + 1);
    double *const lines[] = {trace->pura, trace->pves};

    for (size_t k = 0; k < 2; k++) {
        const double first = lines[k][from - 1];
        const double last = lines[k][end];

        for (size_t i = from; i < end; i++) {
            lines[k][i] = first + (last - first) * (double)(i - from + 1) / steps;
        }
    }
}

static void reverse(double *values, size_t count)
{
    for (size_t i = 0; i < count / 2; i++) {
        const double kept = values[i];

        values[i] = values[count - 1 - i];
        values[count - 1 - i] = kept;
    }
}

void profile_trace_finish(struct profile_trace *trace)
{
    for (size_t i = 0; i < trace->count; i++) {
        trace->closure[i] = trace->pura[i] - trace->pves[i];
    }
    if (!trace->mirrored || trace->count == 0) {
        return;
    }
    const double whole_mm = trace->position_mm[trace->count - 1];

    reverse(trace->pura, trace->count);
    reverse(trace->pves, trace->count);
    reverse(trace->closure, trace->count);
    reverse(trace->position_mm, trace->count);
    for (size_t i = 0; i < trace->count; i++) {
        trace->position_mm[i] = whole_mm - trace->position_mm[i];
    }
}

double profile_trace_time(const struct profile_trace *trace, size_t index)
{
    const size_t in_time = trace->mirrored ? trace->count - 1 - index : index;

    return trace->start_s + (double)in_time / trace->rate_hz;
}

double profile_trace_place(const struct profile_trace *trace, double at_s)
{
    const struct series axis = over_time(trace, trace->position_mm);

    if (!trace->mirrored || trace->count == 0) {
        return series_value(&axis, at_s);
    }
    const double last_s = series_time(&axis, trace->count - 1);

    return series_value(&axis, last_s - (at_s - trace->start_s));
}
