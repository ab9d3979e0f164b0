#include "store/store_device.h"

#include "base/uuid.h"
#include "store/cursor.h"
#include "store/query.h"

#include <string.h>

enum device_statement {
    DEVICE_INSERT,
    DEVICE_INSERT_PLACE,
    DEVICE_SELECT,
    DEVICE_UPDATE,
    DEVICE_EXISTS,
    DEVICE_LIST,
    DEVICE_LIST_FOR_STUDY,
    DEVICE_VERIFICATION_INSERT,
    DEVICE_VERIFICATION_SELECT,
    DEVICE_VERIFICATION_LIST,
    DEVICE_STATEMENT_COUNT
};

enum { SIGNALS_SIZE = 1024 };

#define VERIFICATION_COLUMNS                                                                       \
    "v.id, v.device_id, penstock.unix_us(v.verified_at), penstock.unix_us(v.recorded_at),"         \
    " v.verified_by, v.method, v.remarks, v.verdict, v.words, v.judgement"

/* When the next check is due, by the interval of the place. */
#define DUE_AT "(v.verified_at + l.due_every_days * interval '24 hours')"

enum { VERIFICATION_FIRST = 15 }; /* the column at which the last check begins */

/* A device, its place and its last check as they were at a moment, an SQL expression. */
#define DEVICES_AT(moment)                                                                         \
    "select d.id, d.kind, d.name, d.maker, d.serial, array_to_string(d.signals, ' '), d.limits,"   \
    " d.version, l.room, l.in_use, coalesce(l.due_every_days, 0), penstock.unix_us(l.from_at),"    \
    " coalesce(penstock.unix_us" DUE_AT ", 0),"                                                    \
    " coalesce(v.verdict = 'passed', false),"                                                      \
    " coalesce(" DUE_AT " < least(" moment ", now()), false), " VERIFICATION_COLUMNS               \
    " from penstock.device d"                                                                      \
    " cross join lateral (select * from penstock.device_place p"                                   \
    " where p.clinic_id = d.clinic_id and p.device_id = d.id and p.from_at <= " moment             \
    " order by p.number desc limit 1) l"                                                           \
    " left join lateral (select * from penstock.device_verification w"                             \
    " where w.clinic_id = d.clinic_id and w.device_id = d.id and w.verified_at <= " moment         \
    " order by w.verified_at desc, w.recorded_at desc, w.id desc limit 1) v on true"               \
    " where d.clinic_id = $1"

