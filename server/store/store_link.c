#include "store/store_link.h"

#include "base/uuid.h"
#include "store/cursor.h"
#include "store/query.h"

enum link_statement {
    LINK_STUDY,
    LINK_INSERT,
    LINK_SELECT,
    LINK_LIST,
    LINK_REVOKE,
    LINK_LOOK_UP,
    LINK_ENTER,
    LINK_LOCK,
    LINK_COUNT,
    LINK_STATEMENT_COUNT
};

/* What makes a link l good for nothing; in the order in which a clinic wants to know it. */
#define LINK_STATE                                                                                 \
    "case when l.revoked_at is not null then 'revoked' when l.expires_at <= now() then 'expired'"  \
    " when l.read_count >= l.reads_at_most then 'used_up' else 'valid' end"

#define LINK_COLUMNS                                                                               \
    "l.id, l.study_id, l.purpose, l.label, l.prefix, " LINK_STATE ","                              \
    " coalesce(l.reads_at_most, 0), l.read_count, penstock.unix_us(l.created_at),"                 \
    " penstock.unix_us(l.expires_at), coalesce(penstock.unix_us(l.last_read_at), 0)"

/* A file ($3) that is asked for soon enough after link l was opened. */
#define OF_AN_OPENING "($3::integer = 1 and l.last_read_at > now() - interval '30 minutes')"

/* Requests of one link within an hour that begins with the first of them. */
#define READS_AN_HOUR "60"

static const struct statement statements[] = {
    [LINK_STUDY] = {.name = "link_study",
                    .sql = "select s.status in ('final', 'amended') from penstock.study s"
                           " where s.clinic_id = $1 and s.id = $2"},
    [LINK_INSERT] = {.name = "link_insert",
                     .sql = "insert into penstock.study_link (clinic_id, id, study_id, purpose,"
                            " label, prefix, secret_hash, reads_at_most, expires_at, created_by)"
                            " select $1, $2, s.id, $4, $5, $6, $7, nullif($8::integer, 0), $9, $10"
                            " from penstock.study s where s.clinic_id = $1 and s.id = $3"
                            " and s.status in ('final', 'amended') returning id"},
    [LINK_SELECT] = {.name = "link_select",
                     .sql = "select " LINK_COLUMNS " from penstock.study_link l"
                            " where l.clinic_id = $1 and l.id = $2"},
    [LINK_LIST] = {.name = "link_list",
                   .sql = "select " LINK_COLUMNS " from penstock.study_link l"
                          " where l.clinic_id = $1 and l.study_id = $2"
                          " and (l.created_at, l.id) < ($3, $4)"
                          " order by l.created_at desc, l.id desc limit $5"},
    [LINK_REVOKE] = {.name = "link_revoke",
                     .sql = "update penstock.study_link set revoked_at = now()"
                            " where clinic_id = $1 and id = $2 and revoked_at is null"
                            " returning id"},
    [LINK_LOOK_UP] = {.name = "link_look_up",
                      .sql = "select link_id, study_id, clinic_id, clinic_name, wait_s"
                             " from penstock.link_for_reading($1, $2)"},
    [LINK_ENTER] = {.name = "link_enter",
                    .sql = "select set_config('penstock.link_study', $2, true)"
                           " where $1::uuid is not null"},
    [LINK_LOCK] = {.name = "link_lock",
                   .sql = "select " LINK_STATE " = 'valid' or (" LINK_STATE " = 'used_up' and"
                          " coalesce(" OF_AN_OPENING ", false)),"
                          " case when l.hour_count < " READS_AN_HOUR " then 0 else coalesce("
                          " greatest(0, ceil(extract(epoch from l.hour_began_at"
                          " + interval '1 hour' - now()))), 0) end,"
                          " coalesce(" OF_AN_OPENING ", false)"
                          " from penstock.study_link l"
                          " where l.clinic_id = $1 and l.id = $2 for update"},
    [LINK_COUNT] = {.name = "link_count",
                    .sql = "update penstock.study_link l set"
                           " hour_count = case when l.hour_began_at > now() - interval '1 hour'"
                           " then l.hour_count + 1 else 1 end,"
                           " hour_began_at = case when l.hour_began_at > now() - interval '1 hour'"
                           " then l.hour_began_at else now() end,"
                           " read_count = l.read_count + $3::integer,"
                           " last_read_at = case when $3 > 0 then now() else l.last_read_at end"
                           " where l.clinic_id = $1 and l.id = $2 returning l.id"},
};

