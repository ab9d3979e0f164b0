/* Who makes a request: sign-in, browser sessions and bearer tokens, looked up by functions of the
 * database that reveal one row each (schema/0001_clinics_accounts.sql). */
#include "store/query.h"
#include "store/store_account.h"

enum session_statement {
    SESSION_SIGN_IN,
    SESSION_PRINCIPAL,
    TOKEN_PRINCIPAL,
    SESSION_LOCK_ACCOUNT,
    SESSION_HOLD_ACCOUNT,
    SESSION_RAISE_EPOCH,
    SESSION_INSERT,
    SESSION_DELETE_OVER,
    SESSION_DELETE,
    SESSION_LIST,
    SESSION_FRESH,
    SESSION_END,
    SESSION_END_ALL,
    SESSION_STATEMENT_COUNT
};

static const struct statement statements[] = {
    [SESSION_SIGN_IN] = {.name = "session_sign_in",
                         .sql = "select account_id, clinic_id, clinic_name, name, display_name,"
                                " roles, owes, password_hash, version, session_epoch"
                                " from penstock.account_for_sign_in($1)"},
    [SESSION_PRINCIPAL] = {.name = "session_principal",
                           .sql = "select account_id, clinic_id, clinic_name, name, display_name,"
                                  " roles, owes, session_id, by_provider, session_epoch"
                                  " from penstock.session_principal($1, $2)"},
    [TOKEN_PRINCIPAL] = {.name = "token_principal",
                         .sql = "select token_id, clinic_id, clinic_name, name, display_name,"
                                " roles, scopes, certificate_sha256"
                                " from penstock.token_principal($1, $2)"},
    [SESSION_INSERT] = {.name = "session_insert",
                        .sql = "insert into penstock.session"
                               " (clinic_id, account_id, session_hash, expires_at, address,"
                               " user_agent, by_provider, authenticated_at)"
                               " values ($1, $2, $3, now() + $4::bigint * interval '1 second',"
                               " $5, $6, $7, to_timestamp(nullif($8::bigint, 0)))"
                               " returning penstock.unix_us(expires_at)"},
    [SESSION_LOCK_ACCOUNT] = {.name = "session_lock_account",
                              .sql = "select from penstock.account"
                                     " where clinic_id = $1 and id = $2 for no key update"},
    [SESSION_HOLD_ACCOUNT] = {.name = "session_hold_account",
                              .sql = "select from penstock.account where clinic_id = $1"
                                     " and id = $2 and active and session_epoch = $3"
                                     " for no key update"},
    [SESSION_RAISE_EPOCH] = {.name = "session_raise_epoch",
                             .sql = "update penstock.account"
                                    " set session_epoch = session_epoch + 1"
                                    " where clinic_id = $1 and id = $2"},
    [SESSION_DELETE_OVER] = {.name = "session_delete_over",
                             .sql = "delete from penstock.session where clinic_id = $1"
                                    " and account_id = $2 and (expires_at < now()"
                                    " or last_used_at < now() - interval '30 minutes'"
                                    " or session_hash in (select o.session_hash"
                                    " from penstock.session o"
                                    " where o.clinic_id = $1 and o.account_id = $2"
                                    " order by o.created_at desc, o.id offset $3))"},
    [SESSION_DELETE] = {.name = "session_delete",
                        .sql = "delete from penstock.session"
                               " where clinic_id = $1 and session_hash = $2"},
    [SESSION_LIST] = {.name = "session_list",
                      .sql = "select id, penstock.unix_us(created_at),"
                             " penstock.unix_us(last_used_at), penstock.unix_us(expires_at),"
                             " address, user_agent from penstock.session"
                             " where clinic_id = $1 and account_id = $2 and expires_at > now()"
                             " and last_used_at > now() - interval '30 minutes'"
                             " order by created_at desc, id limit $3"},
    [SESSION_FRESH] = {.name = "session_fresh",
                       .sql = "select from penstock.session where clinic_id = $1"
                              " and account_id = $2 and id = $3"
                              " and authenticated_at > now() - $4::bigint * interval '1 second'"},
    [SESSION_END] = {.name = "session_end",
                     .sql = "delete from penstock.session where clinic_id = $1"
                            " and account_id = $2 and id = $3 returning id"},
    [SESSION_END_ALL] = {.name = "session_end_all",
                         .sql = "delete from penstock.session where clinic_id = $1"
                                " and account_id = $2 and id is distinct from $3"},
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
    bool is_token = query->statement == &statements[TOKEN_PRINCIPAL];
    *ret_principal = (struct principal){
        .id = rows_text(&rows, arena, 0, 0),
        .clinic_id = rows_text(&rows, arena, 0, 1),
        .clinic_name = rows_text(&rows, arena, 0, 2),
        .name = rows_text(&rows, arena, 0, 3),
        .display_name = rows_text(&rows, arena, 0, 4),
        .roles = (unsigned)rows_int(&rows, 0, 5),
        .owes = is_token ? 0 : (unsigned)rows_int(&rows, 0, 6),
        .is_token = is_token,
    };
    *ret_rows = rows;
    return true;
}