static const struct statement statements[] = {
    [DEVICE_INSERT] = {.name = "device_insert",
                       .sql = "insert into penstock.device (clinic_id, id, kind, name, maker,"
                              " serial, signals, limits, created_by) values ($1, $2, $3, $4,"
                              " coalesce($5, ''), coalesce($6, ''), $7, coalesce($8::json, '{}'),"
                              " $9) on conflict do nothing returning id"},
    [DEVICE_INSERT_PLACE] = {.name = "device_insert_place",
                             .sql = "insert into penstock.device_place (clinic_id, device_id,"
                                    " number, from_at, room, in_use, due_every_days, recorded_by)"
                                    " values ($1, $2, 1, $3, $4, $5::integer = 1,"
                                    " nullif($6::integer, 0), $7) returning number"},
    [DEVICE_SELECT] = {.name = "device_select",
                       .sql = DEVICES_AT("timestamptz 'infinity'") " and d.id = $2"},
    /* Whoever changes the device holds its row, so that numbers of places have no gaps. */
    [DEVICE_UPDATE] =
        {.name = "device_update",
         .sql = "with changed as (update penstock.device d set name = $4,"
                " maker = coalesce($5, ''), serial = coalesce($6, ''), signals = $7,"
                " limits = coalesce($8::json, '{}'), version = d.version + 1"
                " where d.clinic_id = $1 and d.id = $2 and d.version = $3"
                " returning d.clinic_id, d.id),"
                " current as (select p.* from penstock.device_place p"
                " where p.clinic_id = $1 and p.device_id = $2 order by p.number desc limit 1),"
                " placed as (insert into penstock.device_place (clinic_id, device_id, number,"
                " from_at, room, in_use, due_every_days, recorded_by)"
                " select c.clinic_id, c.id, l.number + 1, $9, $10, $11::integer = 1,"
                " nullif($12::integer, 0), $13 from changed c, current l"
                " where (l.from_at, l.room, l.in_use, l.due_every_days) is distinct from"
                " ($9::timestamptz, $10, $11::integer = 1, nullif($12::integer, 0)))"
                " select id from changed"},
    [DEVICE_EXISTS] = {.name = "device_exists",
                       .sql = "select from penstock.device where clinic_id = $1 and id = $2"},
    [DEVICE_LIST] = {.name = "device_list",
                     .sql = DEVICES_AT("timestamptz 'infinity'") //
                     " and ($2::uuid is null or (d.name, d.id) > (select c.name, c.id"
                     " from penstock.device c where c.clinic_id = $1 and c.id = $2))"
                     " and ($4::text is null or l.room = $4)"
                     " and ($5::integer is null or l.in_use = ($5 = 1))"
                     " order by d.name, d.id limit $3"},
    [DEVICE_LIST_FOR_STUDY] = {.name = "device_list_for_study",
                               .sql = DEVICES_AT("$2") " and l.room = $3 and l.in_use"
                                                       " order by d.kind, d.name, d.id"},
    [DEVICE_VERIFICATION_INSERT] =
        {.name = "device_verification_insert",
         .sql = "insert into penstock.device_verification (clinic_id, id, device_id, verified_at,"
                " verified_by, method, remarks, verdict, words, judgement, recorded_by)"
                " select $1, $2, d.id, $4, $5, coalesce($6, ''), coalesce($7, ''), $8, $9, $10,"
                " $11 from penstock.device d where d.clinic_id = $1 and d.id = $3"
                " on conflict do nothing returning id"},
    [DEVICE_VERIFICATION_SELECT] = {.name = "device_verification_select",
                                    .sql = "select " VERIFICATION_COLUMNS
                                           " from penstock.device_verification v"
                                           " where v.clinic_id = $1 and v.id = $2"},
    [DEVICE_VERIFICATION_LIST] = {.name = "device_verification_list",
                                  .sql = "select " VERIFICATION_COLUMNS
                                         " from penstock.device_verification v"
                                         " where v.clinic_id = $1 and v.device_id = $2"
                                         " and (v.verified_at, v.id) < ($3, $4)"
                                         " order by v.verified_at desc, v.id desc limit $5"},
};

const struct statement_table store_device_statements = {statements, DEVICE_STATEMENT_COUNT};

/* ---- devices ---- */

/* As an array of PostgreSQL; names of signals need no quotes. */
static const char *signal_array(const struct device *device, char out[SIGNALS_SIZE])
{
    size_t length = 0;
    out[length++] = '{';
    for (int i = 0; i < SIGNAL_COUNT; i++) {
        const char *name = signal_name((enum signal_kind)i);
        size_t size = strlen(name);
        if (device->signals[i] && length + size + 2 < SIGNALS_SIZE) {
            if (length > 1) {
                out[length++] = ',';
            }
            memcpy(out + length, name, size);
            length += size;
        }
    }
    out[length++] = '}';
    out[length] = '\0';
    return out;
}

/* Name to limits: five parameters of insert and update. */
static void add_description(struct query *query, const struct device *device, const char *signals)
{
    query_text(query, device->name);
    query_text(query, device->maker);
    query_text(query, device->serial);
    query_text(query, signals);
    query_text(query, device->limits_json);
}

static void add_place(struct query *query, const struct store *store, const struct device *device)
{
    query_time(query, device->since_us);
    query_text(query, device->room);
    query_int(query, device->in_use ? 1 : 0);
    query_int(query, device->due_every_days);
    query_text(query, query_actor(store));
}

