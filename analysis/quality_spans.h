/* Reports stretches of one kind one by one, and what is more than a few as a single span. Private
 * to the quality_*.c files. */
#ifndef ANALYSIS_QUALITY_SPANS_H
#define ANALYSIS_QUALITY_SPANS_H

#include "analysis/outcome.h"
#include "analysis/signal/series.h"

struct quality_spans {
    struct outcome *outcome;
    struct quality_finding finding;
    const char *text_rest; /* for the single span */
    size_t count;
    struct span rest;
};

void quality_spans_add(struct quality_spans *spans, struct span span);

/* Reports the single span, if there is one. To be called once, at the end. */
void quality_spans_close(struct quality_spans *spans);

/* Whether a finding with this code on this signal overlaps a span. */
bool quality_spans_told(const struct outcome *outcome, const char *code, enum signal_kind signal,
                        struct span span);

#endif
