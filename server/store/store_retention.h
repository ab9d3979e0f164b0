/* How long a clinic keeps recordings, and which have been kept so long. */
#ifndef STORE_STORE_RETENTION_H
#define STORE_STORE_RETENTION_H

#include "analysis/recording.h"
#include "store/store.h"

#include <stddef.h>

struct retention_rule {
    int version;                                 /* 0: the clinic has not decided anything */
    struct optional_number keep_years;           /* after the visit; not known: for ever */
    struct optional_number keep_until_age_years; /* at least until the patient is so old */
};

MUST_CHECK bool retention_rule_load(struct store *store, struct retention_rule *ret_rule,
                                    struct error *reterr);

/* Makes version rule->version + 1 of the rule; earlier ones stay. ERROR_STALE: `rule->version` is
 * not the newest. */
MUST_CHECK bool retention_rule_replace(struct store *store, const struct retention_rule *rule,
                                       struct error *reterr);

struct due_recording {
    const char *id;
    int version;
};

/* Recordings, complete or left open, that have been kept as long as the rule says, by id, behind
 * `after` (NULL: from the first). */
MUST_CHECK bool retention_list_due(struct store *store, struct arena *arena, const char *after,
                                   int limit, struct due_recording **ret_items, size_t *ret_count,
                                   struct error *reterr);

#endif
