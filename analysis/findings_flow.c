#include "analysis/criteria.h"
#include "analysis/findings.h"
#include "analysis/measure.h"

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

void findings_of_flow(struct study *study)
{
    const struct analysis_result *result = study->outcome.result;

    if (result->has_uroflow) {
        draft_free_flow(study, &result->uroflow);
        draft_residual(study, &result->uroflow, "uroflow.post_void_residual");
    }
    if (result->has_voiding) {
        draft_residual(study, &result->voiding.flow, "voiding.post_void_residual");
    }
}
