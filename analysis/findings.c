#include "analysis/findings.h"

#include "analysis/anorectal/anorectal.h"
#include "analysis/emg/emg.h"
#include "analysis/profile/profiles.h"
#include "analysis/training/training.h"

void findings_add(struct study *study, const char *code, const char *text, const char *basis)
{
    outcome_finding(
        &study->outcome,
        (struct finding){.code = code, .text = text, .basis_count = 1, .basis = {basis}});
}

void findings_draft(struct study *study)
{
    const struct analysis_result *result = study->outcome.result;

    findings_of_flow(study);
    if (result->has_filling) {
        findings_of_filling(study);
    }
    if (result->has_voiding) {
        findings_of_voiding(study);
    }
    if (result->has_emg) {
        emg_draft(study);
    }
    if (result->has_profiles) {
        profiles_draft(study);
    }
    if (result->has_anorectal) {
        anorectal_draft(study);
    }
    if (result->has_training) {
        training_draft(study);
    }
}
