#include "analysis/voiding.h"

#include "analysis/classify.h"
#include "analysis/criteria.h"
#include "analysis/measure.h"
#include "analysis/memory.h"
#include "analysis/signal/smooth.h"
#include "analysis/uroflow.h"

#include <math.h>

static const char no_flow[] = "no flow was found after permission to void";
static const char only_earlier[] =
    "flow was found only before the permission_to_void or void_start marker";
static const char no_signal[] = "no usable flow or voided volume signal";

/* One pressure during the voiding. */
struct pressure_trace {
    struct series averaged; /* 2 s average */
    struct series peaked;   /* 1 s average, for maxima */
    struct series edged;    /* half-second average, for where pressure may change fast */
    const char *absent;     /* why there is none */
};

bool voiding_exists(const struct study *study, const struct flow_record *record)
{
    if (study->recording->type == RECORDING_PRESSURE_FLOW) {
        return true;
    }
    return study->flow.count > 0 &&
           (study->timeline.permission.known || study->timeline.void_start.known ||
            filling_voiding_start(study, record).known);
}

static struct measure measure_delay(struct study *study)
{
    const struct optional_number entered = study->recording->conditions.flow_delay_s;

    if (!entered.known) {
        return measure_of(CRITERIA_FLOW_DELAY_S, "default of 0.8 s, because none was entered; "
                                                 "published delays range from 0.5 to 1.4 s");
    }
    if (entered.value >= 0.0 && entered.value <= CRITERIA_FLOW_DELAY_MAX_S) {
        return measure_entered(entered.value, entered.value > 0.0 ? NULL : "no delay correction");
    }
    outcome_note(&study->outcome, "flow_delay_out_of_range", QUALITY_WARNING, SIGNAL_FLOW,
                 "The entered flow delay is outside 0 to 3 s and was not used; 0.8 s was used "
                 "instead. Correct the entry and compute again.");
    return measure_of(CRITERIA_FLOW_DELAY_S,
                      "default of 0.8 s, because the entered delay is outside 0 to 3 s");
}

static bool average(const struct study *study, const struct series *part, double half_s,
                    struct series *ret_averaged)
{
    double *samples = memory_doubles(study->memory, part->count);

    if (samples == NULL) {
        return false;
    }
    smooth_mean(part, smooth_window(part, half_s), SMOOTH_ENDS_SHORTEN, samples);
    *ret_averaged = *part;
    ret_averaged->samples = samples;
    return true;
}

