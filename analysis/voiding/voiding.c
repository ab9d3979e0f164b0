#include "analysis/voiding/voiding.h"

#include "analysis/criteria.h"
#include "analysis/flow/uroflow.h"
#include "analysis/measure.h"
#include "analysis/voiding/voiding_pressures.h"

#include <math.h>

static const char no_flow[] = "no flow was found after permission to void";
static const char only_earlier[] =
    "flow was found only before the permission_to_void or void_start marker";
static const char no_signal[] = "no usable flow or voided volume signal";

bool voiding_exists(const struct study *study, const struct flow_record *record)
{
    if (study->recording->type == RECORDING_PRESSURE_FLOW) {
        return true;
    }
    return study->flow.count > 0 &&
           (study->timeline.permission.known || study->timeline.void_start.known ||
            filling_voiding_start(study, record).known);
}

/* The delay to use when none was entered that can be. */
static struct measure delay_in_use(const struct study *study, bool was_entered)
{
    const double delay_s = choices_value(study->choices, "flow_delay_s");

    if (fabs(delay_s - CRITERIA_FLOW_DELAY_S) > 0.0) {
        return measure_of(delay_s, was_entered
                                       ? "the clinic's own, because the entered delay is outside "
                                         "0 to 3 s"
                                       : "the clinic's own, because none was entered");
    }
    return measure_of(
        delay_s, was_entered ? "default of 0.8 s, because the entered delay is outside 0 to 3 s"
                             : "default of 0.8 s, because none was entered; published delays "
                               "range from 0.5 to 1.4 s");
}

static struct measure measure_delay(struct study *study)
{
    const struct optional_number entered = study->recording->conditions.flow_delay_s;

    if (!entered.known) {
        return delay_in_use(study, false);
    }
    if (entered.value >= 0.0 && entered.value <= CRITERIA_FLOW_DELAY_MAX_S) {
        return measure_entered(entered.value, entered.value > 0.0 ? NULL : "no delay correction");
    }
    outcome_note(&study->outcome, "flow_delay_out_of_range", QUALITY_WARNING, SIGNAL_FLOW,
                 "The entered flow delay is outside 0 to 3 s and was not used; the default was "
                 "used instead. Correct the entry and compute again.");
    return delay_in_use(study, true);
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

/* Every pressure of a voiding that was not found. */
static void pressures_absent(const char *reason, struct voiding_measures *measures)
{
    const struct measure absent = measure_absent(reason);

    measures->opening_pressure = absent;
    measures->closing_pressure = absent;
    measures->pdet_max = absent;
    measures->pves_max = absent;
    measures->pabd_max = absent;
    measures->pdet_qmax = absent;
    measures->pves_qmax = absent;
    measures->pabd_qmax = absent;
    measures->premicturition_pressure = absent;
    measures->opening_time = absent;
    measures->pdet_min_void = absent;
    measures->after_contraction = absent;
    measures->straining = absent;
}

bool voiding_measure(struct study *study, const struct flow_record *record,
                     const struct filling_phase *filling, bool has_filling,
                     struct void_phase *ret_phase, struct voiding_measures *measures)
{
    const struct void_phase phase = find_phase(study, record, filling, has_filling);
    struct voiding_traces traces;

    *ret_phase = phase;
    measures->flow_delay = measure_delay(study);
    uroflow_measure(study, record, &phase, false, &measures->flow);
    if (!phase.found) {
        const char *reason = phase.only_earlier ? only_earlier : no_flow;

        pressures_absent(study->flow.count == 0 ? no_signal : reason, measures);
        return voiding_indices_measure(study, NULL, measures);
    }
    if (!voiding_traces_open(study, record, &phase, measures->flow_delay.value, &traces)) {
        return false;
    }
    voiding_pressures_measure(&traces, measures);
    voiding_contraction_measure(study, &traces, measures);
    measures->straining = voiding_straining(study, &traces, measures);
    measure_rest_on(&measures->straining, traces.span.from_s, traces.span.to_s);
    return voiding_indices_measure(study, &traces, measures);
}
