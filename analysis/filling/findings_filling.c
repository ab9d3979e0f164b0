#include "analysis/classify.h"
#include "analysis/findings.h"
#include "analysis/measure.h"

#include <string.h>

/* ---- Limits in use ---- */

static double limit_of(const struct study *study, const char *choice)
{
    return choices_get(study->choices, choices_find(choice)).value;
}

/* Lists choices, up to the first NULL, as limits; returns how many. */
static size_t list_limits(const struct study *study, const char *const *choices,
                          struct named_number *limits, size_t most)
{
    size_t count = 0;

    while (count < most && choices[count] != NULL) {
        limits[count] = (struct named_number){choices[count], limit_of(study, choices[count])};
        count++;
    }
    return count;
}

/* ---- Classes ---- */

/* A value that two limits, or one, divide into classes. */
struct class_row {
    const char *code;
    const char *basis;      /* code of the value */
    const char *choices[3]; /* lower limit, upper limit, NULL; or one and NULL */
    const char *below;      /* class below the first limit; NULL: the limit is an upper one */
    const char *between;    /* from the first limit on */
    const char *above;      /* above the last limit */
    const char *method;
};

static const struct class_row stress_row = {
    "stress_leak_point",
    "abdominal_leak_point_pressure",
    {"stress_leak_low_cmh2o", "stress_leak_high_cmh2o", NULL},
    "low",
    "middle",
    "high",
    "Abdominal leak point pressure as absolute pves (baseline: atmospheric zero): below the lower "
    "limit low, above the upper one high, between (both included) middle. 60 and 90 cmH2O after "
    "McGuire EJ, as the ICS terminology page gives them for Valsalva leak points; a limit of 50 is "
    "in use too, and other baselines give other classes"};

static const struct class_row detrusor_row = {
    "detrusor_leak_point",
    "detrusor_leak_point_pressure",
    {"detrusor_leak_high_cmh2o", NULL, NULL},
    NULL,
    "not_high",
    "high",
    "Detrusor leak point pressure above the limit is high; the limit itself is not. 40 cmH2O: "
    "McGuire EJ et al. J Urol 1981;126:205-209, in 42 children; 20 after Neurourol Urodyn "
    "2017;36:759-763"};

static const char *class_for(const struct study *study, const struct class_row *row, double value)
{
    const bool two = row->choices[1] != NULL;

    if (row->below != NULL && classify_below(value, limit_of(study, row->choices[0]))) {
        return row->below;
    }
    return classify_above(value, limit_of(study, row->choices[two ? 1 : 0])) ? row->above
                                                                             : row->between;
}

/* Adds the classification and returns its class; NULL without a value. */
static const char *classify(struct study *study, const struct class_row *row,
                            const struct measure *measure)
{
    if (!measure_known(measure)) {
        return NULL;
    }
    struct classification classification = {.code = row->code,
                                            .class = class_for(study, row, measure->value),
                                            .method = row->method,
                                            .basis_count = 1,
                                            .basis = {{row->basis, measure->value}}};

    classification.limit_count =
        list_limits(study, row->choices, classification.limits, CLASSIFICATION_LIMITS_MAX);
    outcome_classification(&study->outcome, classification);
    return classification.class;
}

static bool is(const char *class, const char *name)
{
    return class != NULL && strcmp(class, name) == 0;
}

/* ---- Drafts ---- */

static void draft(struct study *study, struct finding finding, const char *const *choices)
{
    if (choices != NULL) {
        finding.limit_count = list_limits(study, choices, finding.limits, FINDING_LIMITS_MAX);
    }
    while (finding.basis_count < FINDING_BASIS_MAX && finding.basis[finding.basis_count] != NULL) {
        finding.basis_count++;
    }
    outcome_finding(&study->outcome, finding);
}

static void draft_compliance(struct study *study, const struct measure *compliance)
{
    static const char *const low[] = {"compliance_low_ml_cmh2o", NULL};
    static const char *const very_low[] = {"compliance_very_low_ml_cmh2o", NULL};

    if (!measure_known(compliance)) {
        return;
    }
    if (classify_below(compliance->value, limit_of(study, very_low[0]))) {
        draft(study,
              (struct finding){
                  .code = "very_low_compliance",
                  .text =
                      "Bladder compliance is very low (below the lower limit in use). No agreed "
                      "limit exists; consider a slower filling, and look at whether a "
                      "contraction or straining at the end of filling explains it.",
                  .basis = {"filling.compliance"}},
              very_low);
    } else if (classify_below(compliance->value, limit_of(study, low[0]))) {
        draft(study,
              (struct finding){
                  .code = "low_compliance",
                  .text = "Bladder compliance is low (below the limit in use). No agreed limit "
                          "exists; consider a slower filling, and look at whether a contraction or "
                          "straining at the end of filling explains it.",
                  .basis = {"filling.compliance"}},
              low);
    }
}

/* What kinds of involuntary contraction there are. */
struct contraction_kinds {
    bool phasic;
    bool terminal;
    bool leak;
};

static struct contraction_kinds kinds_of(const struct item_list *list)
{
    const struct involuntary_contraction *items = list->items;
    struct contraction_kinds kinds = {false, false, false};

