/* Mean and spread over the resting pulls; coughs of all pulls together. */
#ifndef ANALYSIS_PROFILE_PROFILE_SUMMARY_H
#define ANALYSIS_PROFILE_PROFILE_SUMMARY_H

#include "analysis/study.h"

/* Fills study->outcome.result->profiles_summary from the measured pulls. A length that is only a
 * lower bound (part "at_least") is left out of its mean. Uses the study's scratch. */
void profile_summary_measure(struct study *study);

#endif
