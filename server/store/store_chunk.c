#include "store/store_chunk.h"

#include "formats/limits.h"
#include "formats/packed_text.h"
#include "store/query.h"
#include "store/store_recording_private.h"
#include "store/store_samples.h"

#include <math.h>
#include <sodium.h>
#include <stdlib.h>
#include <string.h>

enum {
    DIGEST_SIZE = 32,
    ARRAY_BYTES_MAX = 64 * 1024,
    PAGE = 256,                      /* pieces of one SELECT, at most */
    PAGE_BYTES_MAX = 4 * 1024 * 1024 /* and their compressed bytes, but for the last piece */
};

enum chunk_statement {
    CHUNK_LOCK,
    CHUNK_LOCK_RECORDING,
    CHUNK_EXISTING,
    CHUNK_BEFORE,
    CHUNK_BEHIND,
    CHUNK_INSERT,
    CHUNK_RANGES,
    CHUNK_NEWEST,
    CHUNK_SILENCE,
    CHUNK_AFTER,
    CHUNK_PAGE,
    CHUNK_STUDY,
    CHUNK_COMPLETE,
    CHUNK_EMPTY,
    CHUNK_STATEMENT_COUNT
};

#define OF_RECORDING "clinic_id = $1 and recording_id = $2"
/* Where its date is not known yet: still only its partition is searched. */
#define FROM_RECORDING                                                                             \
    " from penstock.recording_chunk where " OF_RECORDING                                           \
    " and received_on = (select r.received_on from penstock.recording r"                           \
    " where r.clinic_id = $1 and r.id = $2)"
/* Pieces behind $4 in the order of `column`, until they have $6 bytes or are $5. */
#define CHUNK_PAGE_BY(column)                                                                      \
    "select number, arrival, penstock.unix_us(received_at), data from (select c.*,"                \
    " sum(length(data)) over (order by " column ") - length(data) as before"                       \
    " from (select number, arrival, received_at, data from penstock.recording_chunk"               \
    " where " OF_RECORDING " and received_on = $3 and " column " > $4"                             \
    " order by " column " limit $5) c) d where before <= $6 or before is null order by " column

#define LOCK_RECORDING                                                                             \
    "select r.state = 'open', r.received_on, s.status in ('final', 'amended', 'cancelled')"        \
    " from penstock.recording r join penstock.study s"                                             \
    " on s.clinic_id = r.clinic_id and s.id = r.study_id"                                          \
    " where r.clinic_id = $1 and r.id = $2 for no key update of r"

