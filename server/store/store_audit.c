#include "store/store_audit.h"

#include "base/uuid.h"
#include "store/connection.h"
#include "store/cursor.h"

#include <inttypes.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum audit_statement {
    AUDIT_APPEND,
    AUDIT_LIST,
    AUDIT_LIST_BY_ACTOR,
    AUDIT_LIST_BY_PATIENT,
    AUDIT_LIST_EMERGENCIES,
    AUDIT_DAYS,
    AUDIT_FIND_PATIENT,
    AUDIT_STATEMENT_COUNT
};

#define LIST_COLUMNS                                                                               \
    "select a.lane, a.number, penstock.unix_us(a.at), a.actor_id, a.actor_name, a.actor_kind,"     \
    " a.actor_roles, a.address, a.request_id, a.action, a.resource, a.what, a.object_type,"        \
    " a.object_id, array_to_string(a.patient_ids, ','), a.emergency, a.status, a.outcome,"         \
    " a.reason, a.detail, encode(a.hash, 'hex')"

/* $2 to $4 the entry that the page begins behind, $5 limit, $6 and $7 from and to, $8 resource,
 * $9 action, $10 outcome, $11 actor, $12 only emergencies. The dates are there for the partitions.
 */
#define LIST_CONDITIONS                                                                            \
    " and (a.recorded_on, a.at, a.lane, a.number) < (($2::timestamptz at time zone 'UTC')::date,"  \
    " $2::timestamptz, $3::smallint, $4::bigint)"                                                  \
    " and a.recorded_on <= ($2::timestamptz at time zone 'UTC')::date"                             \
    " and a.recorded_on >= ($6::timestamptz at time zone 'UTC')::date and a.at >= $6"              \
    " and a.recorded_on <= ($7::timestamptz at time zone 'UTC')::date and a.at < $7"               \
    " and ($8::text is null or a.resource = $8) and ($9::text is null or a.action = $9)"           \
    " and ($10::text is null or a.outcome = $10)"

#define LIST_ACTOR     " and ($11::uuid is null or a.actor_id = $11)"
#define LIST_EMERGENCY " and (not $12::boolean or a.emergency)"

#define LIST_ORDER " order by a.recorded_on desc, a.at desc, a.lane desc, a.number desc limit $5"

static const struct statement statements[] = {
    [AUDIT_APPEND] = {.name = "audit_append",
                      .sql = "select penstock.audit_append($1, $2, $3, $4, $5, $6, $7, $8, $9, $10,"
                             " $11, $12, $13, $14, $15, $16, $17, $18, $19)"},
    [AUDIT_LIST] = {.name = "audit_list",
                    .sql = LIST_COLUMNS
                    " from penstock.audit_entry a where a.clinic_id = $1" LIST_CONDITIONS LIST_ACTOR
                        LIST_EMERGENCY LIST_ORDER},
    [AUDIT_LIST_BY_ACTOR] = {.name = "audit_list_by_actor",
                             .sql = LIST_COLUMNS
                             " from penstock.audit_entry a where a.clinic_id = $1"
                             " and a.actor_id = $11" LIST_CONDITIONS LIST_EMERGENCY LIST_ORDER},
    [AUDIT_LIST_BY_PATIENT] = {.name = "audit_list_by_patient",
                               .sql = LIST_COLUMNS
                               " from penstock.audit_patient_day d join penstock.audit_entry a"
                               " on a.clinic_id = d.clinic_id and a.actor_id = d.actor_id"
                               " and a.recorded_on = d.recorded_on"
                               " where d.clinic_id = $1 and d.patient_id = $13"
                               " and $13::uuid = any (a.patient_ids)" LIST_CONDITIONS LIST_ACTOR
                                   LIST_EMERGENCY LIST_ORDER},
    [AUDIT_LIST_EMERGENCIES] = {.name = "audit_list_emergencies",
                                .sql = LIST_COLUMNS
                                " from penstock.audit_entry a where a.clinic_id = $1"
                                " and a.emergency" LIST_CONDITIONS LIST_ACTOR
                                " and $12::boolean" LIST_ORDER},
    [AUDIT_DAYS] =
        {.name = "audit_days",
         .sql = "select d.recorded_on, d.actor_id, max(a.actor_name), max(a.actor_kind),"
                " bit_or(a.actor_roles),"
                " array_to_string(array_agg(distinct a.address order by a.address), ','),"
                " array_to_string(array_agg(distinct a.action || ' ' || a.resource)"
                " filter (where a.outcome = 'done'), ','),"
                " count(*) filter (where a.outcome = 'done'),"
                " count(*) filter (where a.outcome <> 'done'),"
                " penstock.unix_us(min(a.at)), penstock.unix_us(max(a.at)), bool_or(a.emergency),"
                " d.recorded_on - date '1970-01-01'"
                " from (select p.clinic_id, p.recorded_on, p.actor_id"
                " from penstock.audit_patient_day p"
                " where p.clinic_id = $1 and p.patient_id = $2"
                " and (p.recorded_on, p.actor_id) < (($3::timestamptz at time zone 'UTC')::date, "
                "$4::uuid)"
                " order by p.recorded_on desc, p.actor_id desc limit $5) d"
                " join penstock.audit_entry a on a.clinic_id = d.clinic_id"
                " and a.actor_id = d.actor_id and a.recorded_on = d.recorded_on"
                " and $2::uuid = any (a.patient_ids)"
                " group by d.recorded_on, d.actor_id order by d.recorded_on desc, d.actor_id desc"},
    [AUDIT_FIND_PATIENT] = {.name = "audit_find_patient",
                            .sql = "select p from penstock.audit_patient($1, $2, $3) p"
                                   " where p is not null"},
};

