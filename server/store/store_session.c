/* Who makes a request: sign-in, browser sessions and bearer tokens, looked up by functions of the
 * database that reveal one row each (schema/0001_clinics_accounts.sql). */
#include "store/query.h"
#include "store/store_account.h"

enum session_statement {
    SESSION_SIGN_IN,
    SESSION_PRINCIPAL,
    TOKEN_PRINCIPAL,
    SESSION_INSERT,
    SESSION_DELETE_OVER,
    SESSION_DELETE,
    SESSION_STATEMENT_COUNT
};

static const struct statement statements[] = {
    [SESSION_SIGN_IN] = {.name = "session_sign_in",
                         .sql = "select account_id, clinic_id, clinic_name, name, display_name,"
                                " roles, password_hash from penstock.account_for_sign_in($1)"},
    [SESSION_PRINCIPAL] = {.name = "session_principal",
                           .sql = "select account_id, clinic_id, clinic_name, name, display_name,"
                                  " roles from penstock.session_principal($1, $2)"},
    [TOKEN_PRINCIPAL] = {.name = "token_principal",
                         .sql = "select token_id, clinic_id, clinic_name, name, display_name,"
                                " roles, scopes, certificate_sha256"
                                " from penstock.token_principal($1, $2)"},
    [SESSION_INSERT] = {.name = "session_insert",
                        .sql = "insert into penstock.session"
                               " (clinic_id, account_id, session_hash, expires_at)"
                               " values ($1, $2, $3, now() + $4::bigint * interval '1 second')"
                               " returning penstock.unix_us(expires_at)"},
    [SESSION_DELETE_OVER] = {.name = "session_delete_over",
                             .sql = "delete from penstock.session where clinic_id = $1"
                                    " and account_id = $2 and (expires_at < now()"
                                    " or last_used_at < now() - interval '30 minutes')"},
    [SESSION_DELETE] = {.name = "session_delete",
                        .sql = "delete from penstock.session"
                               " where clinic_id = $1 and session_hash = $2"},
};

const struct statement_table store_session_statements = {statements, SESSION_STATEMENT_COUNT};

/* Runs a look-up; the caller clears ret_rows after success. */
static bool look_up(struct store *store, struct arena *arena, struct query *query,
                    struct principal *ret_principal, struct rows *ret_rows, struct error *reterr)
{
    struct rows rows;
    if (!query_run(store, query, &rows, reterr)) {
        return false;
    }
    if (rows.count != 1) {
        rows_clear(&rows);
        return error_set(reterr, ERROR_NOT_FOUND, "%s: nobody", query->statement->name);
    }
    *ret_principal = (struct principal){
        .id = rows_text(&rows, arena, 0, 0),
        .clinic_id = rows_text(&rows, arena, 0, 1),
        .clinic_name = rows_text(&rows, arena, 0, 2),
        .name = rows_text(&rows, arena, 0, 3),
        .display_name = rows_text(&rows, arena, 0, 4),
        .roles = (unsigned)rows_int(&rows, 0, 5),
        .is_token = query->statement == &statements[TOKEN_PRINCIPAL],
    };
    *ret_rows = rows;
    return true;
}

bool account_for_sign_in(struct store *store, struct arena *arena, const char *username,
                         struct principal *ret_principal, const char **ret_password_hash,
                         struct error *reterr)
{
    struct query query;
    query_start_alone(&query, &statements[SESSION_SIGN_IN]);
    query_text(&query, username);
    struct rows rows;
    if (!look_up(store, arena, &query, ret_principal, &rows, reterr)) {
        return false;
    }
    *ret_password_hash = rows_text(&rows, arena, 0, 6);
    rows_clear(&rows);
    return true;
}

static bool principal_by_query(struct store *store, struct arena *arena, struct query *query,
                               struct principal *ret_principal, struct error *reterr)
{
    struct rows rows;
    if (!look_up(store, arena, query, ret_principal, &rows, reterr)) {
        return false;
    }
    rows_clear(&rows);
    return true;
}

bool session_principal(struct store *store, struct arena *arena,
                       const unsigned char hash[SECRET_HASH_BYTES], bool counts,
                       struct principal *ret_principal, struct error *reterr)
{
    struct query query;
    query_start_alone(&query, &statements[SESSION_PRINCIPAL]);
    query_bytes(&query, hash, SECRET_HASH_BYTES);
    query_text(&query, counts ? "true" : "false");
    return principal_by_query(store, arena, &query, ret_principal, reterr);
}

bool token_principal(struct store *store, struct arena *arena,
                     const unsigned char hash[SECRET_HASH_BYTES], const char *client_address,
                     struct principal *ret_principal, struct error *reterr)
{
    struct query query;
    query_start_alone(&query, &statements[TOKEN_PRINCIPAL]);
    query_bytes(&query, hash, SECRET_HASH_BYTES);
    query_text(&query, client_address);
    struct rows rows;
    if (!look_up(store, arena, &query, ret_principal, &rows, reterr)) {
        return false;
    }
    ret_principal->scopes = rows_text(&rows, arena, 0, 6);
    ret_principal->certificate_sha256 = rows_text(&rows, arena, 0, 7);
    rows_clear(&rows);
    return true;
}

bool session_create(struct store *store, const char *account_id,
                    const unsigned char hash[SECRET_HASH_BYTES], int64_t life_s,
                    int64_t *ret_expires_at_us, struct error *reterr)
{
    struct query over;
    query_start(&over, store, &statements[SESSION_DELETE_OVER]);
    query_id(&over, account_id);
    struct query insert;
    query_start(&insert, store, &statements[SESSION_INSERT]);
    query_id(&insert, account_id);
    query_bytes(&insert, hash, SECRET_HASH_BYTES);
    query_int(&insert, life_s);

    struct query *const queries[] = {&over, &insert};
    struct rows rows[2];
    if (!query_run_all(store, queries, 2, rows, reterr)) {
        return error_context(reterr, "create a session");
    }
    *ret_expires_at_us = rows_int64(&rows[1], 0, 0);
    rows_clear(&rows[0]);
    rows_clear(&rows[1]);
    return true;
}

bool session_delete(struct store *store, const unsigned char hash[SECRET_HASH_BYTES],
                    struct error *reterr)
{
    struct query query;
    query_start(&query, store, &statements[SESSION_DELETE]);
    query_bytes(&query, hash, SECRET_HASH_BYTES);
    int ignored = 0;
    return query_count(store, &query, &ignored, reterr);
}
