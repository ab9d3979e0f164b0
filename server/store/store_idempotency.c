#include "store/store_idempotency.h"

#include "store/query.h"

#include <string.h>

enum idempotency_statement {
    IDEMPOTENCY_CLAIM,
    IDEMPOTENCY_SELECT,
    IDEMPOTENCY_REMEMBER,
    IDEMPOTENCY_PURGE,
    IDEMPOTENCY_STATEMENT_COUNT
};

static const struct statement statements[] = {
    /* Waits for a concurrent holder of the key. A row comes back when the key is free, forgotten,
     * or was left without an answer. */
    [IDEMPOTENCY_CLAIM] = {.name = "idempotency_claim",
                           .sql = "insert into penstock.idempotency as i"
                                  " (clinic_id, actor_id, key, digest) values ($1, $2, $3, $4)"
                                  " on conflict (clinic_id, actor_id, key) do update"
                                  " set digest = excluded.digest, created_at = now(),"
                                  " status = null, media_type = null, etag = null,"
                                  " location = null, body = null"
                                  " where i.status is null"
                                  " or i.created_at < now() - interval '48 hours'"
                                  " returning i.key"},
    [IDEMPOTENCY_SELECT] = {.name = "idempotency_select",
                            .sql = "select digest, media_type, etag, location, body,"
                                   " status from penstock.idempotency"
                                   " where clinic_id = $1 and actor_id = $2 and key = $3",
                            .binary_result = true},
    [IDEMPOTENCY_REMEMBER] = {.name = "idempotency_remember",
                              .sql = "update penstock.idempotency set status = $4,"
                                     " media_type = $5, etag = $6, location = $7, body = $8"
                                     " where clinic_id = $1 and actor_id = $2 and key = $3"
                                     " returning key"},
    /* A few at a time, with every new answer: the table stays as large as 48 hours are. */
    [IDEMPOTENCY_PURGE] = {.name = "idempotency_purge",
                           .sql = "delete from penstock.idempotency where clinic_id = $1"
                                  " and (actor_id, key) in (select o.actor_id, o.key"
                                  " from penstock.idempotency o where o.clinic_id = $1"
                                  " and o.created_at < now() - interval '48 hours'"
                                  " order by o.created_at limit 10 for update skip locked)"},
};

const struct statement_table store_idempotency_statements = {statements,
                                                             IDEMPOTENCY_STATEMENT_COUNT};

static void read_answer(const struct rows *rows, struct arena *arena,
                        struct remembered_answer *ret_answer)
{
    size_t length = 0;
    const uint8_t *body = rows_bytes(rows, 0, 4, &length);
    *ret_answer = (struct remembered_answer){
        .status = (int)rows_binary_int(rows, 0, 5),
        .media_type = rows_text(rows, arena, 0, 1),
        .etag = rows_text(rows, arena, 0, 2),
        .location = rows_text(rows, arena, 0, 3),
        .body = arena_strndup(arena, (const char *)body, length),
        .body_length = length,
    };
}

bool idempotency_claim(struct store *store, struct arena *arena, const char *actor_id,
                       const char *key, const unsigned char digest[IDEMPOTENCY_DIGEST_BYTES],
                       enum idempotency_state *ret_state, struct remembered_answer *ret_answer,
                       struct error *reterr)
{
    struct query claim;
    query_start(&claim, store, &statements[IDEMPOTENCY_CLAIM]);
    query_id(&claim, actor_id);
    query_text(&claim, key);
    query_bytes(&claim, digest, IDEMPOTENCY_DIGEST_BYTES);
    struct query select;
    query_start(&select, store, &statements[IDEMPOTENCY_SELECT]);
    query_id(&select, actor_id);
    query_text(&select, key);

    struct query *const queries[] = {&claim, &select};
    struct rows rows[2];
    if (!query_run_all(store, queries, 2, rows, reterr)) {
        return error_context(reterr, "claim an idempotency key");
    }
    bool claimed = rows[0].count == 1;
    bool good = claimed || rows[1].count == 1;
    if (claimed) {
        *ret_state = IDEMPOTENCY_NEW;
    } else if (good) {
        size_t length = 0;
        const uint8_t *stored = rows_bytes(&rows[1], 0, 0, &length);
        bool same = length == IDEMPOTENCY_DIGEST_BYTES && memcmp(stored, digest, length) == 0;
        *ret_state = same ? IDEMPOTENCY_REPEATED : IDEMPOTENCY_MISMATCH;
        if (same) {
            read_answer(&rows[1], arena, ret_answer);
        }
    } else {
        error_set(reterr, ERROR_UNAVAILABLE, "the idempotency key was forgotten meanwhile");
    }
    rows_clear(&rows[0]);
    rows_clear(&rows[1]);
    return good;
}

bool idempotency_remember(struct store *store, const char *actor_id, const char *key,
                          const struct remembered_answer *answer, struct error *reterr)
{
    struct query remember;
    query_start(&remember, store, &statements[IDEMPOTENCY_REMEMBER]);
    query_id(&remember, actor_id);
    query_text(&remember, key);
    query_int(&remember, answer->status);
    query_text(&remember, answer->media_type);
    query_text(&remember, answer->etag);
    query_text(&remember, answer->location);
    query_bytes(&remember, answer->body != NULL ? answer->body : "", answer->body_length);
    struct query purge;
    query_start(&purge, store, &statements[IDEMPOTENCY_PURGE]);

    struct query *const queries[] = {&remember, &purge};
    struct rows rows[2];
    if (!query_run_all(store, queries, 2, rows, reterr)) {
        return error_context(reterr, "remember an answer");
    }
    bool remembered = rows[0].count == 1;
    rows_clear(&rows[0]);
    rows_clear(&rows[1]);
    return remembered || error_set(reterr, ERROR_INTERNAL, "the idempotency key was not claimed");
}
