#include "store/store_attempt.h"

#include "store/query.h"

#include <stdio.h>

enum attempt_statement {
    ATTEMPT_CLAIM,
    ATTEMPT_RETURN,
    BROWSER_CLAIM,
    BROWSER_RETURN,
    BROWSER_TRUST,
    BROWSER_IS_KNOWN,
    ATTEMPT_STATEMENT_COUNT
};

static const struct statement statements[] = {
    [ATTEMPT_CLAIM] = {.name = "attempt_claim",
                       .sql = "select penstock.attempts_claim($1::text::bytea[],"
                              " $2::text::integer[], $3::text::integer[])"},
    [ATTEMPT_RETURN] = {.name = "attempt_return",
                        .sql = "select penstock.attempts_return($1::text::bytea[])"},
    [BROWSER_CLAIM] = {.name = "browser_claim",
                       .sql = "select known is not null, known"
                              " from penstock.browser_claim($1, $2, $3, $4) known"},
    [BROWSER_RETURN] = {.name = "browser_return",
                        .sql = "select penstock.browser_return($1, $2, $3)"},
    [BROWSER_TRUST] = {.name = "browser_trust", .sql = "select penstock.browser_trust($1, $2, $3)"},
    [BROWSER_IS_KNOWN] = {.name = "browser_is_known",
                          .sql = "select penstock.browser_is_known($1)"},
};

const struct statement_table store_attempt_statements = {statements, ATTEMPT_STATEMENT_COUNT};

enum { KEY_TEXT_SIZE = 2 * SECRET_HASH_BYTES + 8, NUMBER_TEXT_SIZE = 16 };

/* The columns of `counts` as texts of arrays, which PostgreSQL reads. */
struct arrays {
    char keys[ATTEMPT_COUNTS_MAX * KEY_TEXT_SIZE + 2];
    char mosts[ATTEMPT_COUNTS_MAX * NUMBER_TEXT_SIZE + 2];
    char spans[ATTEMPT_COUNTS_MAX * NUMBER_TEXT_SIZE + 2];
};

static size_t append_key(char *text, const unsigned char key[SECRET_HASH_BYTES])
{
    size_t length = (size_t)snprintf(text, KEY_TEXT_SIZE, "\"\\\\x");
    for (size_t i = 0; i < SECRET_HASH_BYTES; i++) {
        length += (size_t)snprintf(text + length, 3, "%02x", (unsigned)key[i]);
    }
    text[length++] = '"';
    return length;
}

static void write_arrays(struct arrays *arrays, const struct attempt_count counts[], size_t count)
{
    size_t key = 0;
    size_t most = 0;
    size_t span = 0;
    for (size_t i = 0; i < count && i < ATTEMPT_COUNTS_MAX; i++) {
        char before = i == 0 ? '{' : ',';
        arrays->keys[key++] = before;
        key += append_key(arrays->keys + key, counts[i].key);
        most += (size_t)snprintf(arrays->mosts + most, NUMBER_TEXT_SIZE, "%c%d", before,
                                 counts[i].most);
        span += (size_t)snprintf(arrays->spans + span, NUMBER_TEXT_SIZE, "%c%d", before,
                                 counts[i].span_s);
    }
    (void)snprintf(arrays->keys + key, 2, "}");
    (void)snprintf(arrays->mosts + most, 2, "}");
    (void)snprintf(arrays->spans + span, 2, "}");
}

bool attempt_claim(struct store *store, const struct attempt_count counts[], size_t count,
                   int *ret_wait_s, struct error *reterr)
{
    struct arrays arrays;
    write_arrays(&arrays, counts, count);
    struct query query;
    query_start_alone(&query, &statements[ATTEMPT_CLAIM]);
    query_text(&query, arrays.keys);
    query_text(&query, arrays.mosts);
    query_text(&query, arrays.spans);
    struct rows rows;
    if (!query_run(store, &query, &rows, reterr)) {
        return error_context(reterr, "count an attempt");
    }
    *ret_wait_s = rows_int(&rows, 0, 0);
    rows_clear(&rows);
    return true;
}

bool attempt_return(struct store *store, const struct attempt_count counts[], size_t count,
                    struct error *reterr)
{
    struct arrays arrays;
    write_arrays(&arrays, counts, count);
    struct query query;
    query_start_alone(&query, &statements[ATTEMPT_RETURN]);
    query_text(&query, arrays.keys);
    int ignored = 0;
    return query_count(store, &query, &ignored, reterr);
}

static void start_browser_query(struct query *query, enum attempt_statement statement,
                                const struct known_browser *browser)
{
    query_start_alone(query, &statements[statement]);
    query_bytes(query, browser->account_key, sizeof browser->account_key);
    query_bytes(query, browser->browser_hash, sizeof browser->browser_hash);
}

bool browser_claim(struct store *store, const struct known_browser *browser, int most, int wait_s,
                   bool *ret_known, int *ret_wait_s, struct error *reterr)
{
    struct query query;
    start_browser_query(&query, BROWSER_CLAIM, browser);
    query_int(&query, most);
    query_int(&query, wait_s);
    struct rows rows;
    if (!query_run(store, &query, &rows, reterr)) {
        return error_context(reterr, "count an attempt of a browser");
    }
    *ret_known = rows_bool(&rows, 0, 0);
    *ret_wait_s = rows_int(&rows, 0, 1);
    rows_clear(&rows);
    return true;
}

bool browser_return(struct store *store, const struct known_browser *browser, int life_s,
                    struct error *reterr)
{
    struct query query;
    start_browser_query(&query, BROWSER_RETURN, browser);
    query_int(&query, life_s);
    int ignored = 0;
    return query_count(store, &query, &ignored, reterr);
}

bool browser_trust(struct store *store, const struct known_browser *browser, int life_s,
                   struct error *reterr)
{
    struct query query;
    start_browser_query(&query, BROWSER_TRUST, browser);
    query_int(&query, life_s);
    int ignored = 0;
    return query_count(store, &query, &ignored, reterr);
}

bool browser_is_known(struct store *store, const unsigned char hash[SECRET_HASH_BYTES],
                      bool *ret_known, struct error *reterr)
{
    struct query query;
    query_start_alone(&query, &statements[BROWSER_IS_KNOWN]);
    query_bytes(&query, hash, SECRET_HASH_BYTES);
    struct rows rows;
    if (!query_run(store, &query, &rows, reterr)) {
        return false;
    }
    *ret_known = rows_bool(&rows, 0, 0);
    rows_clear(&rows);
    return true;
}
