/* Links: an address by which one study's summary is read without an account.
 *
 * Who reads through one is in no transaction of store_begin() but in one of link_begin_reading(),
 * in which row-level security shows that one study, its recordings and its patient, and nothing
 * else (schema/0012_tokens_links.sql). */
#ifndef STORE_STORE_LINK_H
#define STORE_STORE_LINK_H

#include "store/store.h"
#include "store/store_account.h"

#include <stddef.h>
#include <stdint.h>

struct study_link {
    const char *id;
    const char *study_id;
    const char *purpose; /* "summary" */
    const char *label;   /* whom it is for; "" when not given */
    const char *prefix;  /* first characters of the secret, to tell links apart */
    const char *state;   /* valid, expired, used_up or revoked */
    int reads_at_most;   /* 0: as often as wanted */
    int read_count;
    int64_t created_at_us;
    int64_t expires_at_us;
    int64_t last_read_at_us; /* 0: never */
};

struct new_link {
    const char *study_id;
    const char *purpose;
    const char *label;
    const char *prefix;
    const unsigned char *hash; /* SECRET_HASH_BYTES */
    int reads_at_most;         /* 0: as often as wanted */
    int64_t expires_at_us;
};

/* ---- inside store_begin() ---- */

/* ERROR_CONFLICT unless the study is final or amended; ERROR_NOT_FOUND when there is none. */
MUST_CHECK bool link_create(struct store *store, struct arena *arena, const struct new_link *link,
                            const char **ret_id, struct error *reterr);
MUST_CHECK bool link_get(struct store *store, struct arena *arena, const char *id,
                         struct study_link *ret_link, struct error *reterr);
/* Newest first, also those that are over. ERROR_NOT_FOUND when there is no such study. */
MUST_CHECK bool link_list(struct store *store, struct arena *arena, const char *study_id,
                          const struct store_page *page, struct study_link **ret_items,
                          size_t *ret_count, const char **ret_next_cursor, struct error *reterr);
/* ERROR_NOT_FOUND when there is none, or it is revoked already. */
MUST_CHECK bool link_revoke(struct store *store, const char *id, struct error *reterr);

/* ---- reading through one ---- */

/* What a secret leads to. */
struct link_target {
    const char *id;
    const char *study_id;
    const char *clinic_id;
    const char *clinic_name;
};

/* Outside a transaction. ERROR_NOT_FOUND when no link has a secret with this hash; that it was
 * asked for is counted, and an address that has done so 20 times within 10 minutes is told how long
 * to wait with the next such.
 * client_address  numeric, or NULL
 * ret_wait_s      0, or seconds to wait: then there is no target */
MUST_CHECK bool link_look_up(struct store *store, struct arena *arena,
                             const unsigned char hash[SECRET_HASH_BYTES],
                             const char *client_address, struct link_target *ret_target,
                             int *ret_wait_s, struct error *reterr);

/* What is asked for through a link. Its page opens it, and files within 30 minutes afterwards
 * belong to that opening; a file that is asked for without one opens it as well. */
enum link_reading { LINK_PAGE, LINK_FILE };

/* Begins a transaction that reaches the link's study only, and counts the request against the 60 of
 * an hour. The link is locked until the transaction ends: reads of one link come one after the
 * other. ERROR_NOT_FOUND when it is over or its study is not signed (any more); files of an opening
 * are still given when it was the last of reads_at_most.
 * counts      whether an opening is one of those of which there may be reads_at_most
 * ret_wait_s  0, or seconds to wait: then nothing was counted */
MUST_CHECK bool link_begin_reading(struct store *store, const struct link_target *target,
                                   enum link_reading reading, bool counts, int *ret_wait_s,
                                   struct error *reterr);

#endif