const struct statement_table store_audit_statements = {statements, AUDIT_STATEMENT_COUNT};

/* ---- adding ---- */

bool audit_append(struct store *store, struct arena *arena, const struct new_audit_entry *entry,
                  struct error *reterr)
{
    struct query query;
    if (store->transaction != TRANSACTION_NONE) {
        query_start(&query, store, &statements[AUDIT_APPEND]);
    } else {
        query_start_alone(&query, &statements[AUDIT_APPEND]);
        query_text(&query, entry->clinic_id);
    }
    query_text(&query, entry->actor_id);
    query_text(&query, entry->actor_name);
    query_text(&query, entry->actor_kind);
    query_int(&query, entry->actor_roles);
    query_text(&query, entry->address);
    query_text(&query, entry->request_id);
    query_text(&query, entry->action);
    query_text(&query, entry->resource);
    query_text(&query, entry->what);
    query_text(&query, entry->object_type);
    query_text(&query, entry->object_id);
    query_text(&query, arena_printf(arena, "{%s}", entry->patient_ids));
    query_int(&query, entry->status);
    query_text(&query, entry->reason);
    query_text(&query, entry->detail);
    query_text(&query, entry->credential_kind);
    query_text(&query, entry->credential);
    query_text(&query, entry->keep_unknown ? "true" : "false");
    int ignored = 0;
    return query_count(store, &query, &ignored, reterr) || error_context(reterr, "audit");
}

/* ---- reading ---- */

/* "a,b" as a list; "" and NULL hold nothing. */
static const char **split(struct arena *arena, const char *text, size_t *ret_count)
{
    size_t count = 0;
    for (const char *at = text; at != NULL && *at != '\0'; at += *at == ',') {
        count++;
        at += strcspn(at, ",");
    }
    const char **items = arena_array(arena, count, sizeof *items);
    const char *at = text;
    for (size_t i = 0; i < count; i++) {
        size_t length = strcspn(at, ",");
        items[i] = arena_strndup(arena, at, length);
        at += length + 1;
    }
    *ret_count = count;
    return items;
}

