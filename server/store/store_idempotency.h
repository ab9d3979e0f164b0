/* Idempotency-Key: the same key and request give the first answer again. Within a transaction, so
 * that the creation and the remembered answer stand or fall together. */
#ifndef STORE_STORE_IDEMPOTENCY_H
#define STORE_STORE_IDEMPOTENCY_H

#include "store/store.h"

#include <stddef.h>

enum { IDEMPOTENCY_KEY_LIMIT = 128, IDEMPOTENCY_DIGEST_BYTES = 32 };

enum idempotency_state {
    IDEMPOTENCY_NEW,      /* go ahead, then idempotency_remember() */
    IDEMPOTENCY_REPEATED, /* the answer is in the remembered_answer */
    IDEMPOTENCY_MISMATCH  /* the key came with another request before */
};

struct remembered_answer {
    int status;
    const char *media_type;
    const char *etag;     /* or NULL */
    const char *location; /* or NULL */
    const char *body;
    size_t body_length;
};

/* Claims a key for the principal. A second request with the same key waits for the first. */
MUST_CHECK bool idempotency_claim(struct store *store, struct arena *arena, const char *actor_id,
                                  const char *key,
                                  const unsigned char digest[IDEMPOTENCY_DIGEST_BYTES],
                                  enum idempotency_state *ret_state,
                                  struct remembered_answer *ret_answer, struct error *reterr);

MUST_CHECK bool idempotency_remember(struct store *store, const char *actor_id, const char *key,
                                     const struct remembered_answer *answer, struct error *reterr);

#endif