static const struct statement statements[] = {
    [CHUNK_LOCK] = {.name = "chunk_lock", .sql = LOCK_RECORDING " for share of s"},
    /* The study is left to others while the completion computes: it is locked when it is written.
     */
    [CHUNK_LOCK_RECORDING] = {.name = "chunk_lock_recording", .sql = LOCK_RECORDING},
    /* A statement of its own, and so are the neighbours': each sees what was committed while the
     * one before waited for the lock. */
    [CHUNK_EXISTING] = {.name = "chunk_existing",
                        .sql = "select coalesce(newest.arrival, 0),"
                               " coalesce(newest.event_total, 0),"
                               " same.digest is not null, same.digest = $4"
                               " from (values (true)) as one"
                               " left join (select arrival, event_total" FROM_RECORDING
                               " order by arrival desc limit 1) as newest on true"
                               " left join (select digest" FROM_RECORDING
                               " and number = $3) as same on true"},
    [CHUNK_BEFORE] = {.name = "chunk_before",
                      .sql = "select ends" FROM_RECORDING
                             " and number < $3 order by number desc limit 1"},
    [CHUNK_BEHIND] = {.name = "chunk_behind",
                      .sql = "select starts" FROM_RECORDING
                             " and number > $3 order by number limit 1"},
    [CHUNK_INSERT] = {.name = "chunk_insert",
                      .sql = "insert into penstock.recording_chunk (clinic_id, recording_id,"
                             " number, received_on, arrival, digest, starts, ends,"
                             " event_total, data, created_by)"
                             " values ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10, $11)"},
    [CHUNK_RANGES] = {.name = "chunk_ranges",
                      .sql = "select min(number), max(number) from (select number,"
                             " number - row_number() over (order by number) as island"
                             " from penstock.recording_chunk where " OF_RECORDING
                             " and received_on = $3) as numbered group by island order by 1"},
    [CHUNK_NEWEST] = {.name = "chunk_newest",
                      .sql = "select arrival, penstock.unix_us(received_at)"
                             " from penstock.recording_chunk where " OF_RECORDING
                             " and received_on = $3 order by arrival desc limit 1"},
    [CHUNK_SILENCE] = {.name = "chunk_silence",
                       .sql = "select coalesce(c.arrival, 0), extract(epoch from"
                              " clock_timestamp() - coalesce(c.received_at, r.received_at))::float8"
                              " from penstock.recording r left join lateral"
                              " (select arrival, received_at from penstock.recording_chunk"
                              " where " OF_RECORDING " and received_on = $3"
                              " order by arrival desc limit 1) c on true"
                              " where r.clinic_id = $1 and r.id = $2"},
    [CHUNK_AFTER] = {.name = "chunk_after", .sql = CHUNK_PAGE_BY("arrival"), .binary_result = true},
    [CHUNK_PAGE] = {.name = "chunk_page", .sql = CHUNK_PAGE_BY("number"), .binary_result = true},
    /* What a study shows includes how many of its recordings are open. */
    [CHUNK_STUDY] = {.name = "chunk_study",
                     .sql = "update penstock.study s set version = s.version + 1"
                            " from penstock.recording r where r.clinic_id = $1 and r.id = $2"
                            " and s.clinic_id = r.clinic_id and s.id = r.study_id"
                            " and s.status not in ('final', 'amended', 'cancelled')"
                            " returning s.version"},
    [CHUNK_COMPLETE] = {.name = "chunk_complete",
                        .sql = "update penstock.recording set state = 'complete', revision = 1,"
                               " version = version + 1, conditions = $3, duration_s = $4"
                               " where clinic_id = $1 and id = $2 and state = 'open'"
                               " returning version"},
    [CHUNK_EMPTY] = {.name = "chunk_empty",
                     .sql = "update penstock.recording_chunk set data = null where " OF_RECORDING
                            " and received_on = $3"},
};

const struct statement_table store_chunk_statements = {statements, CHUNK_STATEMENT_COUNT};

/* ---- a piece comes ---- */

/* What is known of the recording and of the piece's neighbours. */
struct surroundings {
    bool is_signed; /* or cancelled: the study takes nothing any more */
    bool is_open;
    const char *received_on;
    int last_arrival;
    size_t event_total; /* of what has arrived */
    bool has_number;
    bool has_same;
    bool fits; /* between its neighbours */
};

static bool check_lock(const struct rows *lock, struct error *reterr)
{
    if (lock->count == 0) {
        return error_set(reterr, ERROR_NOT_FOUND, "no such recording");
    }
    return !rows_bool(lock, 0, 2) || error_set(reterr, ERROR_CONFLICT, "signed");
}

/* Whether `theirs` ("{1,2}") and ours keep their order, channel by channel: with sign 1 theirs come
 * first. False where they have fewer channels. */
static bool keeps_order(const char *theirs, const int64_t *ours, size_t count, int sign)
{
    const char *at = theirs + 1; /* behind the brace */
    for (size_t i = 0; i < count; i++) {
        char *end = NULL;
        int64_t number = strtoll(at, &end, 10);
        if (end == at || (sign > 0 && number > ours[i]) || (sign < 0 && number < ours[i])) {
            return false;
        }
        at = *end == ',' ? end + 1 : end;
    }
    return true;
}

static bool fits(const struct rows *before, const struct rows *behind, struct arena *arena,
                 const struct new_chunk *chunk)
{
    return (before->count == 0 ||
            keeps_order(rows_text(before, arena, 0, 0), chunk->starts, chunk->channel_count, 1)) &&
           (behind->count == 0 ||
            keeps_order(rows_text(behind, arena, 0, 0), chunk->ends, chunk->channel_count, -1));
}

static void neighbour_query(struct query *query, const struct store *store,
                            enum chunk_statement statement, const char *id, int number)
{
    query_start(query, store, &statements[statement]);
    query_id(query, id);
    query_int(query, number);
}

