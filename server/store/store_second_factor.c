#include "store/store_second_factor.h"

#include "store/query.h"

#include <string.h>

enum factor_statement {
    FACTOR_SELECT,
    FACTOR_INSERT,
    FACTOR_USE_STEP,
    FACTOR_DELETE,
    CODE_USE,
    CODE_DELETE_ALL,
    CODE_INSERT,
    FACTOR_STATEMENT_COUNT
};

static const struct statement statements[] = {
    [FACTOR_SELECT] = {.name = "factor_select",
                       .sql = "select sealed_secret, coalesce(penstock.unix_us(confirmed_at), 0),"
                              " last_step, penstock.unix_us(now()),"
                              " (select count(*)::integer from penstock.recovery_code c"
                              " where c.clinic_id = $1 and c.account_id = $2)"
                              " from penstock.second_factor"
                              " where clinic_id = $1 and account_id = $2"
                              " and (confirmed_at is not null"
                              " or created_at > now() - interval '15 minutes')",
                       .binary_result = true},
    [FACTOR_INSERT] = {.name = "factor_insert",
                       .sql = "insert into penstock.second_factor as f"
                              " (clinic_id, account_id, sealed_secret) values ($1, $2, $3)"
                              " on conflict (clinic_id, account_id) do update"
                              " set sealed_secret = excluded.sealed_secret, created_at = now()"
                              " where f.confirmed_at is null returning account_id"},
    [FACTOR_USE_STEP] = {.name = "factor_use_step",
                         .sql = "update penstock.second_factor set last_step = $3,"
                                " confirmed_at = coalesce(confirmed_at, now())"
                                " where clinic_id = $1 and account_id = $2 and last_step < $3"
                                " returning account_id"},
    [FACTOR_DELETE] = {.name = "factor_delete",
                       .sql = "with raised as (update penstock.account"
                              " set session_epoch = session_epoch + 1"
                              " where clinic_id = $1 and id = $2)"
                              " delete from penstock.second_factor"
                              " where clinic_id = $1 and account_id = $2"},
    [CODE_USE] = {.name = "code_use",
                  .sql = "delete from penstock.recovery_code where clinic_id = $1"
                         " and account_id = $2 and code_hash = $3 returning account_id"},
    [CODE_DELETE_ALL] = {.name = "code_delete_all",
                         .sql = "delete from penstock.recovery_code"
                                " where clinic_id = $1 and account_id = $2"},
    [CODE_INSERT] = {.name = "code_insert",
                     .sql = "insert into penstock.recovery_code (clinic_id, account_id, code_hash)"
                            " values ($1, $2, $3)"},
};

const struct statement_table store_second_factor_statements = {statements, FACTOR_STATEMENT_COUNT};

static void read_factor(const struct rows *rows, struct second_factor *factor)
{
    size_t length = 0;
    const uint8_t *sealed = rows_bytes(rows, 0, 0, &length);
    *factor = (struct second_factor){
        .sealed_length = length <= sizeof factor->sealed ? length : 0,
        .confirmed_at_us = rows_binary_int(rows, 0, 1),
        .last_step = rows_binary_int(rows, 0, 2),
        .now_us = rows_binary_int(rows, 0, 3),
        .recovery_codes_left = (int)rows_binary_int(rows, 0, 4),
    };
    memcpy(factor->sealed, sealed, factor->sealed_length);
}

bool second_factor_get(struct store *store, const char *account_id,
                       struct second_factor *ret_factor, struct error *reterr)
{
    struct query query;
    query_start(&query, store, &statements[FACTOR_SELECT]);
    query_id(&query, account_id);
    struct rows rows;
    if (!query_run(store, &query, &rows, reterr)) {
        return error_context(reterr, "get a second factor");
    }
    bool found = rows.count == 1;
    if (found) {
        read_factor(&rows, ret_factor);
    }
    rows_clear(&rows);
    return found || error_set(reterr, ERROR_NOT_FOUND, "no second factor");
}

bool second_factor_put(struct store *store, const char *account_id, const unsigned char *sealed,
                       size_t sealed_length, struct error *reterr)
{
    struct query query;
    query_start(&query, store, &statements[FACTOR_INSERT]);
    query_id(&query, account_id);
    query_bytes(&query, sealed, sealed_length);
    int put = 0;
    if (!query_count(store, &query, &put, reterr)) {
        return error_context(reterr, "put a second factor");
    }
    return put == 1 || error_set(reterr, ERROR_CONFLICT, "there is a second factor already");
}

bool second_factor_use_step(struct store *store, const char *account_id, int64_t step,
                            bool *ret_taken, struct error *reterr)
{
    struct query query;
    query_start(&query, store, &statements[FACTOR_USE_STEP]);
    query_id(&query, account_id);
    query_int(&query, step);
    int taken = 0;
    bool ran = query_count(store, &query, &taken, reterr);
    *ret_taken = taken == 1;
    return ran;
}

bool second_factor_use_recovery_code(struct store *store, const char *account_id,
                                     const unsigned char hash[SECRET_HASH_BYTES], bool *ret_taken,
                                     struct error *reterr)
{
    struct query query;
    query_start(&query, store, &statements[CODE_USE]);
    query_id(&query, account_id);
    query_bytes(&query, hash, SECRET_HASH_BYTES);
    int taken = 0;
    bool ran = query_count(store, &query, &taken, reterr);
    *ret_taken = taken == 1;
    return ran;
}

static bool run_for_account(struct store *store, enum factor_statement statement,
                            const char *account_id, struct error *reterr)
{
    struct query query;
    query_start(&query, store, &statements[statement]);
    query_id(&query, account_id);
    int ignored = 0;
    return query_count(store, &query, &ignored, reterr);
}

bool second_factor_put_recovery_codes(struct store *store, const char *account_id,
                                      unsigned char hashes[RECOVERY_CODE_COUNT][SECRET_HASH_BYTES],
                                      struct error *reterr)
{
    bool good = run_for_account(store, CODE_DELETE_ALL, account_id, reterr);
    for (size_t i = 0; good && i < RECOVERY_CODE_COUNT; i++) {
        struct query query;
        int ignored = 0;
        query_start(&query, store, &statements[CODE_INSERT]);
        query_id(&query, account_id);
        query_bytes(&query, hashes[i], SECRET_HASH_BYTES);
        good = query_count(store, &query, &ignored, reterr);
    }
    return good || error_context(reterr, "put recovery codes");
}

bool second_factor_remove(struct store *store, const char *account_id, struct error *reterr)
{
    return run_for_account(store, FACTOR_DELETE, account_id, reterr);
}
