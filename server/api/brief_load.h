/* What a brief is written from, for whoever may read it. */
#ifndef API_BRIEF_LOAD_H
#define API_BRIEF_LOAD_H

#include "api/api.h"
#include "report/brief.h"

/* The longest brief that is written. */
#define BRIEF_LIMIT (4 * LIMIT_ANALYSIS_BYTES)

/* Fills in study, patient, recordings, signatures and the interpretation that was signed last, as
 * far as the store's transaction reaches. ERROR_NOT_FOUND when it does not reach the study. */
MUST_CHECK bool brief_load(struct store *store, struct arena *arena, const char *study_id,
                           struct brief *brief, struct error *reterr);

#endif
