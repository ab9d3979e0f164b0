#include "analysis/classify.h"
#include "analysis/findings.h"
#include "analysis/measure.h"

#include <string.h>

static void draft_filling(struct study *study, const struct filling_measures *filling)
{
    if (!measure_known(&filling->compliance)) {
        return;
    }
    const char *class = classify_compliance(filling->compliance.value);

    if (strcmp(class, "very_low") == 0) {
        findings_add(study, "very_low_compliance",
                     "Bladder compliance is very low (below 10 mL/cmH2O). No agreed limit exists; "
                     "consider a slower filling, and look at whether a contraction or straining at "
                     "the end of filling explains it.",
                     "filling.compliance");
    } else if (strcmp(class, "low") == 0) {
        findings_add(study, "low_compliance",
                     "Bladder compliance is low (below 20 mL/cmH2O). No agreed limit exists; "
                     "consider a slower filling, and look at whether a contraction or straining at "
                     "the end of filling explains it.",
                     "filling.compliance");
    }
}

void findings_of_filling(struct study *study)
{
    draft_filling(study, &study->outcome.result->filling);
}
