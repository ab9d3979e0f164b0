#include "store/query.h"

#include "base/uuid.h"
#include "store/connection.h"

#include <inttypes.h>
#include <limits.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

/* ---- parameters ---- */

void query_start_alone(struct query *query, const struct statement *statement)
{
    *query = (struct query){.statement = statement};
}

void query_start(struct query *query, const struct store *store, const struct statement *statement)
{
    query_start_alone(query, statement);
    query->needs_transaction = true;
    query_text(query, store->clinic_id);
}

static void add_parameter(struct query *query, const char *value, size_t length, int format)
{
    if (query->count < QUERY_PARAMETERS_MAX) {
        query->values[query->count] = value;
        query->lengths[query->count] = length < INT_MAX ? (int)length : INT_MAX;
        query->formats[query->count] = format;
    }
    query->count++; /* query_run_all() refuses a query with too many */
}

/* Room for a number's text, or NULL when there are too many parameters. */
static char *number_text(struct query *query)
{
    return query->count < QUERY_PARAMETERS_MAX ? query->numbers[query->count] : NULL;
}

void query_text(struct query *query, const char *text)
{
    add_parameter(query, text, 0, 0);
}

void query_id(struct query *query, const char *id)
{
    query->bad_id = query->bad_id || id == NULL || !uuid_is_valid(id);
    query_text(query, id);
}

void query_int(struct query *query, int64_t number)
{
    char *text = number_text(query);
    if (text != NULL) {
        snprintf(text, QUERY_NUMBER_SIZE, "%" PRId64, number);
    }
    add_parameter(query, text, 0, 0);
}

void query_double(struct query *query, double number)
{
    char *text = number_text(query);
    if (text != NULL) {
        snprintf(text, QUERY_NUMBER_SIZE, "%.17g", number);
    }
    add_parameter(query, text, 0, 0);
}

void query_optional(struct query *query, struct optional_number number)
{
    if (number.known) {
        query_double(query, number.value);
    } else {
        query_text(query, NULL);
    }
}

void query_bytes(struct query *query, const void *bytes, size_t length)
{
    add_parameter(query, bytes, length, 1);
}

void query_array(struct query *query, const struct binary_array *array)
{
    /* An overflowed array is incomplete: NULL makes the statement fail instead. */
    query_bytes(query, array->bytes.overflowed ? NULL : array->bytes.data, array->bytes.length);
}

void query_time(struct query *query, int64_t time_us)
{
    static const int64_t epoch_2000_us = INT64_C(946684800000000);
    char *bytes = number_text(query);
    int64_t moment = time_us;
    if (time_us != QUERY_TIME_FIRST && time_us != QUERY_TIME_LAST) {
        moment = time_us > INT64_MIN + epoch_2000_us + 1 ? time_us - epoch_2000_us : INT64_MIN;
    }
    for (int i = 0; bytes != NULL && i < 8; i++) {
        bytes[i] = (char)(unsigned char)((uint64_t)moment >> (56 - 8 * i));
    }
    query_bytes(query, bytes, 8);
}

const char *query_actor(const struct store *store)
{
    return store->actor_id[0] != '\0' ? store->actor_id : NULL;
}

/* ---- running ---- */

static bool is_prepared(const struct store *store, const struct statement *statement)
{
    for (size_t i = 0; i < store->prepared_count; i++) {
        if (store->prepared[i] == statement) {
            return true;
        }
    }
    return false;
}

enum { COMMANDS_MAX = 5 + 2 * QUERY_BATCH_MAX };

enum begin_statement { BEGIN_SETTINGS, BEGIN_PLAN_ONCE, BEGIN_STATEMENT_COUNT };

static const struct statement begin_statements[] = {
    [BEGIN_SETTINGS] = {.name = "begin_settings",
                        .sql = "select set_config('penstock.clinic', $1, true),"
                               " set_config('penstock.actor', $2, true),"
                               " set_config('penstock.reach', $3, true)"},
    [BEGIN_PLAN_ONCE] = {.name = "begin_plan_once",
                         .sql = "select set_config('plan_cache_mode', 'force_generic_plan', true)"},
};

const struct statement_table store_statements = {begin_statements, BEGIN_STATEMENT_COUNT};

/* As the policies of schema/0008_access.sql read it. */
static const char *reach_words(unsigned reach)
{
    if (reach & STORE_REACH_CLINIC) {
        return "clinic";
    }
    switch (reach) {
    case STORE_REACH_OPEN:
        return "open";
    case STORE_REACH_REFERRED:
        return "referred";
    case STORE_REACH_LINK:
        return "link";
    case STORE_REACH_OPEN | STORE_REACH_REFERRED:
        return "open referred";
    default:
        return "nobody";
    }
}

struct batch {
    struct query begin;
    struct query plan_once;
    struct command commands[COMMANDS_MAX];
    size_t count;
};

static void add_query(struct batch *batch, const struct store *store, const struct query *query)
{
    bool waiting = false; /* to be prepared earlier in this batch */
    for (size_t i = 0; i < batch->count; i++) {
        waiting = waiting || batch->commands[i].prepare == query->statement;
    }
    if (!waiting && !is_prepared(store, query->statement)) {
        batch->commands[batch->count++] = (struct command){.prepare = query->statement};
    }
    batch->commands[batch->count++] = (struct command){.query = query};
}