bool device_create(struct store *store, struct arena *arena, const struct device *device,
                   const char **ret_id, struct error *reterr)
{
    char id[UUID_TEXT_SIZE];
    char signals[SIGNALS_SIZE];
    uuid_new(id);
    const char *chosen = device->id != NULL ? device->id : id;
    if (!uuid_is_valid(chosen)) {
        return error_set(reterr, ERROR_INVALID, "id");
    }
    struct query insert;
    query_start(&insert, store, &statements[DEVICE_INSERT]);
    query_id(&insert, chosen);
    query_text(&insert, equipment_kind_name(device->kind));
    add_description(&insert, device, signal_array(device, signals));
    query_text(&insert, query_actor(store));
    int inserted = 0;
    if (!query_count(store, &insert, &inserted, reterr)) {
        return error_context(reterr, "create a device");
    }
    if (inserted == 0) {
        return error_set(reterr, ERROR_CONFLICT, "id");
    }
    struct query place;
    query_start(&place, store, &statements[DEVICE_INSERT_PLACE]);
    query_id(&place, chosen);
    add_place(&place, store, device);
    if (!query_count(store, &place, &inserted, reterr)) {
        return error_context(reterr, "place a device");
    }
    *ret_id = arena_strdup(arena, chosen);
    return true;
}

static struct device_verification read_verification(const struct rows *rows, struct arena *arena,
                                                    int row, int first)
{
    return (struct device_verification){
        .id = rows_text(rows, arena, row, first),
        .device_id = rows_text(rows, arena, row, first + 1),
        .verified_at_us = rows_int64(rows, row, first + 2),
        .recorded_at_us = rows_int64(rows, row, first + 3),
        .verified_by = rows_text(rows, arena, row, first + 4),
        .method = rows_text(rows, arena, row, first + 5),
        .remarks = rows_text(rows, arena, row, first + 6),
        .verdict = equipment_verdict_from_name(rows_text(rows, arena, row, first + 7)),
        .words = rows_text(rows, arena, row, first + 8),
        .judgement_json = rows_text(rows, arena, row, first + 9),
    };
}

static void read_signals(const char *names, struct arena *arena, bool signals[SIGNAL_COUNT])
{
    char *rest = NULL;
    for (const char *name = strtok_r(arena_strdup(arena, names), " ", &rest); name != NULL;
         name = strtok_r(NULL, " ", &rest)) {
        enum signal_kind signal = signal_from_name(name);
        if (signal != SIGNAL_NONE) {
            signals[signal] = true;
        }
    }
}

static void read_device(const struct rows *rows, struct arena *arena, int row,
                        struct device *device)
{
    *device = (struct device){
        .id = rows_text(rows, arena, row, 0),
        .kind = equipment_kind_from_name(rows_text(rows, arena, row, 1)),
        .name = rows_text(rows, arena, row, 2),
        .maker = rows_text(rows, arena, row, 3),
        .serial = rows_text(rows, arena, row, 4),
        .limits_json = rows_text(rows, arena, row, 6),
        .version = rows_int(rows, row, 7),
        .room = rows_text(rows, arena, row, 8),
        .in_use = rows_bool(rows, row, 9),
        .due_every_days = rows_int(rows, row, 10),
        .since_us = rows_int64(rows, row, 11),
        .due_at_us = rows_int64(rows, row, 12),
        .passed = rows_bool(rows, row, 13),
        .overdue = rows_bool(rows, row, 14),
    };
    read_signals(rows_text(rows, arena, row, 5), arena, device->signals);
    if (rows_text(rows, arena, row, VERIFICATION_FIRST) != NULL) {
        struct device_verification *last = arena_array(arena, 1, sizeof *last);
        *last = read_verification(rows, arena, row, VERIFICATION_FIRST);
        device->last = last;
    }
}

