/* Inside store/ only: one prepared statement and its parameters, run on a store's connection.
 *
 * SQL text stands in one table of statements per store_*.c. Within a transaction $1 is always the
 * clinic, filled in by query_start(): a second wall beside row-level security, and the key by which
 * a distributed database would find the rows. */
#ifndef STORE_QUERY_H
#define STORE_QUERY_H

#include "analysis/recording.h"
#include "base/arena.h"
#include "base/error.h"
#include "store/binary_array.h"
#include "store/store.h"

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

struct statement {
    const char *name; /* unique over all tables */
    const char *sql;
    bool binary_result; /* columns arrive in the database's binary form */
    /* One plan fits all parameters: PostgreSQL would make one for each execution, since it takes
     * what it guesses of them for a gain. Then holds for the rest of the transaction. */
    bool plan_once;
};

struct statement_table {
    const struct statement *items;
    size_t count;
};

extern const struct statement_table store_account_statements;
extern const struct statement_table store_audit_statements;
extern const struct statement_table store_choices_statements;
extern const struct statement_table store_attempt_statements;
extern const struct statement_table store_chunk_statements;
extern const struct statement_table store_device_statements;
extern const struct statement_table store_erasure_statements;
extern const struct statement_table store_idempotency_statements;
extern const struct statement_table store_interpretation_statements;
extern const struct statement_table store_letter_dispatch_statements;
extern const struct statement_table store_letter_statements;
extern const struct statement_table store_link_statements;
extern const struct statement_table store_patient_file_statements;
extern const struct statement_table store_patient_statements;
extern const struct statement_table store_recording_state_statements;
extern const struct statement_table store_recording_statements;
extern const struct statement_table store_referral_statements;
extern const struct statement_table store_research_statements;
extern const struct statement_table store_retention_statements;
extern const struct statement_table store_samples_statements;
extern const struct statement_table store_second_factor_statements;
extern const struct statement_table store_session_statements;
extern const struct statement_table store_signature_statements;
extern const struct statement_table store_single_sign_on_statements;
extern const struct statement_table store_statements;
extern const struct statement_table store_study_statements;
extern const struct statement_table store_token_statements;
extern const struct statement_table store_trend_statements;

/* Prepares every statement of every table: tests find statements that do not fit the schema. */
MUST_CHECK bool query_prepare_all(struct store *store, struct error *reterr);

enum { QUERY_PARAMETERS_MAX = 20, QUERY_NUMBER_SIZE = 32, QUERY_BATCH_MAX = 4 };

/* Parameters are borrowed until the query has run; numbers are kept inside, so a query must not be
 * copied. */
struct query {
    const struct statement *statement;
    bool needs_transaction;
    bool bad_id; /* a parameter that cannot be an id of any row */
    int count;
    const char *values[QUERY_PARAMETERS_MAX];
    int lengths[QUERY_PARAMETERS_MAX];
    int formats[QUERY_PARAMETERS_MAX];
    char numbers[QUERY_PARAMETERS_MAX][QUERY_NUMBER_SIZE];
};

/* Begins a query of the store's transaction; $1 is its clinic. */
void query_start(struct query *query, const struct store *store, const struct statement *statement);

/* Begins a query outside transactions; the first parameter added is $1. It may be sent twice when
 * an idle connection turns out to be lost, so that it has to be harmless when repeated. */
void query_start_alone(struct query *query, const struct statement *statement);

/* Add the next parameter. NULL text is SQL NULL. */
void query_text(struct query *query, const char *text);
void query_id(struct query *query, const char *id); /* ERROR_NOT_FOUND unless it is a UUID */
void query_int(struct query *query, int64_t number);
void query_double(struct query *query, double number);
void query_optional(struct query *query, struct optional_number number);
void query_bytes(struct query *query, const void *bytes, size_t length);
void query_array(struct query *query, const struct binary_array *array);
void query_time(struct query *query, int64_t time_us); /* $n::timestamptz */

/* Before and after every time, for query_time(). */
#define QUERY_TIME_FIRST INT64_MIN
#define QUERY_TIME_LAST  INT64_MAX

/* The actor of the transaction, or NULL. */
const char *query_actor(const struct store *store);

/* What a query gave. Cleared rows and rows of a failed query may be cleared again. */
struct rows {
    struct pg_result *result;
    int count;
};

/* Runs the queries in one round trip; they succeed or fail together. All of ret_rows is to be
 * cleared with rows_clear() after success, and empty after failure. At most QUERY_BATCH_MAX. */
MUST_CHECK bool query_run_all(struct store *store, struct query *const queries[], size_t count,
                              struct rows ret_rows[], struct error *reterr);
MUST_CHECK bool query_run(struct store *store, struct query *query, struct rows *ret_rows,
                          struct error *reterr);

/* Runs a query of which only the number of rows returned matters. */
MUST_CHECK bool query_count(struct store *store, struct query *query, int *ret_count,
                            struct error *reterr);

void rows_clear(struct rows *rows);

/* A column of a row in text form, copied; NULL for SQL NULL. */
const char *rows_text(const struct rows *rows, struct arena *arena, int row, int column);
/* Numbers; 0 for SQL NULL. */
int64_t rows_int64(const struct rows *rows, int row, int column);
int rows_int(const struct rows *rows, int row, int column);
double rows_double(const struct rows *rows, int row, int column);
struct optional_number rows_optional(const struct rows *rows, int row, int column);
bool rows_bool(const struct rows *rows, int row, int column);
/* The raw bytes of a column; they live until rows_clear(). */
const uint8_t *rows_bytes(const struct rows *rows, int row, int column, size_t *ret_length);
/* A binary integer of 4 or 8 bytes. */
int64_t rows_binary_int(const struct rows *rows, int row, int column);

#endif
