/* What a summary is written from, for whoever may read it. */
#ifndef API_SUMMARY_LOAD_H
#define API_SUMMARY_LOAD_H

#include "formats/limits.h"
#include "report/summary_html.h"

/* The longest summary that is written. */
#define SUMMARY_LIMIT (4 * LIMIT_ANALYSIS_BYTES)

/* Fills in study, patient and recordings, as far as the store's transaction reaches.
 * ERROR_NOT_FOUND when it does not reach the study. */
MUST_CHECK bool summary_load(struct store *store, struct arena *arena, const char *study_id,
                             struct summary *summary, struct error *reterr);

#endif
