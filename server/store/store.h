/* One PostgreSQL connection, owned by one worker, and the transactions on it.
 *
 * libpq is seen only behind store/. A function here never knows an HTTP status: it returns false
 * and an error whose kind says what happened. Results live on the arena that the caller passes. */
#ifndef STORE_STORE_H
#define STORE_STORE_H

#include "base/arena.h"
#include "base/error.h"

#include <stdbool.h>

struct store;

/* Remembers the connection string; connects on first use and again after a lost connection.
 * Never NULL. */
struct store *store_new(const char *conninfo);

/* Closes the connection. NULL is allowed. */
void store_free(struct store *store);

/* Whether the database answers and the schema is the version this program needs. */
MUST_CHECK bool store_ready(struct store *store, struct error *reterr);

/* Whether the connection broke during the last transaction, before COMMIT was sent: the whole
 * transaction may then be run once more. */
bool store_may_retry(const struct store *store);

/* Begins a transaction that sees the rows of one clinic only (row-level security). The statements
 * travel with the first query, and so cost no round trip of their own.
 * actor_id  account or token on whose behalf; recorded with revisions */
MUST_CHECK bool store_begin(struct store *store, const char *clinic_id, const char *actor_id,
                            struct error *reterr);

/* Begins a transaction that may only read: the database refuses a change in it. */
MUST_CHECK bool store_begin_reading(struct store *store, const char *clinic_id,
                                    const char *actor_id, struct error *reterr);

/* Whose data a transaction may see, beyond its clinic: bits that add up. */
enum store_reach {
    STORE_REACH_NOBODY = 0,
    STORE_REACH_OPEN = 1,     /* studies that are not signed, and their patients */
    STORE_REACH_REFERRED = 2, /* signed studies of patients whom the actor has referred */
    STORE_REACH_CLINIC = 4,   /* all of the clinic: what a transaction begins with */
    STORE_REACH_LINK = 8      /* by itself: the one study of a link, see store_link.h */
};

/* Narrows the transaction just begun, before its first query, to what `reach` (bits of enum
 * store_reach) covers. Row-level security does it: schema/0008_access.sql. */
void store_narrow(struct store *store, unsigned reach);

/* Ends a transaction that only read, without waiting until the database has ended it too: nothing
 * can be lost. Harmless without a transaction. */
void store_end_reading(struct store *store);

/* Commits durably. After false with ERROR_UNAVAILABLE the outcome is unknown: say so to the client,
 * who repeats the request with the same id or Idempotency-Key. */
MUST_CHECK bool store_commit(struct store *store, struct error *reterr);

/* Rolls back; harmless without a transaction. */
void store_rollback(struct store *store);

/* A page of a list: rows after `cursor`, at most `limit` of them. */
struct store_page {
    int limit;          /* 1 to 200 */
    const char *cursor; /* what the previous page returned, or NULL for the first */
};

#endif