    for (size_t i = 0; i < list->count; i++) {
        const bool terminal = strcmp(items[i].kind, "terminal") == 0;

        kinds.terminal = kinds.terminal || terminal;
        kinds.phasic = kinds.phasic || !terminal;
        kinds.leak = kinds.leak || items[i].leak;
    }
    return kinds;
}

static void draft_overactivity(struct study *study, const struct filling_measures *filling)
{
    static const char *const choices[] = {"contraction_amplitude_cmh2o", NULL};
    static const char phasic[] =
        "Involuntary contractions during filling suggest detrusor overactivity, phasic. The ICS "
        "sets no smallest amplitude; small waves need a clean trace. To be confirmed on the curves "
        "and with what the patient felt.";
    static const char terminal[] =
        "An involuntary contraction at or near capacity suggests detrusor overactivity, terminal. "
        "To be confirmed on the curves: an early wish to void, or a late permission_to_void "
        "marker, looks the same.";
    static const char both[] =
        "Involuntary contractions during filling and at its end suggest detrusor overactivity, "
        "phasic and terminal. To be confirmed on the curves and with what the patient felt.";
    const struct contraction_kinds kinds = kinds_of(&filling->involuntary_contractions);

    if (!kinds.phasic && !kinds.terminal) {
        return;
    }
    draft(study,
          (struct finding){.code = "detrusor_overactivity",
                           .text = !kinds.terminal ? phasic
                                   : kinds.phasic  ? both
                                                   : terminal,
                           .basis = {"filling.involuntary_contractions"}},
          choices);
    if (kinds.leak) {
        draft(study,
              (struct finding){
                  .code = "overactivity_with_leakage",
                  .text = "Urine was lost during an involuntary contraction, which suggests "
                          "detrusor overactivity incontinence. To be confirmed on the curves and "
                          "against the symptoms.",
                  /* What empties the bladder is no leak of the list. */
                  .basis = {"filling.involuntary_contractions",
                            filling->leaks.count > 0 ? "filling.leaks" : NULL}},
              choices);
    }
}

static bool any_leak(const struct item_list *list, const char *cause)
{
    const struct leak *items = list->items;

    for (size_t i = 0; i < list->count; i++) {
        if (strcmp(items[i].cause, cause) == 0) {
            return true;
        }
    }
    return false;
}

static void draft_stress_leaks(struct study *study, const struct filling_measures *filling,
                               const char *class)
{
    if (!any_leak(&filling->leaks, "cough") && !any_leak(&filling->leaks, "valsalva")) {
        return;
    }
    draft(study,
          (struct finding){
              .code = "stress_leakage",
              .text = "Urine was lost with a cough or strain and no detrusor contraction, which "
                      "suggests urodynamic stress incontinence. To be confirmed on the curves and "
                      "against the symptoms.",
              .basis = {"filling.leaks", measure_known(&filling->abdominal_leak_point_pressure)
                                             ? "filling.abdominal_leak_point_pressure"
                                             : NULL}},
          NULL);
    if (is(class, "low")) {
        draft(study,
              (struct finding){
                  .code = "low_stress_leak_point",
                  .text = "The abdominal leak point pressure lies below the lower limit in use, "
                          "which suggests a weak urethral sphincter. Baseline, catheter and volume "
                          "change it; to be read beside the urethral pressure and the symptoms.",
                  .basis = {"filling.abdominal_leak_point_pressure"}},
              stress_row.choices);
    }
}

static void draft_other_leaks(struct study *study, const struct filling_measures *filling,
                              const char *class)
{
    if (measure_known(&filling->detrusor_leak_point_pressure)) {
        draft(study,
              (struct finding){
                  .code = "leakage_without_contraction",
                  .text =
                      "Urine was lost while detrusor pressure was raised without a contraction, "
                      "cough or strain, as a bladder of low compliance does. To be confirmed "
                      "on the curves.",
                  .basis = {"filling.leaks", "filling.detrusor_leak_point_pressure"}},
              NULL);
    }
    if (is(class, "high")) {
        draft(study,
              (struct finding){
                  .code = "high_detrusor_leak_point",
                  .text = "The detrusor leak point pressure lies above the limit in use, which has "
                          "been linked with damage to the upper urinary tract. Consider looking at "
                          "the kidneys; the limit rests on few children.",
                  .basis = {"filling.detrusor_leak_point_pressure"}},
              detrusor_row.choices);
    }
    if (any_leak(&filling->leaks, "unclear")) {
        draft(study,
              (struct finding){
                  .code = "leakage_unexplained",
                  .text = "Urine was lost during filling and no single cause was found for it: no "
                          "cough, strain, contraction or raised detrusor pressure, or two of them "
                          "at once. Look at the curves there.",
                  .basis = {"filling.leaks"}},
              NULL);
    }
}

void findings_of_filling(struct study *study)
{
    const struct filling_measures *filling = &study->outcome.result->filling;
    const char *stress = classify(study, &stress_row, &filling->abdominal_leak_point_pressure);
    const char *detrusor = classify(study, &detrusor_row, &filling->detrusor_leak_point_pressure);

    draft_compliance(study, &filling->compliance);
    draft_overactivity(study, filling);
    draft_stress_leaks(study, filling, stress);
    draft_other_leaks(study, filling, detrusor);
}