static bool wants_plan_once(struct query *const queries[], size_t count)
{
    bool wants = false;
    for (size_t i = 0; i < count; i++) {
        wants = wants || queries[i]->statement->plan_once;
    }
    return wants;
}

static void fill_batch(struct batch *batch, const struct store *store,
                       struct query *const queries[], size_t count)
{
    batch->count = 0;
    if (store->transaction == TRANSACTION_WANTED) {
        batch->commands[batch->count++] =
            (struct command){.sql = store->reading ? "begin read only" : "begin"};
        query_start_alone(&batch->begin, &begin_statements[BEGIN_SETTINGS]);
        query_text(&batch->begin, store->clinic_id);
        query_text(&batch->begin, store->actor_id);
        query_text(&batch->begin, reach_words(store->reach));
        add_query(batch, store, &batch->begin);
    }
    if (!store->plans_once && wants_plan_once(queries, count)) {
        query_start_alone(&batch->plan_once, &begin_statements[BEGIN_PLAN_ONCE]);
        add_query(batch, store, &batch->plan_once);
    }
    for (size_t i = 0; i < count; i++) {
        add_query(batch, store, queries[i]);
    }
}

static bool note_results(struct store *store, struct batch *batch)
{
    bool good = true;
    for (size_t i = 0; i < batch->count; i++) {
        const struct command *command = &batch->commands[i];
        if (!connection_succeeded(command->result)) {
            good = false;
        } else if (command->prepare != NULL && store->prepared_count < STATEMENTS_MAX) {
            store->prepared[store->prepared_count++] = command->prepare;
        }
    }
    return good;
}

static void clear_batch(struct batch *batch)
{
    for (size_t i = 0; i < batch->count; i++) {
        PQclear(batch->commands[i].result);
        batch->commands[i].result = NULL;
    }
}

/* A connection that was lost while idle is found out only now; nothing of this transaction has
 * happened yet, so that it may be sent again on a new connection. */
static enum exchange exchange_batch(struct store *store, struct batch *batch,
                                    struct query *const queries[], size_t count, bool *ret_open,
                                    struct error *reterr)
{
    bool was_idle = store->connection != NULL && store->transaction != TRANSACTION_OPEN;
    enum exchange exchange = EXCHANGE_LOST;
    for (int attempt = 0; attempt < (was_idle ? 2 : 1); attempt++) {
        clear_batch(batch);
        batch->count = 0;
        *ret_open = connection_open(store, reterr);
        if (!*ret_open) {
            return EXCHANGE_LOST;
        }
        fill_batch(batch, store, queries, count);
        exchange = connection_exchange(store, batch->commands, batch->count);
        if (exchange != EXCHANGE_LOST) {
            break;
        }
    }
    return exchange;
}

static bool check_queries(const struct store *store, struct query *const queries[], size_t count,
                          struct error *reterr)
{
    if (count > QUERY_BATCH_MAX) {
        return error_set(reterr, ERROR_INTERNAL, "too many queries at once");
    }
    for (size_t i = 0; i < count; i++) {
        const struct query *query = queries[i];
        if (query->needs_transaction != (store->transaction != TRANSACTION_NONE)) {
            return error_set(reterr, ERROR_INTERNAL, "%s: %s a transaction", query->statement->name,
                             query->needs_transaction ? "outside" : "inside");
        }
        if (query->statement->plan_once && !query->needs_transaction) {
            return error_set(reterr, ERROR_INTERNAL, "%s: plan_once holds in a transaction only",
                             query->statement->name);
        }
        if (query->count > QUERY_PARAMETERS_MAX) {
            return error_set(reterr, ERROR_INTERNAL, "%s: too many parameters",
                             query->statement->name);
        }
        if (query->bad_id) {
            return error_set(reterr, ERROR_NOT_FOUND, "%s: not an id", query->statement->name);
        }
    }
    return true;
}

/* Moves the results of the queries out of the batch. */
static void take_results(struct batch *batch, struct rows ret_rows[])
{
    size_t taken = 0;
    for (size_t i = 0; i < batch->count; i++) {
        struct command *command = &batch->commands[i];
        bool is_ours = command->query == &batch->begin || command->query == &batch->plan_once;
        if (command->query != NULL && !is_ours) {
            ret_rows[taken++] =
                (struct rows){.result = command->result, .count = PQntuples(command->result)};
            command->result = NULL;
        }
    }
}