static struct device *read_devices(const struct rows *rows, struct arena *arena, int count)
{
    struct device *items = arena_array(arena, (size_t)count, sizeof *items);
    for (int i = 0; i < count; i++) {
        read_device(rows, arena, i, &items[i]);
    }
    return items;
}

bool device_get(struct store *store, struct arena *arena, const char *id, struct device *ret_device,
                struct error *reterr)
{
    struct query query;
    query_start(&query, store, &statements[DEVICE_SELECT]);
    query_id(&query, id);
    struct rows rows;
    if (!query_run(store, &query, &rows, reterr)) {
        return error_context(reterr, "get a device");
    }
    bool found = rows.count == 1;
    if (found) {
        read_device(&rows, arena, 0, ret_device);
    }
    rows_clear(&rows);
    return found || error_set(reterr, ERROR_NOT_FOUND, "no such device");
}

bool device_update(struct store *store, const struct device *device, struct error *reterr)
{
    char signals[SIGNALS_SIZE];
    struct query update;
    query_start(&update, store, &statements[DEVICE_UPDATE]);
    query_id(&update, device->id);
    query_int(&update, device->version);
    add_description(&update, device, signal_array(device, signals));
    add_place(&update, store, device);
    struct query exists;
    query_start(&exists, store, &statements[DEVICE_EXISTS]);
    query_id(&exists, device->id);

    struct query *const queries[] = {&update, &exists};
    struct rows rows[2];
    if (!query_run_all(store, queries, 2, rows, reterr)) {
        return error_context(reterr, "change a device");
    }
    bool changed = rows[0].count == 1;
    bool found = rows[1].count == 1;
    rows_clear(&rows[0]);
    rows_clear(&rows[1]);
    if (changed) {
        return true;
    }
    return found ? error_set(reterr, ERROR_STALE, "the device has another version")
                 : error_set(reterr, ERROR_NOT_FOUND, "no such device");
}

bool device_list(struct store *store, struct arena *arena, const struct device_filter *filter,
                 const struct store_page *page, struct device **ret_items, size_t *ret_count,
                 const char **ret_next_cursor, struct error *reterr)
{
    struct cursor cursor;
    if (page->cursor != NULL && !cursor_read(page->cursor, 'q', &cursor, reterr)) {
        return false;
    }
    struct query query;
    query_start(&query, store, &statements[DEVICE_LIST]);
    query_text(&query, page->cursor != NULL ? cursor.id : NULL);
    query_int(&query, (int64_t)page->limit + 1);
    query_text(&query, filter->room);
    query_optional(&query, (struct optional_number){filter->by_in_use, filter->in_use ? 1.0 : 0.0});
    struct rows rows;
    if (!query_run(store, &query, &rows, reterr)) {
        return error_context(reterr, "list devices");
    }
    int count = rows.count < page->limit ? rows.count : page->limit;
    struct device *items = read_devices(&rows, arena, count);
    *ret_next_cursor =
        rows.count > page->limit ? cursor_write(arena, 'q', 0, items[count - 1].id) : NULL;
    *ret_items = items;
    *ret_count = (size_t)count;
    rows_clear(&rows);
    return true;
}

bool device_list_for_study(struct store *store, struct arena *arena, const char *room,
                           int64_t at_us, struct device **ret_items, size_t *ret_count,
                           struct error *reterr)
{
    struct query query;
    query_start(&query, store, &statements[DEVICE_LIST_FOR_STUDY]);
    query_time(&query, at_us);
    query_text(&query, room);
    struct rows rows;
    if (!query_run(store, &query, &rows, reterr)) {
        return error_context(reterr, "list a room's devices");
    }
    *ret_items = read_devices(&rows, arena, rows.count);
    *ret_count = (size_t)rows.count;
    rows_clear(&rows);
    return true;
}

/* ---- checks ---- */

