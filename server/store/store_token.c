/* Bearer tokens, as their administrator sees them. */
#include "base/uuid.h"
#include "store/cursor.h"
#include "store/query.h"
#include "store/store_account.h"

enum token_statement {
    TOKEN_INSERT,
    TOKEN_SELECT,
    TOKEN_LIST,
    TOKEN_ROTATE,
    TOKEN_REVOKE,
    TOKEN_STATEMENT_COUNT
};

#define TOKEN_COLUMNS                                                                              \
    "t.id, t.name, t.prefix, t.roles, t.scopes, encode(t.certificate_hash, 'hex'),"                \
    " penstock.unix_us(t.created_at), penstock.unix_us(t.expires_at),"                             \
    " t.expires_at < now() + interval '14 days', coalesce(penstock.unix_us(t.rotated_at), 0),"     \
    " coalesce((select penstock.unix_us(max(f.expires_at)) from penstock.former_secret f"          \
    " where f.clinic_id = t.clinic_id and f.token_id = t.id and f.expires_at > now()), 0),"        \
    " coalesce(penstock.unix_us(t.last_used_at), 0), t.last_used_from"

static const struct statement statements[] = {
    [TOKEN_INSERT] = {.name = "token_insert",
                      .sql = "insert into penstock.api_token (clinic_id, id, name, prefix,"
                             " token_hash, roles, scopes, certificate_hash, expires_at, created_by)"
                             " values ($1, $2, $3, $4, $5, $6, $7, decode($8, 'hex'), $9, $10)"},
    [TOKEN_SELECT] = {.name = "token_select",
                      .sql = "select " TOKEN_COLUMNS " from penstock.api_token t"
                             " where t.clinic_id = $1 and t.id = $2 and t.revoked_at is null"},
    [TOKEN_LIST] = {.name = "token_list",
                    .sql = "select " TOKEN_COLUMNS " from penstock.api_token t"
                           " where t.clinic_id = $1 and t.revoked_at is null"
                           " and (t.created_at, t.id) < ($2, $3)"
                           " order by t.created_at desc, t.id desc limit $4"},
    [TOKEN_ROTATE] = {.name = "token_rotate",
                      .sql = "select from penstock.rotate_token($1, $2, $3, $4, $5) r (done)"
                             " where r.done"},
    [TOKEN_REVOKE] = {.name = "token_revoke",
                      .sql = "update penstock.api_token set revoked_at = now()"
                             " where clinic_id = $1 and id = $2 and revoked_at is null"
                             " returning id"},
};

const struct statement_table store_token_statements = {statements, TOKEN_STATEMENT_COUNT};

bool token_create(struct store *store, struct arena *arena, const struct new_token *token,
                  const char **ret_id, struct error *reterr)
{
    char id[UUID_TEXT_SIZE];
    uuid_new(id);
    struct query query;
    query_start(&query, store, &statements[TOKEN_INSERT]);
    query_id(&query, id);
    query_text(&query, token->name);
    query_text(&query, token->prefix);
    query_bytes(&query, token->hash, SECRET_HASH_BYTES);
    query_int(&query, token->roles);
    query_text(&query, token->scopes);
    query_text(&query, token->certificate_sha256);
    query_time(&query, token->expires_at_us);
    query_text(&query, query_actor(store));
    int ignored = 0;
    if (!query_count(store, &query, &ignored, reterr)) {
        return error_context(reterr, "create a token");
    }
    *ret_id = arena_strdup(arena, id);
    return true;
}

static struct api_token read_token(const struct rows *rows, struct arena *arena, int row)
{
    return (struct api_token){
        .id = rows_text(rows, arena, row, 0),
        .name = rows_text(rows, arena, row, 1),
        .prefix = rows_text(rows, arena, row, 2),
        .roles = (unsigned)rows_int(rows, row, 3),
        .scopes = rows_text(rows, arena, row, 4),
        .certificate_sha256 = rows_text(rows, arena, row, 5),
        .created_at_us = rows_int64(rows, row, 6),
        .expires_at_us = rows_int64(rows, row, 7),
        .expires_soon = rows_bool(rows, row, 8),
        .rotated_at_us = rows_int64(rows, row, 9),
        .former_until_us = rows_int64(rows, row, 10),
        .last_used_at_us = rows_int64(rows, row, 11),
        .last_used_from = rows_text(rows, arena, row, 12),
    };
}

bool token_get(struct store *store, struct arena *arena, const char *id,
               struct api_token *ret_token, struct error *reterr)
{
    struct query query;
    query_start(&query, store, &statements[TOKEN_SELECT]);
    query_id(&query, id);
    struct rows rows;
    if (!query_run(store, &query, &rows, reterr)) {
        return error_context(reterr, "get a token");
    }
    bool found = rows.count == 1;
    if (found) {
        *ret_token = read_token(&rows, arena, 0);
    }
    rows_clear(&rows);
    return found || error_set(reterr, ERROR_NOT_FOUND, "no such token");
}

bool token_rotate(struct store *store, const char *id, const unsigned char hash[SECRET_HASH_BYTES],
                  const char *prefix, int overlap_s, struct error *reterr)
{
    struct query query;
    query_start(&query, store, &statements[TOKEN_ROTATE]);
    query_id(&query, id);
    query_bytes(&query, hash, SECRET_HASH_BYTES);
    query_text(&query, prefix);
    query_int(&query, overlap_s);
    int rotated = 0;
    if (!query_count(store, &query, &rotated, reterr)) {
        return error_context(reterr, "rotate a token");
    }
    return rotated == 1 || error_set(reterr, ERROR_NOT_FOUND, "no such token");
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
        items[i] = read_token(&rows, arena, i);
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
