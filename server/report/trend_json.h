/* A patient's numbers over time: one item a study, and how each number changed. */
#ifndef REPORT_TREND_JSON_H
#define REPORT_TREND_JSON_H

#include "base/text.h"
#include "store/store_trend.h"

struct trend_summary {
    const char *patient_id;
    size_t row_count;
    const struct trend_row *rows; /* in order of time */
    bool truncated;
};

/* {"patient_id", "items": [{"study_id", "started_at", "status", "values": {section: {code:
 * number}}, "doubtful": ["section.code"]}], "trends": [...], "truncated"}.
 *
 * Every number of the catalogue counts, except those of single pulls. Where several recordings of a
 * study have one, the last recording's stands. A document that cannot be read gives no numbers. */
void trend_json_write(const struct trend_summary *summary, struct arena *arena, struct text *out);

#endif