static void read_row(const struct rows *rows, struct arena *arena, int row, struct audit_row *ret)
{
    *ret = (struct audit_row){
        .lane = rows_int(rows, row, 0),
        .number = rows_int64(rows, row, 1),
        .at_us = rows_int64(rows, row, 2),
        .actor_id = rows_text(rows, arena, row, 3),
        .actor_name = rows_text(rows, arena, row, 4),
        .actor_kind = rows_text(rows, arena, row, 5),
        .actor_roles = (unsigned)rows_int(rows, row, 6),
        .address = rows_text(rows, arena, row, 7),
        .request_id = rows_text(rows, arena, row, 8),
        .action = rows_text(rows, arena, row, 9),
        .resource = rows_text(rows, arena, row, 10),
        .what = rows_text(rows, arena, row, 11),
        .object_type = rows_text(rows, arena, row, 12),
        .object_id = rows_text(rows, arena, row, 13),
        .emergency = rows_bool(rows, row, 15),
        .status = rows_int(rows, row, 16),
        .outcome = rows_text(rows, arena, row, 17),
        .reason = rows_text(rows, arena, row, 18),
        .detail = rows_text(rows, arena, row, 19),
        .hash = rows_text(rows, arena, row, 20),
    };
    ret->patient_ids = split(arena, rows_text(rows, arena, row, 14), &ret->patient_count);
}

/* The place of an entry in a cursor: lane and number in the digits of an id. */
static const char *place_id(struct arena *arena, const struct audit_row *row)
{
    uint64_t number = (uint64_t)row->number;
    return arena_printf(arena, "%08x-0000-0000-%04x-%012" PRIx64, (unsigned)row->lane,
                        (unsigned)(number >> 48), number & UINT64_C(0xffffffffffff));
}

struct place {
    int64_t at_us;
    int64_t lane;
    int64_t number;
};

static bool read_place(const char *cursor, struct place *ret_place, struct error *reterr)
{
    struct cursor read;
    *ret_place = (struct place){QUERY_TIME_LAST, INT16_MAX, INT64_MAX};
    if (cursor == NULL) {
        return true;
    }
    if (!cursor_read(cursor, 'e', &read, reterr)) {
        return false;
    }
    uint64_t lane = strtoull(read.id, NULL, 16);
    uint64_t high = strtoull(read.id + 19, NULL, 16);
    uint64_t low = strtoull(read.id + 24, NULL, 16);
    if (lane > INT16_MAX || high > INT16_MAX) {
        return error_set(reterr, ERROR_INVALID, "cursor");
    }
    *ret_place = (struct place){read.position, (int64_t)lane, (int64_t)(high << 48 | low)};
    return true;
}

static void start_list(struct query *query, const struct store *store,
                       const struct audit_filter *filter)
{
    enum audit_statement chosen = AUDIT_LIST;
    if (filter->patient_id != NULL) {
        chosen = AUDIT_LIST_BY_PATIENT;
    } else if (filter->emergency) {
        chosen = AUDIT_LIST_EMERGENCIES;
    } else if (filter->actor_id != NULL) {
        chosen = AUDIT_LIST_BY_ACTOR;
    }
    query_start(query, store, &statements[chosen]);
}

static void add_conditions(struct query *query, const struct audit_filter *filter,
                           const struct place *place, int limit)
{
    query_time(query, place->at_us);
    query_int(query, place->lane);
    query_int(query, place->number);
    query_int(query, limit);
    query_time(query, filter->from_us == 0 ? QUERY_TIME_FIRST : filter->from_us);
    query_time(query, filter->to_us == 0 ? QUERY_TIME_LAST : filter->to_us);
    query_text(query, filter->resource);
    query_text(query, filter->action);
    query_text(query, filter->outcome);
    query_text(query, filter->actor_id);
    query_text(query, filter->emergency ? "true" : "false");
    if (filter->patient_id != NULL) {
        query_id(query, filter->patient_id);
    }
}

