#include "analysis/findings.h"

#include "analysis/classify.h"
#include "analysis/criteria.h"
#include "analysis/measure.h"

#include <string.h>

static void add_finding(struct study *study, const char *code, const char *text, const char *basis)
{
    outcome_finding(
        &study->outcome,
        (struct finding){.code = code, .text = text, .basis_count = 1, .basis = {basis}});
}

static void classify_voiding(struct study *study, const struct voiding_measures *voiding)
{
    static const char obstruction_method[] =
        "Provisional ICS bands for men by BOOI = pdetQmax - 2*Qmax: above 40 obstructed, 20 to 40 "
        "equivocal (both included), below 20 unobstructed. Griffiths 1997, Neurourol Urodyn "
        "16:1-18; Abrams 1999, BJU Int 84:14-15; the limit of 20 from memory";
    static const char contractility_method[] =
        "Bands for men by BCI = pdetQmax + 5*Qmax: above 150 strong, 100 to 150 normal (both "
        "included), below 100 weak. Abrams 1999, BJU Int 84:14-15; the limit of 150 from memory";

    if (measure_known(&voiding->booi)) {
        outcome_classification(&study->outcome,
                               (struct classification){
                                   .code = "ics_obstruction",
                                   .class = classify_obstruction(voiding->booi.value),
                                   .method = obstruction_method,
                                   .basis_count = 1,
                                   .basis = {{"booi", voiding->booi.value}},
                               });
    }
    if (measure_known(&voiding->bci)) {
        outcome_classification(&study->outcome,
                               (struct classification){
                                   .code = "contractility",
                                   .class = classify_contractility(voiding->bci.value),
                                   .method = contractility_method,
                                   .basis_count = 1,
                                   .basis = {{"bci", voiding->bci.value}},
                               });
    }
}

static void draft_voiding(struct study *study, const struct voiding_measures *voiding)
{
    if (measure_known(&voiding->booi)) {
        const char *class = classify_obstruction(voiding->booi.value);

        if (strcmp(class, "obstructed") == 0) {
            add_finding(study, "outlet_obstruction_suggested",
                        "Pressure and flow suggest bladder outlet obstruction (BOOI above 40). To "
                        "be confirmed on the curves and against the symptoms.",
                        "voiding.booi");
        } else if (strcmp(class, "equivocal") == 0) {
            add_finding(study, "outlet_obstruction_equivocal",
                        "Pressure and flow are equivocal for bladder outlet obstruction (BOOI 20 "
                        "to 40).",
                        "voiding.booi");
        }
    }
    if (measure_known(&voiding->bci) &&
        strcmp(classify_contractility(voiding->bci.value), "weak") == 0) {
        add_finding(study, "weak_contraction_suggested",
                    "The contractility index suggests a weak detrusor contraction during voiding "
                    "(BCI below 100). To be confirmed on the curves: straining, an inhibited or an "
                    "incomplete voiding lower it too.",
                    "voiding.bci");
    }
}

static void draft_filling(struct study *study, const struct filling_measures *filling)
{
    if (!measure_known(&filling->compliance)) {
        return;
    }
    const char *class = classify_compliance(filling->compliance.value);

    if (strcmp(class, "very_low") == 0) {
        add_finding(study, "very_low_compliance",
                    "Bladder compliance is very low (below 10 mL/cmH2O). No agreed limit exists; "
                    "consider a slower filling, and look at whether a contraction or straining at "
                    "the end of filling explains it.",
                    "filling.compliance");
    } else if (strcmp(class, "low") == 0) {
        add_finding(study, "low_compliance",
                    "Bladder compliance is low (below 20 mL/cmH2O). No agreed limit exists; "
                    "consider a slower filling, and look at whether a contraction or straining at "
                    "the end of filling explains it.",
                    "filling.compliance");
    }
}

/* Children have published limits for the residual; adults have none that is agreed. */
static void draft_residual(struct study *study, const struct flow_measures *flow, const char *basis)
{
    const double age_years = study_age_years(study);
    const bool young = age_years <= CRITERIA_RESIDUAL_YOUNG_MAX_YEARS;
    const double limit_ml = young ? CRITERIA_RESIDUAL_YOUNG_ML : CRITERIA_RESIDUAL_OLDER_ML;
    const double limit_share =
        young ? CRITERIA_RESIDUAL_YOUNG_SHARE : CRITERIA_RESIDUAL_OLDER_SHARE;

    if (age_years < CRITERIA_EBC_MIN_YEARS || age_years > CRITERIA_EBC_PLATEAU_YEARS ||
        !measure_known(&flow->post_void_residual)) {
        return;
    }
    const double residual_ml = flow->post_void_residual.value;
    const bool by_share = measure_known(&flow->initial_volume) &&
                          residual_ml > limit_share * flow->initial_volume.value;

    if (residual_ml > limit_ml || by_share) {
        add_finding(study, "raised_residual",
                    young ? "The post-void residual is raised for a child up to 6 years (single "
                            "measurement above 30 mL or above 21 % of the bladder volume, Chang "
                            "2013). Repeat it before acting on it."
                          : "The post-void residual is raised for a child of 7 years or more "
                            "(single measurement above 20 mL or above 15 % of the bladder volume, "
                            "Chang 2013). Repeat it before acting on it.",
                    basis);
    }
}

static void draft_free_flow(struct study *study, const struct flow_measures *flow)
{
    if (measure_known(&flow->qmax_centile) &&
        flow->qmax_centile.value < CRITERIA_LIVERPOOL_LOW_CENTILE) {
        add_finding(study, "low_free_flow",
                    "The maximum free flow lies below the 10th centile of the Liverpool nomogram "
                    "(coefficients from memory, unconfirmed). Flow alone cannot tell obstruction "
                    "from a weak contraction; repeat the measurement.",
                    "uroflow.qmax_centile");
    }
}

void findings_draft(struct study *study)
{
    const struct analysis_result *result = study->outcome.result;

    if (result->has_uroflow) {
        draft_free_flow(study, &result->uroflow);
        draft_residual(study, &result->uroflow, "uroflow.post_void_residual");
    }
    if (result->has_filling) {
        draft_filling(study, &result->filling);
    }
    if (result->has_voiding) {
        classify_voiding(study, &result->voiding);
        draft_voiding(study, &result->voiding);
        draft_residual(study, &result->voiding.flow, "voiding.post_void_residual");
    }
}
