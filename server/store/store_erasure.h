/* Erasing a patient: who asks, who decides, what forbids it, and what is left. The erasing itself
 * is the owner's: see eraser.h and schema/0013_data_protection.sql. */
#ifndef STORE_STORE_ERASURE_H
#define STORE_STORE_ERASURE_H

#include "store/store.h"

#include <stddef.h>
#include <stdint.h>

/* NULL and 0 where there is none. */
struct erasure {
    const char *id;
    const char *patient_id;
    const char *state;  /* requested, approved, refused, withdrawn, carried_out */
    const char *reason; /* NULL once carried out, as decision_reason */
    int64_t requested_at_us;
    const char *requested_by; /* an actor as JSON: {"id", "name"} */
    int64_t decided_at_us;
    const char *decided_by;
    const char *decision_reason;
    bool despite_retention;
    int64_t due_at_us; /* when an approved one may be carried out */
    int64_t ended_at_us;
    const char *ended_by;
    const char *obstacle; /* of an approved one: "held", "cooling off", "new data" */
    bool held;
    int kept_studies;   /* of a pending one: studies not yet kept as long as the clinic decided */
    const char *counts; /* once carried out: rows that went, a JSON object by table */
    int version;
};

/* ERROR_NOT_FOUND: no such patient; ERROR_CONFLICT: a request is pending already, or the actor is
 * no account. */
MUST_CHECK bool erasure_create(struct store *store, struct arena *arena, const char *patient_id,
                               const char *reason, const char **ret_id, struct error *reterr);

MUST_CHECK bool erasure_get(struct store *store, struct arena *arena, const char *id,
                            struct erasure *ret_erasure, struct error *reterr);

/* Newest first. state  NULL: of any */
MUST_CHECK bool erasure_list(struct store *store, struct arena *arena, const char *state,
                             const struct store_page *page, struct erasure **ret_items,
                             size_t *ret_count, const char **ret_next_cursor, struct error *reterr);

struct erasure_decision {
    bool approved; /* or refused */
    const char *reason;
    bool despite_retention;
};

/* ERROR_STALE: `version` is no longer the newest. ERROR_CONFLICT: it is decided already, the actor
 * asked for it or is no account, the patient is held, or the clinic keeps a study for longer. */
MUST_CHECK bool erasure_decide(struct store *store, const char *id, int version,
                               const struct erasure_decision *decision, struct error *reterr);

/* ERROR_CONFLICT: it is refused, withdrawn or carried out. */
MUST_CHECK bool erasure_withdraw(struct store *store, const char *id, struct error *reterr);

/* Whether there was a patient with this id once. */
MUST_CHECK bool erasure_has_been(struct store *store, const char *patient_id, bool *ret_erased,
                                 struct error *reterr);

/* ---- legal hold ---- */

struct legal_hold {
    const char *id;
    const char *reason;
    int64_t placed_at_us;
    const char *placed_by; /* an actor as JSON */
    int64_t lifted_at_us;  /* 0: in force */
    const char *lifted_by;
    const char *lift_reason;
};

/* Places a hold; one in force for another reason ends. ERROR_NOT_FOUND: no such patient. */
MUST_CHECK bool legal_hold_place(struct store *store, const char *patient_id, const char *reason,
                                 struct error *reterr);

/* ERROR_NOT_FOUND: no hold is in force. */
MUST_CHECK bool legal_hold_lift(struct store *store, const char *patient_id, const char *reason,
                                struct error *reterr);

/* All there were, newest first. ERROR_NOT_FOUND: no such patient. */
MUST_CHECK bool legal_hold_list(struct store *store, struct arena *arena, const char *patient_id,
                                struct legal_hold **ret_items, size_t *ret_count,
                                struct error *reterr);

#endif
