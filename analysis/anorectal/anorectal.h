/* Anorectal manometry. */
#ifndef ANALYSIS_ANORECTAL_ANORECTAL_H
#define ANALYSIS_ANORECTAL_ANORECTAL_H

#include "analysis/study.h"

/* Computes the measures and notes the recording's quality. False when memory ran out. */
bool anorectal_measure(struct study *study, struct anorectal_measures *measures);

/* Drafts classifications and findings from the finished result. */
void anorectal_draft(struct study *study);

#endif
