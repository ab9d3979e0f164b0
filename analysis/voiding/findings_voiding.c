#include "analysis/findings.h"
#include "analysis/measure.h"
#include "analysis/voiding/voiding_classes.h"

#include <string.h>

/* A draft that is offered when a classification gave a certain class. */
struct draft_row {
    const char *code;
    const char *classification;
    const char *class;
    const char *text;
    const char *basis[FINDING_BASIS_MAX];
    const char *limits[FINDING_LIMITS_MAX]; /* choices */
};

static const struct draft_row drafts[] = {
    {"outlet_obstruction_suggested",
     "ics_obstruction",
     "obstructed",
     "Pressure and flow suggest bladder outlet obstruction (BOOI above the limit for obstructed). "
     "To be confirmed on the curves and against the symptoms.",
     {"voiding.booi"},
     {"obstruction_high"}},
    {"outlet_obstruction_equivocal",
     "ics_obstruction",
     "equivocal",
     "Pressure and flow are equivocal for bladder outlet obstruction (BOOI between the limits).",
     {"voiding.booi"},
     {"obstruction_low", "obstruction_high"}},
    {"outlet_obstruction_suggested",
     "female_obstruction",
     "almost_certain",
     "Pressure and flow suggest bladder outlet obstruction (female BOOI in the highest band). No "
     "rule for women is agreed on: to be read beside the other rules, the curves, imaging and the "
     "symptoms.",
     {"voiding.female_booi"},
     {"female_obstruction_certain"}},
    {"outlet_obstruction_suggested",
     "female_obstruction",
     "likely",
     "Pressure and flow suggest that bladder outlet obstruction is likely (female BOOI). No rule "
     "for women is agreed on: to be read beside the other rules, the curves, imaging and the "
     "symptoms.",
     {"voiding.female_booi"},
     {"female_obstruction_likely", "female_obstruction_certain"}},
    {"outlet_obstruction_equivocal",
     "female_obstruction",
     "indeterminate",
     "The female BOOI lies between unlikely and likely obstruction, where its authors name no "
     "class.",
     {"voiding.female_booi"},
     {"female_obstruction_likely"}},
    {"weak_contraction_suggested",
     "contractility",
     "weak",
     "The contractility index suggests a weak detrusor contraction during voiding (BCI below the "
     "limit). To be confirmed on the curves: straining, an inhibited or an incomplete voiding "
     "lower it too.",
     {"voiding.bci"},
     {"contractility_low"}},
    {"weak_contraction_suggested",
     "pip1_contractility",
     "weak",
     "The projected isovolumetric pressure suggests a weak detrusor contraction during voiding "
     "(PIP1 below the limit). To be confirmed on the curves: women with a low outlet resistance "
     "may void well at a low pressure.",
     {"voiding.pip1"},
     {"pip1_low"}},
    {"low_voiding_efficiency",
     "voiding_efficiency",
     "low",
     "The bladder was emptied incompletely (voiding efficiency below the clinic's own limit). "
     "Compare with a free flow: catheter and surroundings lower it too.",
     {"voiding.voiding_efficiency"},
     {"voiding_efficiency_low"}},
    {"low_watts_factor",
     "watts_factor",
     "low",
     "The largest Watts factor lies below the clinic's own limit, which suggests a weak "
     "contraction. No limit is agreed on; the constants are from memory.",
     {"voiding.watts_factor_max"},
     {"watts_factor_low"}},
};

static void draft_class(struct study *study, const struct draft_row *row)
{
    struct finding finding = {.code = row->code, .text = row->text};

    while (finding.basis_count < FINDING_BASIS_MAX && row->basis[finding.basis_count] != NULL) {
        finding.basis[finding.basis_count] = row->basis[finding.basis_count];
        finding.basis_count++;
    }
    for (size_t i = 0; i < FINDING_LIMITS_MAX && row->limits[i] != NULL; i++) {
        finding.limit_count =
            voiding_limit(study, row->limits[i], finding.limits, finding.limit_count);
    }
    outcome_finding(&study->outcome, finding);
}

static bool is_class(const struct study *study, const char *code, const char *class)
{
    const char *given = voiding_class(study, code);

    return given != NULL && strcmp(given, class) == 0;
}

/* Underactivity needs three numbers at once, by sex. */
static void draft_underactivity(struct study *study)
{
    static const char text[] =
        "Pressure, flow and emptying together suggest detrusor underactivity (Gammie 2016, from "
        "memory). To be confirmed on the curves; an inhibited voiding looks the same.";
    const bool woman = study->recording->sex == SEX_FEMALE;

    if (!is_class(study, "underactivity", "underactive")) {
        return;
    }
    outcome_finding(&study->outcome,
                    (struct finding){.code = "underactivity_suggested",
                                     .text = text,
                                     .basis_count = 3,
                                     .basis = {woman ? "voiding.pdet_qmax" : "voiding.bci",
                                               woman ? "voiding.qmax" : "voiding.booi",
                                               "voiding.voiding_efficiency"}});
}

/* BOOI and URA part company at low flow; both are shown. */
static void draft_disagreement(struct study *study)
{
    const bool by_ura = is_class(study, "ura_obstruction", "obstructed");
    const bool woman = study->recording->sex == SEX_FEMALE;
    const bool by_index = is_class(study, "ics_obstruction", "obstructed") ||
                          is_class(study, "female_obstruction", "likely") ||
                          is_class(study, "female_obstruction", "almost_certain");

    if (voiding_class(study, "ura_obstruction") == NULL || by_ura == by_index) {
        return;
    }
    outcome_finding(
        &study->outcome,
        (struct finding){.code = "obstruction_rules_disagree",
                         .text = "The rules for outlet obstruction disagree: one of BOOI and URA "
                                 "is in its obstructed range and the other is not, as happens at "
                                 "low flow. Judge on the curves.",
                         .basis_count = 2,
                         .basis = {woman ? "voiding.female_booi" : "voiding.booi", "voiding.ura"}});
}

static void draft_events(struct study *study, const struct voiding_measures *voiding)
{
    if (measure_known(&voiding->straining) && voiding->straining.value > 0.5) {
        findings_add(study, "straining_during_voiding",
                     "Abdominal pressure was raised during much of the flow and drove it: voiding "
                     "with straining. Pressures and indices then describe the contraction less "
                     "well.",
                     "voiding.straining");
    }
    if (measure_known(&voiding->after_contraction)) {
        findings_add(study, "after_contraction",
                     "Detrusor pressure rose again after the flow had ended (after-contraction). "
                     "Its meaning is not settled; look at whether the catheter or the end of the "
                     "recording explains it.",
                     "voiding.after_contraction");
    }
}

void findings_of_voiding(struct study *study)
{
    const struct voiding_measures *voiding = &study->outcome.result->voiding;

    voiding_classify(study, voiding);
    for (size_t i = 0; i < sizeof drafts / sizeof drafts[0]; i++) {
        if (is_class(study, drafts[i].classification, drafts[i].class)) {
            draft_class(study, &drafts[i]);
        }
    }
    draft_underactivity(study);
    draft_disagreement(study);
    draft_events(study, voiding);
}
