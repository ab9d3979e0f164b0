#include "analysis/criteria.h"
#include "analysis/findings.h"
#include "analysis/flow/pattern.h"
#include "analysis/measure.h"

/* Children have published limits for the residual; adults have none that is agreed. */
static void draft_residual(struct study *study, const struct flow_measures *flow, const char *basis)
{
    const double age_years = study_age_years(study);
    const bool young = age_years <= CRITERIA_YOUNG_CHILD_MAX_YEARS;
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
        findings_add(study, "raised_residual",
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
        findings_add(study, "low_free_flow",
                     "The maximum free flow lies below the 10th centile of the Liverpool nomogram "
                     "(coefficients from memory, unconfirmed). Flow alone cannot tell obstruction "
                     "from a weak contraction; repeat the measurement.",
                     "uroflow.qmax_centile");
    }
}

static void classify_adequate(struct study *study, const struct flow_measures *flow)
{
    static const char method[] =
        "Children: Qmax squared (mL/s) at or above the voided volume (mL) is adequate. ICCS, from "
        "memory";

    if (!study_is_child(study) || !measure_known(&flow->qmax) ||
        !measure_known(&flow->voided_volume)) {
        return;
    }
    outcome_classification(
        &study->outcome,
        (struct classification){
            .code = "adequate_flow",
            .class =
                pattern_adequate(flow->qmax.value, flow->voided_volume.value) ? "adequate" : "low",
            .method = method,
            .basis_count = 2,
            .basis = {{"qmax", flow->qmax.value}, {"voided_volume", flow->voided_volume.value}}});
}

static void draft_child_flow(struct study *study, const struct flow_measures *flow)
{
    const double age_years = study_age_years(study);
    const bool young = age_years <= CRITERIA_YOUNG_CHILD_MAX_YEARS;

    if (age_years < CRITERIA_EBC_MIN_YEARS || age_years > CRITERIA_EBC_PLATEAU_YEARS ||
        !measure_known(&flow->qmax) || !measure_known(&flow->voided_volume) ||
        flow->voided_volume.value < CRITERIA_CHILD_QMAX_VOLUME_ML) {
        return;
    }
    if (flow->qmax.value <=
        (young ? CRITERIA_CHILD_QMAX_YOUNG_ML_S : CRITERIA_CHILD_QMAX_OLDER_ML_S)) {
        findings_add(study, "low_flow_for_age",
                     young ? "Qmax is at or below 11.5 mL/s, about the 10th centile of the better "
                             "of two flows at 4 to 6 years. Repeat it before acting on it."
                           : "Qmax is at or below 15.0 mL/s, about the 10th centile of the better "
                             "of two flows at 7 to 12 years. Repeat it before acting on it.",
                     "uroflow.qmax");
    }
}

void findings_of_flow(struct study *study)
{
    const struct analysis_result *result = study->outcome.result;

    if (result->has_uroflow) {
        classify_adequate(study, &result->uroflow);
        draft_free_flow(study, &result->uroflow);
        draft_child_flow(study, &result->uroflow);
        draft_residual(study, &result->uroflow, "uroflow.post_void_residual");
    }
    if (result->has_voiding) {
        draft_residual(study, &result->voiding.flow, "voiding.post_void_residual");
    }
}