/* Locks the recording and looks around. */
static bool look(struct store *store, struct arena *arena, const char *id,
                 const struct new_chunk *chunk, const uint8_t digest[DIGEST_SIZE],
                 struct surroundings *ret_around, struct error *reterr)
{
    struct query lock;
    struct query existing;
    struct query before;
    struct query behind;
    query_start(&lock, store, &statements[CHUNK_LOCK]);
    query_id(&lock, id);
    neighbour_query(&existing, store, CHUNK_EXISTING, id, chunk->number);
    query_bytes(&existing, digest, DIGEST_SIZE);
    neighbour_query(&before, store, CHUNK_BEFORE, id, chunk->number);
    neighbour_query(&behind, store, CHUNK_BEHIND, id, chunk->number);

    struct query *const queries[] = {&lock, &existing, &before, &behind};
    struct rows rows[4];
    if (!query_run_all(store, queries, 4, rows, reterr)) {
        return error_context(reterr, "lock a recording");
    }
    bool good = rows[0].count == 1 || error_set(reterr, ERROR_NOT_FOUND, "no such recording");
    if (good) {
        *ret_around = (struct surroundings){
            .is_signed = rows_bool(&rows[0], 0, 2),
            .is_open = rows_bool(&rows[0], 0, 0),
            .received_on = rows_text(&rows[0], arena, 0, 1),
            .last_arrival = rows_int(&rows[1], 0, 0),
            .event_total = (size_t)rows_int(&rows[1], 0, 1),
            .has_number = rows_bool(&rows[1], 0, 2),
            .has_same = rows_bool(&rows[1], 0, 3),
            .fits = fits(&rows[2], &rows[3], arena, chunk),
        };
    }
    for (size_t i = 0; i < 4; i++) {
        rows_clear(&rows[i]);
    }
    return good;
}

static void index_array(struct binary_array *array, struct arena *arena, const int64_t *indexes,
                        size_t count)
{
    binary_array_init(array, arena, BINARY_ARRAY_INT8, ARRAY_BYTES_MAX);
    for (size_t i = 0; i < count; i++) {
        binary_array_int8(array, indexes[i]);
    }
}

static bool insert(struct store *store, struct arena *arena, const char *id,
                   const struct new_chunk *chunk, const uint8_t digest[DIGEST_SIZE],
                   const struct surroundings *around, struct error *reterr)
{
    const uint8_t *data = NULL;
    size_t length = 0;
    if (!packed_text_make(arena, chunk->text, chunk->length, &data, &length, reterr)) {
        return false;
    }
    struct binary_array starts;
    struct binary_array ends;
    index_array(&starts, arena, chunk->starts, chunk->channel_count);
    index_array(&ends, arena, chunk->ends, chunk->channel_count);
    struct query query;
    query_start(&query, store, &statements[CHUNK_INSERT]);
    query_id(&query, id);
    query_int(&query, chunk->number);
    query_text(&query, around->received_on);
    query_int(&query, around->last_arrival + 1);
    query_bytes(&query, digest, DIGEST_SIZE);
    query_array(&query, &starts);
    query_array(&query, &ends);
    query_int(&query, (int64_t)(around->event_total + chunk->event_count));
    query_bytes(&query, data, length);
    query_text(&query, query_actor(store));
    int ignored = 0;
    return query_count(store, &query, &ignored, reterr);
}

bool recording_put_chunk(struct store *store, struct arena *arena, const char *id,
                         const struct new_chunk *chunk, bool *ret_repeated, struct error *reterr)
{
    uint8_t digest[DIGEST_SIZE];
    crypto_generichash(digest, sizeof digest, (const uint8_t *)chunk->text, chunk->length, NULL, 0);
    struct surroundings around = {.is_open = false};
    if (!look(store, arena, id, chunk, digest, &around, reterr)) {
        return false;
    }
    *ret_repeated = around.has_same;
    if (around.has_same) {
        return true;
    }
    if (around.is_signed || !around.is_open) {
        return error_set(reterr, ERROR_CONFLICT, "%s", around.is_signed ? "signed" : "state");
    }
    if (around.has_number) {
        return error_set(reterr, ERROR_CONFLICT, "digest");
    }
    if (!around.fits) {
        return error_set(reterr, ERROR_CONFLICT, "order");
    }
    if (around.event_total + chunk->event_count > LIMIT_EVENTS) {
        return error_set(reterr, ERROR_CONFLICT, "events");
    }
    return insert(store, arena, id, chunk, digest, &around, reterr) ||
           error_context(reterr, "store a piece of a recording");
}

