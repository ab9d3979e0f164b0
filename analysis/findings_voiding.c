#include "analysis/classify.h"
#include "analysis/findings.h"
#include "analysis/measure.h"

#include <string.h>

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
            findings_add(study, "outlet_obstruction_suggested",
                         "Pressure and flow suggest bladder outlet obstruction (BOOI above 40). To "
                         "be confirmed on the curves and against the symptoms.",
                         "voiding.booi");
        } else if (strcmp(class, "equivocal") == 0) {
            findings_add(study, "outlet_obstruction_equivocal",
                         "Pressure and flow are equivocal for bladder outlet obstruction (BOOI 20 "
                         "to 40).",
                         "voiding.booi");
        }
    }
    if (measure_known(&voiding->bci) &&
        strcmp(classify_contractility(voiding->bci.value), "weak") == 0) {
        findings_add(
            study, "weak_contraction_suggested",
            "The contractility index suggests a weak detrusor contraction during voiding "
            "(BCI below 100). To be confirmed on the curves: straining, an inhibited or an "
            "incomplete voiding lower it too.",
            "voiding.bci");
    }
}

void findings_of_voiding(struct study *study)
{
    const struct voiding_measures *voiding = &study->outcome.result->voiding;

    classify_voiding(study, voiding);
    draft_voiding(study, voiding);
}
