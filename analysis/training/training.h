/* Pelvic floor training. */
#ifndef ANALYSIS_TRAINING_TRAINING_H
#define ANALYSIS_TRAINING_TRAINING_H

#include "analysis/study.h"

/* Computes the measures and notes the recording's quality. False when memory ran out. */
bool training_measure(struct study *study, struct training_measures *measures);

/* Drafts classifications and findings from the finished result. */
void training_draft(struct study *study);

#endif