/* ---- reading ---- */

static void status_query(struct query *query, const struct store *store,
                         enum chunk_statement statement, const struct recording_row *row)
{
    query_start(query, store, &statements[statement]);
    query_id(query, row->id);
    query_text(query, row->received_on);
}

bool recording_newest_chunk(struct store *store, const struct recording_row *row, int *ret_arrival,
                            double *ret_silent_s, struct error *reterr)
{
    struct query silence;
    struct rows rows;
    status_query(&silence, store, CHUNK_SILENCE, row);
    if (!query_run(store, &silence, &rows, reterr)) {
        return error_context(reterr, "look for a newer piece");
    }
    bool found = rows.count == 1;
    *ret_arrival = found ? rows_int(&rows, 0, 0) : 0;
    *ret_silent_s = found ? fmax(rows_double(&rows, 0, 1), 0.0) : 0.0;
    rows_clear(&rows);
    return found || error_set(reterr, ERROR_NOT_FOUND, "no such recording");
}

bool recording_chunk_status(struct store *store, struct arena *arena,
                            const struct recording_row *row, struct chunk_status *ret_status,
                            struct error *reterr)
{
    struct query ranges;
    struct query newest;
    status_query(&ranges, store, CHUNK_RANGES, row);
    status_query(&newest, store, CHUNK_NEWEST, row);

    struct query *const queries[] = {&ranges, &newest};
    struct rows rows[2];
    if (!query_run_all(store, queries, 2, rows, reterr)) {
        return error_context(reterr, "say which pieces arrived");
    }
    *ret_status = (struct chunk_status){.range_count = (size_t)rows[0].count};
    ret_status->ranges = arena_array(arena, ret_status->range_count, sizeof *ret_status->ranges);
    for (int i = 0; i < rows[0].count; i++) {
        struct chunk_range range = {rows_int(&rows[0], i, 0), rows_int(&rows[0], i, 1)};
        ret_status->ranges[i] = range;
        ret_status->count += range.last - range.first + 1;
    }
    if (rows[1].count == 1) {
        ret_status->last_arrival = rows_int(&rows[1], 0, 0);
        ret_status->last_received_at_us = rows_int64(&rows[1], 0, 1);
    }
    rows_clear(&rows[0]);
    rows_clear(&rows[1]);
    return true;
}

static bool read_chunk(const struct rows *rows, struct arena *arena, int row, const char *id,
                       struct chunk_row *ret_chunk, struct error *reterr)
{
    *ret_chunk = (struct chunk_row){.number = (int)rows_binary_int(rows, row, 0),
                                    .arrival = (int)rows_binary_int(rows, row, 1),
                                    .received_at_us = rows_binary_int(rows, row, 2)};
    size_t length = 0; /* stays 0 where the piece was emptied */
    const uint8_t *data = rows_bytes(rows, row, 3, &length);
    return packed_text_read(arena, data, length, LIMIT_BODY_BYTES, &ret_chunk->text,
                            &ret_chunk->length, reterr) ||
           error_set(reterr, ERROR_INTERNAL, "recording %s, piece %d: cannot be read back", id,
                     ret_chunk->number);
}

/* A page of pieces, at least one if there is any: by arrival (CHUNK_AFTER) or by number
 * (CHUNK_PAGE), behind `after`. */
static bool run_page(struct store *store, enum chunk_statement statement,
                     const struct recording_row *row, int after, struct rows *rows,
                     struct error *reterr)
{
    struct query query;
    query_start(&query, store, &statements[statement]);
    query_id(&query, row->id);
    query_text(&query, row->received_on);
    query_int(&query, after);
    query_int(&query, PAGE);
    query_int(&query, PAGE_BYTES_MAX);
    return query_run(store, &query, rows, reterr) ||
           error_context(reterr, "read pieces of a recording");
}

