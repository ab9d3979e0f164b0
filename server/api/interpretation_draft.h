/* What an interpretation begins with: the findings that the newest analyses suggest. */
#ifndef API_INTERPRETATION_DRAFT_H
#define API_INTERPRETATION_DRAFT_H

#include "formats/interpretation_json.h"
#include "store/store.h"

/* Findings of every recording that is complete, by start; what several say in the same words stands
 * once. No conclusion: that is a person's. */
MUST_CHECK bool interpretation_draft(struct store *store, struct arena *arena, const char *study_id,
                                     struct interpretation *ret_draft, struct error *reterr);

#endif