bool query_run_all(struct store *store, struct query *const queries[], size_t count,
                   struct rows ret_rows[], struct error *reterr)
{
    for (size_t i = 0; i < count; i++) {
        ret_rows[i] = (struct rows){NULL, 0};
    }
    if (!check_queries(store, queries, count, reterr)) {
        return false;
    }
    if (store->transaction == TRANSACTION_OPEN && store->connection == NULL) {
        return error_set(reterr, ERROR_UNAVAILABLE, "the transaction was lost with its connection");
    }
    struct batch batch = {.count = 0};
    bool open = false;
    enum exchange exchange = exchange_batch(store, &batch, queries, count, &open, reterr);
    if (!open) {
        return false;
    }
    if (store->transaction == TRANSACTION_WANTED) {
        store->transaction = TRANSACTION_OPEN;
    }
    bool good = exchange == EXCHANGE_DONE && note_results(store, &batch);
    store->plans_once = store->plans_once || (good && wants_plan_once(queries, count));
    if (!good) {
        connection_failure(store, exchange, batch.commands, batch.count, reterr);
    } else if (store->transaction == TRANSACTION_NONE && store->unreplicated) {
        store->unreplicated = false;
        good = error_set(reterr, ERROR_UNAVAILABLE, "committed here, but not on the standby");
    } else {
        take_results(&batch, ret_rows);
    }
    clear_batch(&batch);
    return good;
}

bool query_run(struct store *store, struct query *query, struct rows *ret_rows,
               struct error *reterr)
{
    struct query *const queries[] = {query};
    return query_run_all(store, queries, 1, ret_rows, reterr);
}

bool query_count(struct store *store, struct query *query, int *ret_count, struct error *reterr)
{
    struct rows rows;
    if (!query_run(store, query, &rows, reterr)) {
        return false;
    }
    *ret_count = rows.count;
    rows_clear(&rows);
    return true;
}

bool query_prepare_all(struct store *store, struct error *reterr)
{
    static const struct statement_table *const tables[] = {
        &store_statements,
        &store_account_statements,
        &store_attempt_statements,
        &store_audit_statements,
        &store_choices_statements,
        &store_chunk_statements,
        &store_device_statements,
        &store_erasure_statements,
        &store_idempotency_statements,
        &store_interpretation_statements,
        &store_letter_dispatch_statements,
        &store_letter_statements,
        &store_link_statements,
        &store_patient_statements,
        &store_patient_file_statements,
        &store_recording_statements,
        &store_recording_state_statements,
        &store_referral_statements,
        &store_research_statements,
        &store_retention_statements,
        &store_samples_statements,
        &store_second_factor_statements,
        &store_session_statements,
        &store_signature_statements,
        &store_single_sign_on_statements,
        &store_study_statements,
        &store_token_statements,
        &store_trend_statements,
    };
    if (!connection_open(store, reterr)) {
        return false;
    }
    for (size_t t = 0; t < sizeof tables / sizeof tables[0]; t++) {
        for (size_t s = 0; s < tables[t]->count; s++) {
            if (is_prepared(store, &tables[t]->items[s])) {
                continue;
            }
            struct batch batch = {.count = 1, .commands = {{.prepare = &tables[t]->items[s]}}};
            enum exchange exchange = connection_exchange(store, batch.commands, 1);
            bool good = exchange == EXCHANGE_DONE && note_results(store, &batch);
            if (!good) {
                connection_failure(store, exchange, batch.commands, 1, reterr);
            }
            clear_batch(&batch);
            if (!good) {
                return false;
            }
        }
    }
    return true;
}

/* ---- rows ---- */

void rows_clear(struct rows *rows)
{
    PQclear(rows->result);
    *rows = (struct rows){NULL, 0};
}

const char *rows_text(const struct rows *rows, struct arena *arena, int row, int column)
{
    if (PQgetisnull(rows->result, row, column) != 0) {
        return NULL;
    }
    return arena_strndup(arena, PQgetvalue(rows->result, row, column),
                         (size_t)PQgetlength(rows->result, row, column));
}

int64_t rows_int64(const struct rows *rows, int row, int column)
{
    return strtoll(PQgetvalue(rows->result, row, column), NULL, 10);
}

int rows_int(const struct rows *rows, int row, int column)
{
    int64_t number = rows_int64(rows, row, column);
    if (number > INT_MAX) {
        return INT_MAX;
    }
    return number < INT_MIN ? INT_MIN : (int)number;
}

double rows_double(const struct rows *rows, int row, int column)
{
    return strtod(PQgetvalue(rows->result, row, column), NULL);
}

struct optional_number rows_optional(const struct rows *rows, int row, int column)
{
    bool known = PQgetisnull(rows->result, row, column) == 0;
    return (struct optional_number){known, known ? rows_double(rows, row, column) : 0.0};
}

bool rows_bool(const struct rows *rows, int row, int column)
{
    return PQgetvalue(rows->result, row, column)[0] == 't';
}

const uint8_t *rows_bytes(const struct rows *rows, int row, int column, size_t *ret_length)
{
    *ret_length = (size_t)PQgetlength(rows->result, row, column);
    return (const uint8_t *)PQgetvalue(rows->result, row, column);
}

int64_t rows_binary_int(const struct rows *rows, int row, int column)
{
    size_t length = 0;
    const uint8_t *bytes = rows_bytes(rows, row, column, &length);
    uint64_t number = length > 0 && (bytes[0] & 0x80U) != 0 ? UINT64_MAX : 0;
    for (size_t i = 0; i < length; i++) {
        number = number << 8 | bytes[i];
    }
    return (int64_t)number;
}
