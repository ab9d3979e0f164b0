/* Draft wording for the report, and classes, from the finished numbers. */
#ifndef ANALYSIS_FINDINGS_H
#define ANALYSIS_FINDINGS_H

#include "analysis/study.h"

/* Drafts everything from study->outcome.result. */
void findings_draft(struct study *study);

/* The parts, one for each subject. */
void findings_of_flow(struct study *study);
void findings_of_filling(struct study *study);
void findings_of_voiding(struct study *study);

/* Adds a finding that rests on one value, e.g. "voiding.booi". All strings are static. */
void findings_add(struct study *study, const char *code, const char *text, const char *basis);

#endif