static bool trace_open(const struct study *study, const struct series *pressure, struct span span,
                       const char *absent, struct pressure_trace *trace)
{
    const struct span around = {span.from_s - 2.0 * CRITERIA_SMOOTH_HALF_S,
                                span.to_s + 2.0 * CRITERIA_SMOOTH_HALF_S};
    const struct series part = series_part(pressure, around);

    *trace =
        (struct pressure_trace){.averaged = part, .peaked = part, .edged = part, .absent = absent};
    if (part.count == 0) {
        return true;
    }
    trace->absent = NULL;
    return average(study, &part, CRITERIA_SMOOTH_HALF_S, &trace->averaged) &&
           average(study, &part, CRITERIA_PEAK_HALF_S, &trace->peaked) &&
           average(study, &part, CRITERIA_EDGE_HALF_S, &trace->edged);
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

static struct measure largest(const struct pressure_trace *trace, struct span span)
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

static const char *qmax_method(const struct measure *delay)
{
    if (delay->source == SOURCE_COMPUTED) {
        return "2 s average of the pressure, 0.8 s (default flow delay) before the recorded "
               "moment of Qmax";
    }
    return delay->value > 0.0 ? "2 s average of the pressure, the entered flow_delay_s before the "
                                "recorded moment of Qmax"
                              : "2 s average of the pressure at the recorded moment of Qmax; no "
                                "delay correction";
}

static void measure_at_qmax(const struct pressure_trace traces[3], const struct measure *qmax,
                            struct voiding_measures *measures)
{
    struct measure *const targets[3] = {&measures->pdet_qmax, &measures->pves_qmax,
                                        &measures->pabd_qmax};

    for (size_t i = 0; i < 3; i++) {
        *targets[i] = measure_known(qmax) ? read_at(&traces[i].averaged, traces[i].absent,
                                                    qmax->at_s - measures->flow_delay.value,
                                                    qmax_method(&measures->flow_delay))
                                          : measure_absent("no maximum flow");
    }
}

static bool measure_pressures(const struct study *study, const struct void_phase *phase,
                              struct voiding_measures *measures)
{
    static const char at_opening[] = "half-second average of pdet, flow_delay_s before the onset "
                                     "of flow";
    static const char at_closing[] = "half-second average of pdet, flow_delay_s before the end of "
                                     "flow";
    const double delay_s = measures->flow_delay.value;
    const struct span span = {phase->span.from_s - delay_s, phase->span.to_s - delay_s};
    struct pressure_trace traces[3];

    if (!trace_open(study, &study->pdet, span,
                    "no detrusor pressure during the flow: it needs pves and pabd, or pdet",
                    &traces[0]) ||
        !trace_open(study, &study->pves, span, "no vesical pressure during the flow", &traces[1]) ||
        !trace_open(study, &study->pabd, span, "no abdominal pressure during the flow",
                    &traces[2])) {
        return false;
    }
    measures->opening_pressure =
        phase->start_unseen ? measure_absent("the onset of flow was not recorded")
                            : read_at(&traces[0].edged, traces[0].absent, span.from_s, at_opening);
    measures->closing_pressure =
        phase->end_unseen ? measure_absent("the end of flow was not recorded")
                          : read_at(&traces[0].edged, traces[0].absent, span.to_s, at_closing);
    measures->pdet_max = largest(&traces[0], span);
    measures->pves_max = largest(&traces[1], span);
    measures->pabd_max = largest(&traces[2], span);
    measure_at_qmax(traces, &measures->flow.qmax, measures);
    return true;
}

static const char *why_no_male_index(const struct study *study,
                                     const struct voiding_measures *measures)
{
    if (study->recording->sex == SEX_UNKNOWN) {
        return "it is valid for men only, and the patient's sex is unknown";
    }
    if (study->recording->sex != SEX_MALE) {
        return "it is valid for men only";
    }
    if (study_is_child(study)) {
        return "it is valid for men, not for children";
    }
    if (!measure_known(&measures->flow.qmax)) {
        return study->flow.count == 0 ? "no flow signal" : "no maximum flow";
    }
    return measure_known(&measures->pdet_qmax) ? NULL : "no detrusor pressure at Qmax";
}

static void measure_indices(const struct study *study, struct voiding_measures *measures)
{
    const char *reason = why_no_male_index(study, measures);

    if (reason != NULL) {
        measures->booi = measure_absent(reason);
        measures->bci = measure_absent(reason);
        return;
    }
    const double pdet = measures->pdet_qmax.value;
    const double qmax = measures->flow.qmax.value;

    measures->booi = measure_of(classify_booi(pdet, qmax), "pdetQmax - 2*Qmax");
    measures->bci = measure_of(classify_bci(pdet, qmax), "pdetQmax + 5*Qmax");
}

static struct void_phase find_phase(const struct study *study, const struct flow_record *record,
                                    const struct filling_phase *filling, bool has_filling)
{
    double from_s = -SERIES_ENDLESS;

    if (study->timeline.permission.known) {
        from_s = study->timeline.permission.value;
    } else if (has_filling && filling->end == FILLING_ENDS_AT_VOIDING &&
               !study->timeline.void_start.known) {
        from_s = filling->span.to_s;
    }
    return flow_find_void(study, record, flow_limits_from(study, from_s));
}

bool voiding_measure(struct study *study, const struct flow_record *record,
                     const struct filling_phase *filling, bool has_filling,
                     struct void_phase *ret_phase, struct voiding_measures *measures)
{
    const struct void_phase phase = find_phase(study, record, filling, has_filling);

    *ret_phase = phase;

    measures->flow_delay = measure_delay(study);
    uroflow_measure(study, record, &phase, false, &measures->flow);
    if (phase.found) {
        if (!measure_pressures(study, &phase, measures)) {
            return false;
        }
    } else {
        const char *reason = phase.only_earlier ? only_earlier : no_flow;
        const struct measure absent = measure_absent(study->flow.count == 0 ? no_signal : reason);

        measures->opening_pressure = absent;
        measures->closing_pressure = absent;
        measures->pdet_max = absent;
        measures->pves_max = absent;
        measures->pabd_max = absent;
        measures->pdet_qmax = absent;
        measures->pves_qmax = absent;
        measures->pabd_qmax = absent;
    }
    measure_indices(study, measures);
    return true;
}
