/* Classes, and draft sentences for a clinician, from the measures of a result. */
#ifndef ANALYSIS_FINDINGS_H
#define ANALYSIS_FINDINGS_H

#include "analysis/study.h"

/* Adds the classifications and findings that the result's measures support. */
void findings_draft(struct study *study);

#endif
