#include "analysis/criteria.h"
#include "analysis/criteria_profile.h"
#include "analysis/measure.h"
#include "analysis/profile/profile_expected.h"
#include "analysis/profile/profiles.h"

static const char closure_basis[] = "profiles_summary.maximum_closure_pressure";
static const char stress_basis[] = "profiles_summary.stress_closure_pressure";

/* "At or below" a limit, however the rounding of a mean falls. */
static bool at_or_below(double value, double limit)
{
    return value < limit + 0.5 * CRITERIA_INDEX_GRAIN;
}

static void draft_low_closure(struct study *study, double closure_cmh2o)
{
    const double limit = study->choices->closure_pressure_low_cmh2o.value;
    const bool low = at_or_below(closure_cmh2o, limit);

    outcome_classification(
        &study->outcome,
        (struct classification){
            .code = "urethral_closure_pressure",
            .class = low ? "low" : "not_low",
            .method = "Mean maximum urethral closure pressure of the resting pulls, at or below "
                      "the limit in use low. 20 cmH2O: Bump 1997, Am J Obstet Gynecol "
                      "177:303-310, in women; others write below 20",
            .basis_count = 1,
            .basis = {{"maximum_closure_pressure", closure_cmh2o}},
            .limit_count = 1,
            .limits = {{"closure_pressure_low_cmh2o", limit}}});
    if (low) {
        outcome_finding(
            &study->outcome,
            (struct finding){
                .code = "low_closure_pressure",
                .text = "Maximum urethral closure pressure at rest is at or below the limit in use "
                        "(20 cmH2O after Bump 1997, unless the clinic chose another). Half of the "
                        "women of that study were low by at least one of three criteria, few by "
                        "all: read it together with leak point pressure and symptoms.",
                .basis_count = 1,
                .basis = {closure_basis},
                .limit_count = 1,
                .limits = {{"closure_pressure_low_cmh2o", limit}}});
    }
}

/* A hint, no class: two rules are in use, and they differ by 18 cmH2O at any age. */
static void draft_for_age(struct study *study, double closure_cmh2o)
{
    struct profile_expected expected;
    const char *text = "For orientation: maximum urethral closure pressure at rest lies within the "
                       "band of 110 minus age (in cmH2O), plus or minus 20 %, that has been quoted "
                       "for women. Another rule, 92 minus age, expects 18 cmH2O less.";

    if (study->recording->sex != SEX_FEMALE || study_is_child(study) ||
        !profile_expected_for_age(study_age_years(study), &expected)) {
        return;
    }
    if (closure_cmh2o < expected.least_cmh2o) {
        text = closure_cmh2o < expected.lower_rule_cmh2o
                   ? "For orientation: maximum urethral closure pressure at rest lies below both "
                     "figures that have been quoted for women of this age: 110 minus age (in "
                     "cmH2O), plus or minus 20 %, and 92 minus age."
                   : "For orientation: maximum urethral closure pressure at rest lies below the "
                     "band of 110 minus age (in cmH2O), plus or minus 20 %, that has been quoted "
                     "for women, but not below another rule, 92 minus age.";
    } else if (closure_cmh2o > expected.most_cmh2o) {
        text = "For orientation: maximum urethral closure pressure at rest lies above the band of "
               "110 minus age (in cmH2O), plus or minus 20 %, that has been quoted for women.";
    }
    outcome_finding(
        &study->outcome,
        (struct finding){.code = "closure_pressure_for_age",
                         .text = text,
                         .basis_count = 1,
                         .basis = {closure_basis},
                         .limit_count = 4,
                         .limits = {{"expected_110_minus_age", expected.cmh2o},
                                    {"expected_least", expected.least_cmh2o},
                                    {"expected_most", expected.most_cmh2o},
                                    {"expected_92_minus_age", expected.lower_rule_cmh2o}}});
}

static void draft_stress(struct study *study, double stress_closure_cmh2o)
{
    const struct named_number limit = {"stress_closure_low_cmh2o",
                                       CRITERIA_PROFILE_STRESS_CLOSURE_CMH2O};
    const bool negative = stress_closure_cmh2o < 0.0;

    if (!at_or_below(stress_closure_cmh2o, CRITERIA_PROFILE_STRESS_CLOSURE_CMH2O)) {
        return;
    }
    outcome_finding(
        &study->outcome,
        (struct finding){
            .code = negative ? "negative_stress_closure" : "low_stress_closure",
            .text = negative
                        ? "At one cough or more, closure pressure fell below 0: bladder pressure "
                          "exceeded urethral pressure. Urine seen to leak at that moment would be "
                          "explained by it; without a leak look at the sampling and the place of "
                          "the sensor."
                        : "Closure pressure at a cough was 20 cmH2O or less. In one series of 400 "
                          "women that was found in 73 % of those with stress incontinence and in 7 "
                          "% of the others (Pizzoferrato 2017). To be read with the history.",
            .basis_count = 1,
            .basis = {stress_basis},
            .limit_count = 1,
            .limits = {limit}});
}

void profiles_draft(struct study *study)
{
    const struct profiles_summary_measures *summary = &study->outcome.result->profiles_summary;

    if (measure_known(&summary->maximum_closure_pressure)) {
        const double closure_cmh2o = summary->maximum_closure_pressure.value;

        if (!study_is_child(study)) {
            draft_low_closure(study, closure_cmh2o);
        }
        draft_for_age(study, closure_cmh2o);
    }
    if (measure_known(&summary->stress_closure_pressure)) {
        draft_stress(study, summary->stress_closure_pressure.value);
    }
}
