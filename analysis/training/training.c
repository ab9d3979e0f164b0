#include "analysis/training/training.h"

bool training_measure(struct study *study, struct training_measures *measures)
{
    (void)study;
    (void)measures;
    return true;
}

void training_draft(struct study *study)
{
    (void)study;
}
