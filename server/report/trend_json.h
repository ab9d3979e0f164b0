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

/* A number of one study. */
struct trend_value {
    int64_t started_at_us;
    const char *status;
    double value; /* NaN: the study has none */
    bool doubtful;
};

/* The number of catalogue row `row` (catalogue_row()) in each study, in order of time, on the
 * arena. Which recording's stands is as below. Returns how many. */
size_t trend_values(const struct trend_summary *summary, size_t row, struct arena *arena,
                    struct trend_value **ret_values);

/* {"patient_id", "items": [{"study_id", "started_at", "status", "values": {section: {code:
 * number}}, "doubtful": ["section.code"]}], "trends": [...], "truncated"}.
 *
 * Every number of the catalogue counts, except those of single pulls. Where several recordings of a
 * study have one, the last recording's stands. A document that cannot be read gives no numbers. */
void trend_json_write(const struct trend_summary *summary, struct arena *arena, struct text *out);

#endif
