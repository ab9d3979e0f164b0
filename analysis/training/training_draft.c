#include "analysis/criteria_training.h"
#include "analysis/measure.h"
#include "analysis/training/training.h"

#include <string.h>

static double commanded_of(const struct measure *endurance)
{
    for (size_t i = 0; i < endurance->part_count; i++) {
        if (strcmp(endurance->parts[i].code, "commanded_s") == 0) {
            return endurance->parts[i].value;
        }
    }
    return 0.0;
}

void training_draft(struct study *study)
{
    const struct training_measures *training = &study->outcome.result->training;
    const double commanded_s = commanded_of(&training->endurance);

    if (measure_known(&training->abdominal_use) &&
        training->abdominal_use.value > CRITERIA_TRAINING_ABDOMINAL_RATIO) {
        outcome_finding(&study->outcome,
                        (struct finding){
                            .code = "abdominal_muscles_used",
                            .text = "The abdominal pressure during contractions is more than twice "
                                    "that at rest: the abdominal muscles were used along with the "
                                    "pelvic floor. Amplitudes may hold a part of it.",
                            .basis_count = 1,
                            .basis = {"training.abdominal_use"}});
    }
    if (measure_known(&training->endurance) && commanded_s >= CRITERIA_TRAINING_SHORT_S &&
        training->endurance.value < CRITERIA_TRAINING_SHORT_SHARE * commanded_s) {
        outcome_finding(
            &study->outcome,
            (struct finding){
                .code = "endurance_below_command",
                .text = "The best long contraction was held for less than three quarters of "
                        "the time that was commanded. A shorter command may suit the next "
                        "session better.",
                .basis_count = 1,
                .basis = {"training.endurance"}});
    }
}
