/* Bearer tokens, as their administrator sees them. */
#include "base/uuid.h"
#include "store/cursor.h"
#include "store/query.h"
#include "store/store_account.h"

enum token_statement { TOKEN_INSERT, TOKEN_LIST, TOKEN_REVOKE, TOKEN_STATEMENT_COUNT };

static const struct statement statements[] = {
    [TOKEN_INSERT] = {.name = "token_insert",
                      .sql = "insert into penstock.api_token (clinic_id, id, name, prefix,"
                             " token_hash, roles, expires_at, created_by)"
                             " values ($1, $2, $3, $4, $5, $6, $7, $8)"},
    [TOKEN_LIST] = {.name = "token_list",
                    .sql = "select t.id, t.name, t.prefix, t.roles,"
                           " penstock.unix_us(t.created_at), penstock.unix_us(t.expires_at),"
                           " coalesce(penstock.unix_us(t.last_used_at), 0)"
                           " from penstock.api_token t"
                           " where t.clinic_id = $1 and t.revoked_at is null"
                           " and (t.created_at, t.id) < ($2, $3)"
                           " order by t.created_at desc, t.id desc limit $4"},
    [TOKEN_REVOKE] = {.name = "token_revoke",
                      .sql = "update penstock.api_token set revoked_at = now()"
                             " where clinic_id = $1 and id = $2 and revoked_at is null"
                             " returning id"},
};

const struct statement_table store_token_statements = {statements, TOKEN_STATEMENT_COUNT};

/* NOLINTNEXTLINE(readability-function-size): every parameter is one fact about the token */
bool token_create(struct store *store, struct arena *arena, const char *name, const char *prefix,
                  const unsigned char hash[SECRET_HASH_BYTES], unsigned roles,
                  int64_t expires_at_us, const char **ret_id, struct error *reterr)
{
    char id[UUID_TEXT_SIZE];
    uuid_new(id);
    struct query query;
    query_start(&query, store, &statements[TOKEN_INSERT]);
    query_id(&query, id);
    query_text(&query, name);
    query_text(&query, prefix);
    query_bytes(&query, hash, SECRET_HASH_BYTES);
    query_int(&query, roles);
    query_time(&query, expires_at_us);
    query_text(&query, query_actor(store));
    int ignored = 0;
    if (!query_count(store, &query, &ignored, reterr)) {
        return error_context(reterr, "create a token");
    }
    *ret_id = arena_strdup(arena, id);
    return true;
}

bool token_list(struct store *store, struct arena *arena, const struct store_page *page,
                struct api_token **ret_items, size_t *ret_count, const char **ret_next_cursor,
                struct error *reterr)
{
    struct cursor cursor = {QUERY_TIME_LAST, "ffffffff-ffff-ffff-ffff-ffffffffffff"};
    if (page->cursor != NULL && !cursor_read(page->cursor, 't', &cursor, reterr)) {
        return false;
    }
    struct query query;
    query_start(&query, store, &statements[TOKEN_LIST]);
    query_time(&query, cursor.position);
    query_text(&query, cursor.id);
    query_int(&query, (int64_t)page->limit + 1);
    struct rows rows;
    if (!query_run(store, &query, &rows, reterr)) {
        return error_context(reterr, "list tokens");
    }
    int count = rows.count < page->limit ? rows.count : page->limit;
    struct api_token *items = arena_array(arena, (size_t)count, sizeof *items);
    for (int i = 0; i < count; i++) {
        items[i] = (struct api_token){
            .id = rows_text(&rows, arena, i, 0),
            .name = rows_text(&rows, arena, i, 1),
            .prefix = rows_text(&rows, arena, i, 2),
            .roles = (unsigned)rows_int(&rows, i, 3),
            .created_at_us = rows_int64(&rows, i, 4),
            .expires_at_us = rows_int64(&rows, i, 5),
            .last_used_at_us = rows_int64(&rows, i, 6),
        };
    }
    *ret_next_cursor =
        rows.count > page->limit
            ? cursor_write(arena, 't', items[count - 1].created_at_us, items[count - 1].id)
            : NULL;
    *ret_items = items;
    *ret_count = (size_t)count;
    rows_clear(&rows);
    return true;
}

bool token_revoke(struct store *store, const char *id, struct error *reterr)
{
    struct query query;
    query_start(&query, store, &statements[TOKEN_REVOKE]);
    query_id(&query, id);
    int revoked = 0;
    if (!query_count(store, &query, &revoked, reterr)) {
        return error_context(reterr, "revoke a token");
    }
    return revoked == 1 || error_set(reterr, ERROR_NOT_FOUND, "no such token");
}