const struct statement_table store_link_statements = {statements, LINK_STATEMENT_COUNT};

bool link_create(struct store *store, struct arena *arena, const struct new_link *link,
                 const char **ret_id, struct error *reterr)
{
    char id[UUID_TEXT_SIZE];
    uuid_new(id);
    struct query study;
    query_start(&study, store, &statements[LINK_STUDY]);
    query_id(&study, link->study_id);
    struct query insert;
    query_start(&insert, store, &statements[LINK_INSERT]);
    query_id(&insert, id);
    query_id(&insert, link->study_id);
    query_text(&insert, link->purpose);
    query_text(&insert, link->label);
    query_text(&insert, link->prefix);
    query_bytes(&insert, link->hash, SECRET_HASH_BYTES);
    query_int(&insert, link->reads_at_most);
    query_time(&insert, link->expires_at_us);
    query_text(&insert, query_actor(store));

    struct query *const queries[] = {&study, &insert};
    struct rows rows[2];
    if (!query_run_all(store, queries, 2, rows, reterr)) {
        return error_context(reterr, "create a link");
    }
    bool found = rows[0].count == 1;
    bool created = rows[1].count == 1;
    rows_clear(&rows[0]);
    rows_clear(&rows[1]);
    if (!found) {
        return error_set(reterr, ERROR_NOT_FOUND, "no such study");
    }
    *ret_id = arena_strdup(arena, id);
    return created || error_set(reterr, ERROR_CONFLICT, "the study is not signed");
}

static struct study_link read_link(const struct rows *rows, struct arena *arena, int row)
{
    return (struct study_link){
        .id = rows_text(rows, arena, row, 0),
        .study_id = rows_text(rows, arena, row, 1),
        .purpose = rows_text(rows, arena, row, 2),
        .label = rows_text(rows, arena, row, 3),
        .prefix = rows_text(rows, arena, row, 4),
        .state = rows_text(rows, arena, row, 5),
        .reads_at_most = rows_int(rows, row, 6),
        .read_count = rows_int(rows, row, 7),
        .created_at_us = rows_int64(rows, row, 8),
        .expires_at_us = rows_int64(rows, row, 9),
        .last_read_at_us = rows_int64(rows, row, 10),
    };
}

bool link_get(struct store *store, struct arena *arena, const char *id, struct study_link *ret_link,
              struct error *reterr)
{
    struct query query;
    query_start(&query, store, &statements[LINK_SELECT]);
    query_id(&query, id);
    struct rows rows;
    if (!query_run(store, &query, &rows, reterr)) {
        return error_context(reterr, "get a link");
    }
    bool found = rows.count == 1;
    if (found) {
        *ret_link = read_link(&rows, arena, 0);
    }
    rows_clear(&rows);
    return found || error_set(reterr, ERROR_NOT_FOUND, "no such link");
}

bool link_list(struct store *store, struct arena *arena, const char *study_id,
               const struct store_page *page, struct study_link **ret_items, size_t *ret_count,
               const char **ret_next_cursor, struct error *reterr)
{
    struct cursor cursor = {QUERY_TIME_LAST, "ffffffff-ffff-ffff-ffff-ffffffffffff"};
    if (page->cursor != NULL && !cursor_read(page->cursor, 'l', &cursor, reterr)) {
        return false;
    }
    struct query study;
    query_start(&study, store, &statements[LINK_STUDY]);
    query_id(&study, study_id);
    struct query list;
    query_start(&list, store, &statements[LINK_LIST]);
    query_id(&list, study_id);
    query_time(&list, cursor.position);
    query_text(&list, cursor.id);
    query_int(&list, (int64_t)page->limit + 1);

    struct query *const queries[] = {&study, &list};
    struct rows rows[2];
    if (!query_run_all(store, queries, 2, rows, reterr)) {
        return error_context(reterr, "list links");
    }
    bool found = rows[0].count == 1;
    int count = rows[1].count < page->limit ? rows[1].count : page->limit;
    struct study_link *items = arena_array(arena, (size_t)count, sizeof *items);
    for (int i = 0; i < count; i++) {
        items[i] = read_link(&rows[1], arena, i);
    }
    *ret_next_cursor =
        rows[1].count > page->limit
            ? cursor_write(arena, 'l', items[count - 1].created_at_us, items[count - 1].id)
            : NULL;
    *ret_items = items;
    *ret_count = (size_t)count;
    rows_clear(&rows[0]);
    rows_clear(&rows[1]);
    return found || error_set(reterr, ERROR_NOT_FOUND, "no such study");
}