bool audit_list(struct store *store, struct arena *arena, const struct audit_filter *filter,
                const struct store_page *page, struct audit_row **ret_items, size_t *ret_count,
                const char **ret_next_cursor, struct error *reterr)
{
    struct place place;
    if (!read_place(page->cursor, &place, reterr)) {
        return false;
    }
    struct query query;
    start_list(&query, store, filter);
    add_conditions(&query, filter, &place, page->limit + 1);
    struct rows rows;
    if (!query_run(store, &query, &rows, reterr)) {
        return error_context(reterr, "list the audit");
    }
    int count = rows.count < page->limit ? rows.count : page->limit;
    struct audit_row *items = arena_array(arena, (size_t)count, sizeof *items);
    for (int i = 0; i < count; i++) {
        read_row(&rows, arena, i, &items[i]);
    }
    *ret_next_cursor = rows.count > page->limit ? cursor_write(arena, 'e', items[count - 1].at_us,
                                                               place_id(arena, &items[count - 1]))
                                                : NULL;
    *ret_items = items;
    *ret_count = (size_t)count;
    rows_clear(&rows);
    return true;
}

/* ---- who has looked ---- */

static void read_day(const struct rows *rows, struct arena *arena, int row, struct audit_day *ret)
{
    *ret = (struct audit_day){
        .day = rows_text(rows, arena, row, 0),
        .actor_id = rows_text(rows, arena, row, 1),
        .actor_name = rows_text(rows, arena, row, 2),
        .actor_kind = rows_text(rows, arena, row, 3),
        .actor_roles = (unsigned)rows_int(rows, row, 4),
        .done = rows_int(rows, row, 7),
        .refused = rows_int(rows, row, 8),
        .first_us = rows_int64(rows, row, 9),
        .last_us = rows_int64(rows, row, 10),
        .emergency = rows_bool(rows, row, 11),
    };
    ret->addresses = split(arena, rows_text(rows, arena, row, 5), &ret->address_count);
    ret->kinds = split(arena, rows_text(rows, arena, row, 6), &ret->kind_count);
}

static const int64_t DAY_US = INT64_C(86400000000);

bool audit_days(struct store *store, struct arena *arena, const char *patient_id,
                const struct store_page *page, struct audit_day **ret_items, size_t *ret_count,
                const char **ret_next_cursor, struct error *reterr)
{
    struct cursor cursor = {QUERY_TIME_LAST, "ffffffff-ffff-ffff-ffff-ffffffffffff"};
    if (page->cursor != NULL && !cursor_read(page->cursor, 'd', &cursor, reterr)) {
        return false;
    }
    struct query query;
    query_start(&query, store, &statements[AUDIT_DAYS]);
    query_id(&query, patient_id);
    query_time(&query, cursor.position);
    query_text(&query, cursor.id);
    query_int(&query, (int64_t)page->limit + 1);
    struct rows rows;
    if (!query_run(store, &query, &rows, reterr)) {
        return error_context(reterr, "list who has looked");
    }
    int count = rows.count < page->limit ? rows.count : page->limit;
    struct audit_day *items = arena_array(arena, (size_t)count, sizeof *items);
    for (int i = 0; i < count; i++) {
        read_day(&rows, arena, i, &items[i]);
    }
    *ret_next_cursor = rows.count > page->limit
                           ? cursor_write(arena, 'd', rows_int64(&rows, count - 1, 12) * DAY_US,
                                          items[count - 1].actor_id)
                           : NULL;
    *ret_items = items;
    *ret_count = (size_t)count;
    rows_clear(&rows);
    return true;
}

bool audit_find_patient(struct store *store, struct arena *arena, const char *mrn, const char *id,
                        const char **ret_id, struct error *reterr)
{
    struct query query;
    query_start(&query, store, &statements[AUDIT_FIND_PATIENT]);
    query_text(&query, mrn);
    query_text(&query, id);
    struct rows rows;
    if (!query_run(store, &query, &rows, reterr)) {
        return error_context(reterr, "find a patient");
    }
    bool found = rows.count == 1;
    if (found) {
        *ret_id = rows_text(&rows, arena, 0, 0);
    }
    rows_clear(&rows);
    return found || error_set(reterr, ERROR_NOT_FOUND, "no such patient");
}