bool account_for_sign_in(struct store *store, struct arena *arena, const char *username,
                         struct principal *ret_principal, struct credential *ret_credential,
                         struct error *reterr)
{
    struct query query;
    query_start_alone(&query, &statements[SESSION_SIGN_IN]);
    query_text(&query, username);
    struct rows rows;
    if (!look_up(store, arena, &query, ret_principal, &rows, reterr)) {
        return false;
    }
    *ret_credential = (struct credential){
        .password_hash = rows_text(&rows, arena, 0, 7),
        .version = rows_int(&rows, 0, 8),
    };
    ret_principal->session_epoch = rows_int(&rows, 0, 9);
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
    struct rows rows;
    if (!look_up(store, arena, &query, ret_principal, &rows, reterr)) {
        return false;
    }
    ret_principal->session_id = rows_text(&rows, arena, 0, 7);
    ret_principal->by_provider = rows_bool(&rows, 0, 8);
    ret_principal->session_epoch = rows_int(&rows, 0, 9);
    rows_clear(&rows);
    return true;
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

bool account_hold(struct store *store, const char *account_id, int session_epoch,
                  struct error *reterr)
{
    struct query query;
    query_start(&query, store, &statements[SESSION_HOLD_ACCOUNT]);
    query_id(&query, account_id);
    query_int(&query, session_epoch);
    int held = 0;
    if (!query_count(store, &query, &held, reterr)) {
        return error_context(reterr, "hold an account");
    }
    return held == 1 || error_set(reterr, ERROR_STALE, "the account's sessions have ended since");
}

/* The account's row is locked first: of two that sign in at once each would else leave the other's
 * session uncounted. */
bool session_create(struct store *store, const char *account_id,
                    const unsigned char hash[SECRET_HASH_BYTES],
                    const struct session_origin *origin, int64_t life_s, int64_t *ret_expires_at_us,
                    struct error *reterr)
{
    struct query lock;
    query_start(&lock, store, &statements[SESSION_LOCK_ACCOUNT]);
    query_id(&lock, account_id);
    struct query over;
    query_start(&over, store, &statements[SESSION_DELETE_OVER]);
    query_id(&over, account_id);
    query_int(&over, SESSIONS_MOST - 1);
    struct query insert;
    query_start(&insert, store, &statements[SESSION_INSERT]);
    query_id(&insert, account_id);
    query_bytes(&insert, hash, SECRET_HASH_BYTES);
    query_int(&insert, life_s);
    query_text(&insert, origin->address);
    query_text(&insert, origin->user_agent);
    query_text(&insert, origin->by_provider ? "true" : "false");
    query_int(&insert, origin->authenticated_at_s);

    struct query *const queries[] = {&lock, &over, &insert};
    struct rows rows[3];
    if (!query_run_all(store, queries, 3, rows, reterr)) {
        return error_context(reterr, "create a session");
    }
    *ret_expires_at_us = rows_int64(&rows[2], 0, 0);
    for (size_t i = 0; i < 3; i++) {
        rows_clear(&rows[i]);
    }
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

bool session_list(struct store *store, struct arena *arena, const char *account_id,
                  struct session **ret_items, size_t *ret_count, struct error *reterr)
{
    struct query query;
    query_start(&query, store, &statements[SESSION_LIST]);
    query_id(&query, account_id);
    query_int(&query, SESSIONS_MOST);
    struct rows rows;
    if (!query_run(store, &query, &rows, reterr)) {
        return error_context(reterr, "list sessions");
    }
    struct session *items = arena_array(arena, (size_t)rows.count, sizeof *items);
    for (int i = 0; i < rows.count; i++) {
        items[i] = (struct session){
            .id = rows_text(&rows, arena, i, 0),
            .created_at_us = rows_int64(&rows, i, 1),
            .last_used_at_us = rows_int64(&rows, i, 2),
            .expires_at_us = rows_int64(&rows, i, 3),
            .address = rows_text(&rows, arena, i, 4),
            .user_agent = rows_text(&rows, arena, i, 5),
        };
    }
    *ret_items = items;
    *ret_count = (size_t)rows.count;
    rows_clear(&rows);
    return true;
}

bool session_end(struct store *store, const char *account_id, const char *session_id,
                 struct error *reterr)
{
    struct query query;
    query_start(&query, store, &statements[SESSION_END]);
    query_id(&query, account_id);
    query_id(&query, session_id);
    int ended = 0;
    if (!query_count(store, &query, &ended, reterr)) {
        return error_context(reterr, "end a session");
    }
    return ended == 1 || error_set(reterr, ERROR_NOT_FOUND, "no such session");
}

/* The epoch first, and by a statement of its own: whoever holds the account may be about to begin a
 * session, which a statement that waited for it would not see. */
bool session_end_all(struct store *store, const char *account_id, const char *kept_id,
                     struct error *reterr)
{
    struct query raise;
    query_start(&raise, store, &statements[SESSION_RAISE_EPOCH]);
    query_id(&raise, account_id);
    struct query end;
    query_start(&end, store, &statements[SESSION_END_ALL]);
    query_id(&end, account_id);
    query_text(&end, kept_id);

    struct query *const queries[] = {&raise, &end};
    struct rows rows[2];
    if (!query_run_all(store, queries, 2, rows, reterr)) {
        return error_context(reterr, "end the sessions of an account");
    }
    rows_clear(&rows[0]);
    rows_clear(&rows[1]);
    return true;
}

bool session_is_fresh(struct store *store, const char *account_id, const char *session_id,
                      int within_s, bool *ret_fresh, struct error *reterr)
{
    struct query query;
    query_start(&query, store, &statements[SESSION_FRESH]);
    query_id(&query, account_id);
    query_id(&query, session_id);
    query_int(&query, within_s);
    int count = 0;
    if (!query_count(store, &query, &count, reterr)) {
        return error_context(reterr, "ask how fresh a sign-in is");
    }
    *ret_fresh = count == 1;
    return true;
}