bool link_revoke(struct store *store, const char *id, struct error *reterr)
{
    struct query query;
    query_start(&query, store, &statements[LINK_REVOKE]);
    query_id(&query, id);
    int revoked = 0;
    if (!query_count(store, &query, &revoked, reterr)) {
        return error_context(reterr, "revoke a link");
    }
    return revoked == 1 || error_set(reterr, ERROR_NOT_FOUND, "no such link");
}

/* ---- reading through one ---- */

bool link_look_up(struct store *store, struct arena *arena,
                  const unsigned char hash[SECRET_HASH_BYTES], const char *client_address,
                  struct link_target *ret_target, int *ret_wait_s, struct error *reterr)
{
    struct query query;
    query_start_alone(&query, &statements[LINK_LOOK_UP]);
    query_bytes(&query, hash, SECRET_HASH_BYTES);
    query_text(&query, client_address);
    struct rows rows;
    if (!query_run(store, &query, &rows, reterr)) {
        return error_context(reterr, "look up a link");
    }
    bool found = rows.count == 1;
    if (found) {
        *ret_wait_s = rows_int(&rows, 0, 4);
        *ret_target = (struct link_target){
            .id = rows_text(&rows, arena, 0, 0),
            .study_id = rows_text(&rows, arena, 0, 1),
            .clinic_id = rows_text(&rows, arena, 0, 2),
            .clinic_name = rows_text(&rows, arena, 0, 3),
        };
    }
    rows_clear(&rows);
    return found || error_set(reterr, ERROR_NOT_FOUND, "no such link");
}

/* Locks the link; whether it may be read, and when.
 * ret_is_open  whether the request belongs to an opening that was counted */
static bool lock_link(struct store *store, const struct link_target *target,
                      enum link_reading reading, int *ret_wait_s, bool *ret_is_open,
                      struct error *reterr)
{
    struct query enter;
    query_start(&enter, store, &statements[LINK_ENTER]);
    query_id(&enter, target->study_id);
    struct query lock;
    query_start(&lock, store, &statements[LINK_LOCK]);
    query_id(&lock, target->id);
    query_int(&lock, reading == LINK_FILE ? 1 : 0);

    struct query *const queries[] = {&enter, &lock};
    struct rows rows[2];
    if (!query_run_all(store, queries, 2, rows, reterr)) {
        return false;
    }
    bool valid = rows[1].count == 1 && rows_bool(&rows[1], 0, 0);
    if (valid) {
        *ret_wait_s = rows_int(&rows[1], 0, 1);
        *ret_is_open = rows_bool(&rows[1], 0, 2);
    }
    rows_clear(&rows[0]);
    rows_clear(&rows[1]);
    return valid || error_set(reterr, ERROR_NOT_FOUND, "the link is over");
}

static bool count_request(struct store *store, const struct link_target *target, bool counts,
                          struct error *reterr)
{
    struct query query;
    query_start(&query, store, &statements[LINK_COUNT]);
    query_id(&query, target->id);
    query_int(&query, counts ? 1 : 0);
    int counted = 0;
    return query_count(store, &query, &counted, reterr) &&
           (counted == 1 || error_set(reterr, ERROR_INTERNAL, "%d links counted", counted));
}

bool link_begin_reading(struct store *store, const struct link_target *target,
                        enum link_reading reading, bool counts, int *ret_wait_s,
                        struct error *reterr)
{
    bool is_open = false;
    if (!store_begin(store, target->clinic_id, NULL, reterr)) {
        return false;
    }
    store_narrow(store, STORE_REACH_LINK);
    bool good = lock_link(store, target, reading, ret_wait_s, &is_open, reterr) &&
                (*ret_wait_s > 0 || count_request(store, target, counts && !is_open, reterr));
    return good || error_context(reterr, "read through a link");
}
