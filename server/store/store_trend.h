/* What the newest analysis documents of a patient's studies say, in order of time. */
#ifndef STORE_STORE_TREND_H
#define STORE_STORE_TREND_H

#include "store/store.h"

#include <stddef.h>
#include <stdint.h>

/* One recording's document; a study with several recordings has as many rows, one after another,
 * by the recordings' starts. */
struct trend_row {
    const char *study_id;
    int64_t started_at_us; /* of the study */
    const char *status;
    const char *analysis_json; /* NULL: the study has no recording */
};

/* The newest `limit` studies of a patient that are not cancelled, the oldest of them first.
 * ret_truncated  whether there are older ones */
MUST_CHECK bool trend_list(struct store *store, struct arena *arena, const char *patient_id,
                           int limit, struct trend_row **ret_rows, size_t *ret_count,
                           bool *ret_truncated, struct error *reterr);

#endif
