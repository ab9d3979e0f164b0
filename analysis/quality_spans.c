#include "analysis/quality_spans.h"

#include "analysis/criteria.h"

#include <string.h>

void quality_spans_add(struct quality_spans *spans, struct span span)
{
    if (spans->count < CRITERIA_SPANS_LISTED) {
        outcome_note_span(spans->outcome, spans->finding, span.from_s, span.to_s);
    } else if (spans->count == CRITERIA_SPANS_LISTED) {
        spans->rest = span;
    } else {
        spans->rest.to_s = span.to_s;
    }
    spans->count++;
}

void quality_spans_close(struct quality_spans *spans)
{
    if (spans->count > CRITERIA_SPANS_LISTED) {
        spans->finding.text = spans->text_rest;
        outcome_note_span(spans->outcome, spans->finding, spans->rest.from_s, spans->rest.to_s);
    }
}

bool quality_spans_told(const struct outcome *outcome, const char *code, enum signal_kind signal,
                        struct span span)
{
    const struct analysis_result *result = outcome->result;

    for (size_t i = 0; i < result->quality_count; i++) {
        const struct quality_finding *finding = &result->quality[i];

        if (finding->signal == signal && finding->has_span && finding->from_s <= span.to_s &&
            finding->to_s >= span.from_s && strcmp(finding->code, code) == 0) {
            return true;
        }
    }
    return false;
}
