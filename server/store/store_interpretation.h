/* What a clinician makes of a study: findings, diagnoses, conclusion and plan, by revision. */
#ifndef STORE_STORE_INTERPRETATION_H
#define STORE_STORE_INTERPRETATION_H

#include "store/store.h"

#include <stddef.h>
#include <stdint.h>

struct interpretation_row {
    int revision;         /* from 1 without gaps */
    const char *document; /* JSON text, as formats/interpretation_json.h writes it; NULL in lists */
    int64_t created_at_us;
    const char *created_by; /* account or token */
    const char *created_by_name;
};

/* A revision; 0 is the newest. ERROR_NOT_FOUND when the study has no such, or there is no such
 * study: study_get() tells which. */
MUST_CHECK bool interpretation_get(struct store *store, struct arena *arena, const char *study_id,
                                   int revision, struct interpretation_row *ret_row,
                                   struct error *reterr);

/* Every revision, oldest first, without documents. */
MUST_CHECK bool interpretation_list(struct store *store, struct arena *arena, const char *study_id,
                                    struct interpretation_row **ret_rows, size_t *ret_count,
                                    struct error *reterr);

/* Adds revision `revision`, the newest + 1, else ERROR_STALE. ERROR_CONFLICT (detail "signed"): the
 * study is signed and the transaction has not added an amendment's signature of this revision, or
 * it is cancelled. ERROR_NOT_FOUND: no such study. */
MUST_CHECK bool interpretation_add(struct store *store, const char *study_id, int revision,
                                   const char *document, struct error *reterr);

#endif
