/* Collects the lists of a result (quality, findings, classifications) while sections are computed.
 * Each list has a fixed ceiling and gets its room at once, so that adding cannot fail. */
#ifndef ANALYSIS_OUTCOME_H
#define ANALYSIS_OUTCOME_H

#include "analysis/analysis.h"

enum { OUTCOME_QUALITY_MAX = 256, OUTCOME_FINDINGS_MAX = 32, OUTCOME_CLASSIFICATIONS_MAX = 32 };

struct outcome {
    struct analysis_result *result;
};

/* Takes the lists' room from `memory`. False when memory ran out. */
bool outcome_open(struct outcome *outcome, struct analysis_result *result,
                  const struct analysis_memory *memory);

/* Append one entry; beyond the ceiling it is dropped (for quality, the last place is kept for a
 * note that says so). */
void outcome_quality(struct outcome *outcome, struct quality_finding finding);
void outcome_finding(struct outcome *outcome, struct finding finding);
void outcome_classification(struct outcome *outcome, struct classification classification);

/* A quality finding about the whole recording or a whole signal; and one about a span of it. */
void outcome_note(struct outcome *outcome, const char *code, enum quality_severity severity,
                  enum signal_kind signal, const char *text);
void outcome_note_span(struct outcome *outcome, struct quality_finding finding, double from_s,
                       double to_s);

#endif
