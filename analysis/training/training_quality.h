/* What is doubtful about a training session's recording. */
#ifndef ANALYSIS_TRAINING_TRAINING_QUALITY_H
#define ANALYSIS_TRAINING_TRAINING_QUALITY_H

#include "analysis/study.h"
#include "analysis/training/holds.h"

/* A pressure's own quality: slow sampling, missing samples, a sensor at its limit. */
void training_quality_of_pressure(struct study *study, enum signal_kind signal,
                                  const struct series *input);

/* No rest before the first contraction or at all, rest that drifts, no contraction found. */
void training_quality_of_session(struct study *study, enum signal_kind signal,
                                 const struct holds *holds);

#endif