bool device_verification_create(struct store *store, struct arena *arena,
                                const struct device_verification *verification, const char **ret_id,
                                struct error *reterr)
{
    char id[UUID_TEXT_SIZE];
    uuid_new(id);
    const char *chosen = verification->id != NULL ? verification->id : id;
    if (!uuid_is_valid(chosen)) {
        return error_set(reterr, ERROR_INVALID, "id");
    }
    struct query device;
    query_start(&device, store, &statements[DEVICE_EXISTS]);
    query_id(&device, verification->device_id);
    struct query insert;
    query_start(&insert, store, &statements[DEVICE_VERIFICATION_INSERT]);
    query_id(&insert, chosen);
    query_id(&insert, verification->device_id);
    query_time(&insert, verification->verified_at_us);
    query_text(&insert, verification->verified_by);
    query_text(&insert, verification->method);
    query_text(&insert, verification->remarks);
    query_text(&insert, equipment_verdict_name(verification->verdict));
    query_text(&insert, verification->words);
    query_text(&insert, verification->judgement_json);
    query_text(&insert, query_actor(store));

    struct query *const queries[] = {&device, &insert};
    struct rows rows[2];
    if (!query_run_all(store, queries, 2, rows, reterr)) {
        return error_context(reterr, "keep a check of a device");
    }
    bool found = rows[0].count == 1;
    bool inserted = rows[1].count == 1;
    rows_clear(&rows[0]);
    rows_clear(&rows[1]);
    if (!found) {
        return error_set(reterr, ERROR_NOT_FOUND, "no such device");
    }
    *ret_id = arena_strdup(arena, chosen);
    return inserted || error_set(reterr, ERROR_CONFLICT, "id");
}

bool device_verification_get(struct store *store, struct arena *arena, const char *id,
                             struct device_verification *ret_verification, struct error *reterr)
{
    struct query query;
    query_start(&query, store, &statements[DEVICE_VERIFICATION_SELECT]);
    query_id(&query, id);
    struct rows rows;
    if (!query_run(store, &query, &rows, reterr)) {
        return error_context(reterr, "get a check of a device");
    }
    bool found = rows.count == 1;
    if (found) {
        *ret_verification = read_verification(&rows, arena, 0, 0);
    }
    rows_clear(&rows);
    return found || error_set(reterr, ERROR_NOT_FOUND, "no such check");
}

bool device_verification_list(struct store *store, struct arena *arena, const char *device_id,
                              const struct store_page *page, struct device_verification **ret_items,
                              size_t *ret_count, const char **ret_next_cursor, struct error *reterr)
{
    struct cursor cursor = {QUERY_TIME_LAST, "ffffffff-ffff-ffff-ffff-ffffffffffff"};
    if (page->cursor != NULL && !cursor_read(page->cursor, 'v', &cursor, reterr)) {
        return false;
    }
    struct query device;
    query_start(&device, store, &statements[DEVICE_EXISTS]);
    query_id(&device, device_id);
    struct query list;
    query_start(&list, store, &statements[DEVICE_VERIFICATION_LIST]);
    query_id(&list, device_id);
    query_time(&list, cursor.position);
    query_text(&list, cursor.id);
    query_int(&list, (int64_t)page->limit + 1);

    struct query *const queries[] = {&device, &list};
    struct rows rows[2];
    if (!query_run_all(store, queries, 2, rows, reterr)) {
        return error_context(reterr, "list checks of a device");
    }
    bool found = rows[0].count == 1;
    int count = rows[1].count < page->limit ? rows[1].count : page->limit;
    struct device_verification *items = arena_array(arena, (size_t)count, sizeof *items);
    for (int i = 0; i < count; i++) {
        items[i] = read_verification(&rows[1], arena, i, 0);
    }
    *ret_next_cursor =
        rows[1].count > page->limit
            ? cursor_write(arena, 'v', items[count - 1].verified_at_us, items[count - 1].id)
            : NULL;
    *ret_items = items;
    *ret_count = (size_t)count;
    rows_clear(&rows[0]);
    rows_clear(&rows[1]);
    return found || error_set(reterr, ERROR_NOT_FOUND, "no such device");
}