bool recording_chunks_after(struct store *store, struct arena *arena,
                            const struct recording_row *row, int after, size_t byte_limit,
                            struct chunk_row **ret_rows, size_t *ret_count, struct error *reterr)
{
    struct rows rows;
    if (!run_page(store, CHUNK_AFTER, row, after, &rows, reterr)) {
        return false;
    }
    struct chunk_row *chunks = arena_array(arena, (size_t)rows.count, sizeof *chunks);
    size_t bytes = 0;
    size_t count = 0;
    bool good = true;
    while (good && count < (size_t)rows.count && bytes <= byte_limit) {
        good = read_chunk(&rows, arena, (int)count, row->id, &chunks[count], reterr);
        bytes += good ? chunks[count++].length : 0;
    }
    rows_clear(&rows);
    *ret_rows = chunks;
    *ret_count = count;
    return good;
}

bool recording_each_chunk(struct store *store, const struct recording_row *row,
                          bool (*take)(void *context, const struct chunk_row *chunk,
                                       struct error *reterr),
                          void *context, struct error *reterr)
{
    int after = -1;
    bool good = true;
    bool more = true;
    while (good && more) {
        struct rows rows;
        if (!run_page(store, CHUNK_PAGE, row, after, &rows, reterr)) {
            return false;
        }
        for (int i = 0; good && i < rows.count; i++) {
            struct arena *arena = arena_new();
            struct chunk_row chunk;
            good = read_chunk(&rows, arena, i, row->id, &chunk, reterr) &&
                   take(context, &chunk, reterr);
            after = chunk.number;
            arena_free(arena);
        }
        more = rows.count > 0;
        rows_clear(&rows);
    }
    return good;
}

/* ---- completion ---- */

bool recording_lock_open(struct store *store, const char *id, struct error *reterr)
{
    struct query query;
    query_start(&query, store, &statements[CHUNK_LOCK_RECORDING]);
    query_id(&query, id);
    struct rows rows;
    if (!query_run(store, &query, &rows, reterr)) {
        return error_context(reterr, "lock a recording");
    }
    bool good = check_lock(&rows, reterr) &&
                (rows_bool(&rows, 0, 0) || error_set(reterr, ERROR_CONFLICT, "state"));
    rows_clear(&rows);
    return good;
}

/* Locks the study too: nobody signs it from now on, and who did so meanwhile is not overruled. */
static bool change_study(struct store *store, const struct recording_row *row, struct error *reterr)
{
    struct query query;
    query_start(&query, store, &statements[CHUNK_STUDY]);
    query_id(&query, row->id);
    int changed = 0;
    return query_count(store, &query, &changed, reterr) &&
           (changed == 1 || error_set(reterr, ERROR_CONFLICT, "signed"));
}

/* Gives the recording's new version. */
static bool set_complete(struct store *store, const struct recording_row *row,
                         const struct recording_document *document, const char *conditions,
                         int *ret_version, struct error *reterr)
{
    struct query query;
    query_start(&query, store, &statements[CHUNK_COMPLETE]);
    query_id(&query, row->id);
    query_text(&query, conditions);
    query_double(&query, recording_document_duration_s(document));
    struct rows rows;
    if (!query_run(store, &query, &rows, reterr)) {
        return false;
    }
    bool done = rows.count == 1;
    *ret_version = done ? rows_int(&rows, 0, 0) : 0;
    rows_clear(&rows);
    return done || error_set(reterr, ERROR_CONFLICT, "state");
}

static bool empty_chunks(struct store *store, const struct recording_row *row, struct error *reterr)
{
    struct query query;
    query_start(&query, store, &statements[CHUNK_EMPTY]);
    query_id(&query, row->id);
    query_text(&query, row->received_on);
    int ignored = 0;
    return query_count(store, &query, &ignored, reterr);
}

bool recording_complete(struct store *store, struct arena *arena, const struct recording_row *row,
                        const struct recording_document *document, const char *analysis_json,
                        struct error *reterr)
{
    const char *events =
        recording_events_text(arena, document->events, document->event_count, reterr);
    const char *conditions =
        events == NULL ? NULL : recording_conditions_text(arena, &document->conditions, reterr);
    int version = 0;
    return conditions != NULL && change_study(store, row, reterr) &&
           set_complete(store, row, document, conditions, &version, reterr) &&
           recording_insert_first_revision(store, row->id, row->received_on, events, analysis_json,
                                           reterr) &&
           samples_store(store, row->id, row->received_on, document, reterr) &&
           empty_chunks(store, row, reterr) &&
           recording_note_change(store, row->id, version, "completed", "", reterr);
}
