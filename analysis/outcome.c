#include "analysis/outcome.h"

#include "analysis/memory.h"

#include <math.h>

bool outcome_open(struct outcome *outcome, struct analysis_result *result,
                  const struct analysis_memory *memory)
{
    result->quality = memory_array(memory, OUTCOME_QUALITY_MAX, sizeof *result->quality);
    result->findings = memory_array(memory, OUTCOME_FINDINGS_MAX, sizeof *result->findings);
    result->classifications =
        memory_array(memory, OUTCOME_CLASSIFICATIONS_MAX, sizeof *result->classifications);
    outcome->result = result;
    return result->quality != NULL && result->findings != NULL && result->classifications != NULL;
}

void outcome_quality(struct outcome *outcome, struct quality_finding finding)
{
    struct analysis_result *result = outcome->result;

    if (result->quality_count + 1 < OUTCOME_QUALITY_MAX) {
        result->quality[result->quality_count++] = finding;
    } else if (result->quality_count < OUTCOME_QUALITY_MAX) {
        result->quality[result->quality_count++] = (struct quality_finding){
            .code = "more_findings",
            .severity = QUALITY_WARNING,
            .signal = SIGNAL_NONE,
            .text = "There are more quality findings than are listed. Look at the traces."};
    }
}

void outcome_finding(struct outcome *outcome, struct finding finding)
{
    struct analysis_result *result = outcome->result;

    if (result->finding_count < OUTCOME_FINDINGS_MAX) {
        result->findings[result->finding_count++] = finding;
    }
}

void outcome_classification(struct outcome *outcome, struct classification classification)
{
    struct analysis_result *result = outcome->result;

    if (result->classification_count < OUTCOME_CLASSIFICATIONS_MAX) {
        result->classifications[result->classification_count++] = classification;
    }
}

void outcome_note(struct outcome *outcome, const char *code, enum quality_severity severity,
                  enum signal_kind signal, const char *text)
{
    outcome_quality(outcome,
                    (struct quality_finding){
                        .code = code, .severity = severity, .signal = signal, .text = text});
}

void outcome_note_span(struct outcome *outcome, struct quality_finding finding, double from_s,
                       double to_s)
{
    /* What lies at the very end of a signal may be judged over a window that begins beyond it. */
    finding.has_span = isfinite(from_s) && isfinite(to_s);
    finding.from_s = fmin(from_s, to_s);
    finding.to_s = fmax(from_s, to_s);
    outcome_quality(outcome, finding);
}

const char *quality_severity_name(enum quality_severity severity)
{
    static const char *const names[] = {
        [QUALITY_INFO] = "info", [QUALITY_WARNING] = "warning", [QUALITY_ERROR] = "error"};

    return (unsigned)severity < sizeof names / sizeof names[0] ? names[severity] : NULL;
}
