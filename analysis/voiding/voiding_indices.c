/* Indices of the voiding, each for those for whom it was published. */
#include "analysis/criteria.h"
#include "analysis/criteria_voiding.h"
#include "analysis/measure.h"
#include "analysis/voiding/outlet.h"
#include "analysis/voiding/voiding_pressures.h"
#include "analysis/voiding/watts.h"

#include <math.h>

/* Why pressure and flow at Qmax are not both known; NULL when they are. */
static const char *why_no_point(const struct study *study, const struct voiding_measures *measures)
{
    if (!measure_known(&measures->flow.qmax)) {
        return study->flow.count == 0 ? "no flow signal" : "no maximum flow";
    }
    return measure_known(&measures->pdet_qmax) ? NULL : "no detrusor pressure at Qmax";
}

static const char *why_not_male(const struct study *study, const struct voiding_measures *measures)
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
    return why_no_point(study, measures);
}

static const char *why_not_female(const struct study *study,
                                  const struct voiding_measures *measures)
{
    if (study->recording->sex == SEX_UNKNOWN) {
        return "it is valid for women only, and the patient's sex is unknown";
    }
    if (study->recording->sex != SEX_FEMALE) {
        return "it is valid for women only";
    }
    if (study_is_child(study)) {
        return "it is valid for women, not for children";
    }
    return why_no_point(study, measures);
}

/* The closing pressure stands for the minimum urethral opening pressure: the flow-free end of the
 * passive curve, at the end of voiding. */
static struct measure purr_slope(const struct voiding_measures *measures)
{
    const struct measure *closing = &measures->closing_pressure;
    const double pdet = measures->pdet_qmax.value;

    if (!measure_known(closing)) {
        return measure_absent(closing->reason);
    }
    if (closing->value > pdet) {
        return measure_absent("pdet at the end of flow is above pdet at Qmax, so the outlet was "
                              "not passive between them");
    }
    struct measure measure =
        measure_of(outlet_purr_slope(pdet, closing->value, measures->flow.qmax.value),
                   "(pdetQmax - pmuo) / Qmax, with the closing pressure as the minimum urethral "
                   "opening pressure (pmuo); holds only when the outlet stays relaxed to the end");

    if (measure_known(&measure)) {
        measure.part_count = 1;
        measure.parts[0] = (struct named_number){"pmuo", closing->value};
    }
    return measure;
}

static void measure_male(const struct study *study, struct voiding_measures *measures)
{
    const char *reason = why_not_male(study, measures);

    if (reason != NULL) {
        measures->booi = measure_absent(reason);
        measures->bci = measure_absent(reason);
        measures->obstruction_coefficient = measure_absent(reason);
        measures->purr_slope = measure_absent(reason);
        return;
    }
    const double pdet = measures->pdet_qmax.value;
    const double qmax = measures->flow.qmax.value;

    measures->booi = measure_of(outlet_booi(pdet, qmax), "pdetQmax - 2*Qmax");
    measures->bci = measure_of(outlet_bci(pdet, qmax), "pdetQmax + 5*Qmax");
    measures->obstruction_coefficient = measure_of(outlet_obstruction_coefficient(pdet, qmax),
                                                   "pdetQmax / (40 + 2*Qmax), from memory");
    measures->purr_slope = purr_slope(measures);
}

static void measure_female(const struct study *study, struct voiding_measures *measures)
{
    const char *reason = why_not_female(study, measures);

    if (reason != NULL) {
        measures->female_booi = measure_absent(reason);
        measures->pip1 = measure_absent(reason);
        return;
    }
    const double pdet = measures->pdet_qmax.value;
    const double qmax = measures->flow.qmax.value;

    measures->female_booi = measure_of(outlet_female_booi(pdet, qmax), "pdetQmax - 2.2*Qmax");
    measures->pip1 = measure_of(outlet_pip1(pdet, qmax), "pdetQmax + Qmax");
}

