#include "store/store_single_sign_on.h"

#include "store/query.h"

enum single_sign_on_statement {
    ATTEMPT_BEGIN,
    ATTEMPT_TAKE,
    SUBJECT_PRINCIPAL,
    SUBJECT_SET,
    SUBJECT_END_SESSIONS,
    SINGLE_SIGN_ON_STATEMENT_COUNT
};

static const struct statement statements[] = {
    [ATTEMPT_BEGIN] = {.name = "sign_in_attempt_begin",
                       .sql = "select penstock.sign_in_attempt_begin($1, $2, $3, $4, $5, $6)"},
    [ATTEMPT_TAKE] = {.name = "sign_in_attempt_take",
                      .sql = "select nonce, code_verifier, next"
                             " from penstock.sign_in_attempt_take($1, $2)"},
    [SUBJECT_PRINCIPAL] = {.name = "subject_principal",
                           .sql =
                               "select account_id, clinic_id, clinic_name, name, display_name,"
                               " roles, session_epoch from penstock.account_for_subject($1, $2)"},
    [SUBJECT_SET] = {.name = "subject_set",
                     .sql = "update penstock.account set sign_in_issuer = $3, sign_in_subject = $4,"
                            " session_epoch = session_epoch + 1"
                            " where clinic_id = $1 and id = $2 returning id"},
    [SUBJECT_END_SESSIONS] = {.name = "subject_end_sessions",
                              .sql = "delete from penstock.session"
                                     " where clinic_id = $1 and account_id = $2"},
};

const struct statement_table store_single_sign_on_statements = {statements,
                                                                SINGLE_SIGN_ON_STATEMENT_COUNT};

bool sign_in_attempt_begin(struct store *store, const unsigned char state_hash[SECRET_HASH_BYTES],
                           const unsigned char browser_hash[SECRET_HASH_BYTES],
                           const struct sign_in_attempt *attempt, int life_s, struct error *reterr)
{
    struct query query;
    query_start_alone(&query, &statements[ATTEMPT_BEGIN]);
    query_bytes(&query, state_hash, SECRET_HASH_BYTES);
    query_bytes(&query, browser_hash, SECRET_HASH_BYTES);
    query_text(&query, attempt->nonce);
    query_text(&query, attempt->code_verifier);
    query_text(&query, attempt->next);
    query_int(&query, life_s);
    int ignored = 0;
    return query_count(store, &query, &ignored, reterr) || error_context(reterr, "keep a sign-in");
}

bool sign_in_attempt_take(struct store *store, struct arena *arena,
                          const unsigned char state_hash[SECRET_HASH_BYTES],
                          const unsigned char browser_hash[SECRET_HASH_BYTES],
                          struct sign_in_attempt *ret_attempt, struct error *reterr)
{
    struct query query;
    query_start_alone(&query, &statements[ATTEMPT_TAKE]);
    query_bytes(&query, state_hash, SECRET_HASH_BYTES);
    query_bytes(&query, browser_hash, SECRET_HASH_BYTES);
    struct rows rows;
    if (!query_run(store, &query, &rows, reterr)) {
        return error_context(reterr, "take a sign-in");
    }
    bool found = rows.count == 1;
    if (found) {
        *ret_attempt = (struct sign_in_attempt){
            .nonce = rows_text(&rows, arena, 0, 0),
            .code_verifier = rows_text(&rows, arena, 0, 1),
            .next = rows_text(&rows, arena, 0, 2),
        };
    }
    rows_clear(&rows);
    return found || error_set(reterr, ERROR_NOT_FOUND, "no such sign-in of this browser");
}

bool account_for_subject(struct store *store, struct arena *arena, const char *issuer,
                         const char *subject, struct principal *ret_principal, struct error *reterr)
{
    struct query query;
    query_start_alone(&query, &statements[SUBJECT_PRINCIPAL]);
    query_text(&query, issuer);
    query_text(&query, subject);
    struct rows rows;
    if (!query_run(store, &query, &rows, reterr)) {
        return error_context(reterr, "find the account of a subject");
    }
    bool found = rows.count == 1;
    if (found) {
        *ret_principal = (struct principal){
            .id = rows_text(&rows, arena, 0, 0),
            .clinic_id = rows_text(&rows, arena, 0, 1),
            .clinic_name = rows_text(&rows, arena, 0, 2),
            .name = rows_text(&rows, arena, 0, 3),
            .display_name = rows_text(&rows, arena, 0, 4),
            .roles = (unsigned)rows_int(&rows, 0, 5),
            .by_provider = true,
            .session_epoch = rows_int(&rows, 0, 6),
        };
    }
    rows_clear(&rows);
    return found || error_set(reterr, ERROR_NOT_FOUND, "no active account for this subject");
}

bool account_set_subject(struct store *store, const char *id, const char *issuer,
                         const char *subject, struct error *reterr)
{
    struct query set;
    query_start(&set, store, &statements[SUBJECT_SET]);
    query_id(&set, id);
    query_text(&set, issuer);
    query_text(&set, subject);
    struct query end;
    query_start(&end, store, &statements[SUBJECT_END_SESSIONS]);
    query_id(&end, id);

    struct query *const queries[] = {&set, &end};
    struct rows rows[2];
    if (!query_run_all(store, queries, 2, rows, reterr)) {
        return reterr->kind == ERROR_CONFLICT ? error_set(reterr, ERROR_CONFLICT, "single_sign_on")
                                              : error_context(reterr, "set an account's subject");
    }
    bool found = rows[0].count == 1;
    rows_clear(&rows[0]);
    rows_clear(&rows[1]);
    return found || error_set(reterr, ERROR_NOT_FOUND, "no such account");
}
