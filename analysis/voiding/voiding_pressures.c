#include "analysis/voiding/voiding_pressures.h"

#include "analysis/criteria.h"
#include "analysis/criteria_voiding.h"
#include "analysis/measure.h"
#include "analysis/series_copy.h"
#include "analysis/signal/smooth.h"

#include <math.h>

/* Whether any of the pressure was recorded during the flow itself. */
static bool covers_flow(const struct series *pressure, struct span span)
{
    const struct span around = {span.from_s - 2.0 * CRITERIA_SMOOTH_HALF_S,
                                span.to_s + 2.0 * CRITERIA_SMOOTH_HALF_S};

    return series_part(pressure, around).count > 0;
}

static bool trace_open(const struct study *study, const struct series *pressure, struct span span,
                       const char *absent, struct voiding_trace *trace)
{
    const struct span around = {span.from_s - CRITERIA_RISE_SEARCH_S - 2.0 * CRITERIA_SMOOTH_HALF_S,
                                span.to_s + CRITERIA_AFTER_CONTRACTION_S +
                                    2.0 * CRITERIA_SMOOTH_HALF_S};
    struct series part = series_part(pressure, around);

    if (!covers_flow(pressure, span)) {
        part.count = 0;
    }
    *trace =
        (struct voiding_trace){.averaged = part, .peaked = part, .edged = part, .absent = absent};
    if (part.count == 0) {
        return true;
    }
    trace->absent = NULL;
    return series_copy_smoothed(&part, CRITERIA_SMOOTH_HALF_S, study->memory, &trace->averaged) &&
           series_copy_smoothed(&part, CRITERIA_PEAK_HALF_S, study->memory, &trace->peaked) &&
           series_copy_smoothed(&part, CRITERIA_EDGE_HALF_S, study->memory, &trace->edged);
}

bool voiding_traces_open(const struct study *study, const struct flow_record *record,
                         const struct void_phase *phase, double delay_s,
                         struct voiding_traces *ret_traces)
{
    const struct span span = {phase->span.from_s - delay_s, phase->span.to_s - delay_s};

    *ret_traces =
        (struct voiding_traces){.record = record, .phase = phase, .delay_s = delay_s, .span = span};
    return trace_open(study, &study->pdet, span,
                      "no detrusor pressure during the flow: it needs pves and pabd, or pdet",
                      &ret_traces->pdet) &&
           trace_open(study, &study->pves, span, "no vesical pressure during the flow",
                      &ret_traces->pves) &&
           trace_open(study, &study->pabd, span, "no abdominal pressure during the flow",
                      &ret_traces->pabd);
}

static struct measure read_at(const struct series *series, const char *absent, double at_s,
                              const char *method)
{
    if (absent != NULL) {
        return measure_absent(absent);
    }
    const double value = series_value(series, at_s);

    if (isnan(value)) {
        return measure_absent("pressure samples are missing at that moment");
    }
    return measure_at(value, at_s, method);
}

static struct measure largest(const struct voiding_trace *trace, struct span span)
{
    const struct series part = series_part(&trace->peaked, span);
    size_t index = 0;

    if (trace->absent != NULL) {
        return measure_absent(trace->absent);
    }
    if (!series_maximum(&part, &index)) {
        return measure_absent("pressure samples are missing during the flow");
    }
    return measure_at(part.samples[index], series_time(&part, index),
                      "largest 1 s average during the flow, which is shifted by flow_delay_s");
}

/* The lowest sample of a part, joined to what was found before. */
static void take_lowest(const struct series *part, double *lowest, double *at_s)
{
    for (size_t i = 0; i < part->count; i++) {
        if (part->samples[i] < *lowest) {
            *lowest = part->samples[i];
            *at_s = series_time(part, i);
        }
    }
}

/* Pauses of an interrupted flow are left out: there is no flow in them. */
static struct measure lowest_during_flow(const struct voiding_traces *traces)
{
    double lowest = SERIES_ENDLESS;
    double at_s = 0.0;

    if (traces->pdet.absent != NULL) {
        return measure_absent(traces->pdet.absent);
    }
    for (size_t i = traces->phase->first_run; i < traces->phase->run_end; i++) {
        struct span span = flow_run_span(traces->record, traces->phase, i);

        span.from_s -= traces->delay_s;
        span.to_s -= traces->delay_s;
        const struct series part = series_part(&traces->pdet.peaked, span);

        take_lowest(&part, &lowest, &at_s);
    }
    if (!isfinite(lowest)) {
        return measure_absent("pressure samples are missing during the flow");
    }
    return measure_at(lowest, at_s,
                      "smallest 1 s average of pdet while flow is measurable (0.5 mL/s or more), "
                      "pauses left out; the flow is shifted by flow_delay_s");
}

static const char *qmax_method(const struct measure *delay)
{
    if (delay->source == SOURCE_COMPUTED) {
        return "2 s average of the pressure, flow_delay_s (not entered: the value in use) before "
               "the recorded moment of Qmax";
    }
    return delay->value > 0.0 ? "2 s average of the pressure, the entered flow_delay_s before the "
                                "recorded moment of Qmax"
                              : "2 s average of the pressure at the recorded moment of Qmax; no "
                                "delay correction";
}

static struct measure at_qmax(const struct voiding_trace *trace,
                              const struct voiding_measures *measures)
{
    const struct measure *qmax = &measures->flow.qmax;

    return measure_known(qmax)
               ? read_at(&trace->averaged, trace->absent, qmax->at_s - measures->flow_delay.value,
                         qmax_method(&measures->flow_delay))
               : measure_absent("no maximum flow");
}

void voiding_pressures_measure(const struct voiding_traces *traces,
                               struct voiding_measures *measures)
{
    static const char at_opening[] = "half-second average of pdet, flow_delay_s before the onset "
                                     "of flow";
    static const char at_closing[] = "half-second average of pdet, flow_delay_s before the end of "
                                     "flow";
    const struct voiding_trace *pdet = &traces->pdet;

    measures->opening_pressure =
        traces->phase->start_unseen
            ? measure_absent("the onset of flow was not recorded")
            : read_at(&pdet->edged, pdet->absent, traces->span.from_s, at_opening);
    measures->closing_pressure =
        traces->phase->end_unseen
            ? measure_absent("the end of flow was not recorded")
            : read_at(&pdet->edged, pdet->absent, traces->span.to_s, at_closing);
    measures->pdet_max = largest(pdet, traces->span);
    measures->pves_max = largest(&traces->pves, traces->span);
    measures->pabd_max = largest(&traces->pabd, traces->span);
    measures->pdet_min_void = lowest_during_flow(traces);
    measures->pdet_qmax = at_qmax(pdet, measures);
    measures->pves_qmax = at_qmax(&traces->pves, measures);
    measures->pabd_qmax = at_qmax(&traces->pabd, measures);
}