static struct measure measure_ura(const struct study *study,
                                  const struct voiding_measures *measures)
{
    const char *reason = study_is_child(study) ? "it is valid for adults, not for children"
                                               : why_no_point(study, measures);
    double ura = 0.0;

    if (reason != NULL) {
        return measure_absent(reason);
    }
    if (!outlet_ura(measures->pdet_qmax.value, measures->flow.qmax.value, &ura)) {
        return measure_absent("pdet at Qmax is not above zero");
    }
    return measure_of(ura, "positive root u of pdetQmax = u + d*u^2*Qmax^2 with d = 3.8e-4, from "
                           "memory");
}

static const char *why_no_watts(const struct study *study, const struct voiding_traces *traces,
                                const struct voiding_measures *measures)
{
    if (study_is_child(study)) {
        return "its constants are those of adults";
    }
    if (traces == NULL) {
        return study->flow.count == 0 ? "no flow signal" : "no flow was found";
    }
    if (traces->pdet.absent != NULL) {
        return traces->pdet.absent;
    }
    if (!measure_known(&measures->flow.post_void_residual)) {
        return "no post-void residual was entered, so the volume in the bladder is not known";
    }
    return NULL;
}

/* The largest value, and that nearest to the moment of Qmax (where it is known). */
static void read_curve(const struct watts_curve *curve, const struct measure *qmax, double delay_s,
                       struct voiding_measures *measures)
{
    static const char largest_method[] =
        "largest Watts factor (a 25 cmH2O, b 6 mm/s, 10 mL of wall, from memory) from the 2 s "
        "averages of pdet and flow, while flow is on and the bladder holds 20 mL or more; volume: "
        "residual and what is still to be voided";
    static const char qmax_method[] =
        "Watts factor (a 25 cmH2O, b 6 mm/s, 10 mL of wall, from memory) from the 2 s averages of "
        "pdet and flow at the moment of Qmax";
    const struct watts_point *largest = NULL;
    const struct watts_point *at_qmax = NULL;
    const double wanted_s = qmax->at_s - delay_s;

    for (size_t i = 0; i < curve->count; i++) {
        const struct watts_point *point = &curve->points[i];

        if (at_qmax == NULL || fabs(point->at_s - wanted_s) < fabs(at_qmax->at_s - wanted_s)) {
            at_qmax = point;
        }
        if (isfinite(point->watts) && (largest == NULL || point->watts > largest->watts)) {
            largest = point;
        }
    }
    measures->watts_factor_max =
        largest != NULL ? measure_at(largest->watts, largest->at_s, largest_method)
                        : measure_absent("the bladder held less than 20 mL, or pressure is "
                                         "missing, throughout the flow");
    measures->watts_factor_qmax =
        measure_known(qmax) && at_qmax != NULL && isfinite(at_qmax->watts)
            ? measure_at(at_qmax->watts, at_qmax->at_s, qmax_method)
            : measure_absent("no Qmax with pressure and at least 20 mL in the bladder");
}

static bool measure_watts(const struct study *study, const struct voiding_traces *traces,
                          struct voiding_measures *measures)
{
    const char *reason = why_no_watts(study, traces, measures);
    struct watts_curve curve = {.count = 0};

    if (reason == NULL) {
        if (!watts_over_time(study, traces->record, traces->phase, &traces->pdet.averaged,
                             traces->delay_s, measures->flow.post_void_residual.value, &curve)) {
            return false;
        }
        reason = curve.absent;
    }
    if (reason != NULL) {
        measures->watts_factor_max = measure_absent(reason);
        measures->watts_factor_qmax = measure_absent(reason);
        return true;
    }
    read_curve(&curve, &measures->flow.qmax, traces->delay_s, measures);
    return true;
}

bool voiding_indices_measure(const struct study *study, const struct voiding_traces *traces,
                             struct voiding_measures *measures)
{
    measure_male(study, measures);
    measure_female(study, measures);
    measures->ura = measure_ura(study, measures);
    return measure_watts(study, traces, measures);
}
