#include "store/store_study.h"

#include "base/uuid.h"
#include "store/cursor.h"
#include "store/patient_name.h"

#include <string.h>

enum study_statement {
    STUDY_INSERT,
    STUDY_PATIENT,
    STUDY_SELECT,
    STUDY_UPDATE,
    STUDY_EXISTS,
    STUDY_LIST,
    STUDY_LIST_OF_PATIENT,
    STUDY_LIST_OF_ROOM,
    STUDY_LIST_SIGNED,
    STUDY_STATEMENT_COUNT
};

#define STUDY_COLUMNS                                                                              \
    "s.id, s.patient_id, s.room, penstock.unix_us(s.started_at), s.operator_name, s.position,"     \
    " s.catheters, s.history, s.status, s.version,"                                                \
    " (select count(*) from penstock.recording r"                                                  \
    " where r.clinic_id = s.clinic_id and r.study_id = s.id and r.state <> 'withdrawn'),"          \
    " (select count(*) from penstock.recording r"                                                  \
    " where r.clinic_id = s.clinic_id and r.study_id = s.id and r.state = 'open')"

/* $2, $3 from and to; $4, $5 cursor; $6 limit; $7 status */
#define STUDY_LIST_BEGIN                                                                           \
    "select " STUDY_COLUMNS ", p.family_name || ', ' || p.given_name, p.mrn"                       \
    " from penstock.study s"                                                                       \
    " join penstock.patient p on p.clinic_id = s.clinic_id and p.id = s.patient_id"                \
    " where s.clinic_id = $1 and s.started_at >= $2 and s.started_at < $3"                         \
    " and (s.started_at, s.id) < ($4, $5) and ($7::text is null or s.status = $7)"

#define STUDY_LIST_END " order by s.started_at desc, s.id desc limit $6"

static const struct statement statements[] = {
    [STUDY_INSERT] = {.name = "study_insert",
                      .sql = "insert into penstock.study (clinic_id, id, patient_id, room,"
                             " started_at, operator_name, position, catheters, history, status,"
                             " created_by) select $1, $2, p.id, $4, $5, coalesce($6, ''),"
                             " coalesce($7, ''), coalesce($8, ''), coalesce($9::json, '{}'),"
                             " coalesce($10, 'registered'), $11 from penstock.patient p"
                             " where p.clinic_id = $1 and p.id = $3"
                             " on conflict do nothing returning id"},
    [STUDY_PATIENT] = {.name = "study_patient",
                       .sql = "select from penstock.patient where clinic_id = $1 and id = $2"},
    [STUDY_SELECT] = {.name = "study_select",
                      .sql = "select " STUDY_COLUMNS " from penstock.study s"
                             " where s.clinic_id = $1 and s.id = $2"},
    [STUDY_UPDATE] = {.name = "study_update",
                      .sql = "update penstock.study s set room = $4, started_at = $5,"
                             " operator_name = coalesce($6, ''), position = coalesce($7, ''),"
                             " catheters = coalesce($8, ''), history = coalesce($9::json, '{}'),"
                             " status = $10, version = s.version + 1"
                             " where s.clinic_id = $1 and s.id = $2 and s.version = $3"
                             " returning s.version"},
    [STUDY_EXISTS] = {.name = "study_exists",
                      .sql = "select from penstock.study where clinic_id = $1 and id = $2"},
    [STUDY_LIST] = {.name = "study_list", .sql = STUDY_LIST_BEGIN STUDY_LIST_END},
    [STUDY_LIST_OF_PATIENT] = {.name = "study_list_of_patient",
                               .sql = STUDY_LIST_BEGIN
                               " and s.patient_id = $8"
                               " and ($9::text is null or s.room = $9)" STUDY_LIST_END},
    [STUDY_LIST_OF_ROOM] = {.name = "study_list_of_room",
                            .sql = STUDY_LIST_BEGIN " and s.room = $8" STUDY_LIST_END},
    [STUDY_LIST_SIGNED] = {.name = "study_list_signed",
                           .sql = STUDY_LIST_BEGIN
                           " and s.status in ('final', 'amended')" STUDY_LIST_END},
};

const struct statement_table store_study_statements = {statements, STUDY_STATEMENT_COUNT};

/* Room to status: seven parameters of insert and update. */
bool study_status_is_signed(const char *status)
{
    return strcmp(status, "final") == 0 || strcmp(status, "amended") == 0;
}

static void add_study(struct query *query, const struct study *study)
{
    query_text(query, study->room);
    query_time(query, study->started_at_us);
    query_text(query, study->operator_name);
    query_text(query, study->position);
    query_text(query, study->catheters);
    query_text(query, study->history);
    query_text(query, study->status);
}

bool study_create(struct store *store, struct arena *arena, const struct study *study,
                  const char **ret_id, struct error *reterr)
{
    char id[UUID_TEXT_SIZE];
    uuid_new(id);
    const char *chosen = study->id != NULL ? study->id : id;
    if (!uuid_is_valid(chosen) || !uuid_is_valid(study->patient_id)) {
        return error_set(reterr, ERROR_INVALID, "%s", uuid_is_valid(chosen) ? "patient_id" : "id");
    }
    struct query insert;
    query_start(&insert, store, &statements[STUDY_INSERT]);
    query_id(&insert, chosen);
    query_id(&insert, study->patient_id);
    add_study(&insert, study);
    query_text(&insert, query_actor(store));
    struct query patient;
    query_start(&patient, store, &statements[STUDY_PATIENT]);
    query_id(&patient, study->patient_id);

    struct query name;
    patient_name_query(&name, store, study->patient_id);

    struct query *const queries[] = {&name, &insert, &patient};
    struct rows rows[3];
    if (!query_run_all(store, queries, 3, rows, reterr)) {
        return error_context(reterr, "create a study");
    }
    bool inserted = rows[1].count == 1;
    bool patient_found = rows[2].count == 1;
    for (int i = 0; i < 3; i++) {
        rows_clear(&rows[i]);
    }
    if (!patient_found) {
        return error_set(reterr, ERROR_INVALID, "patient_id");
    }
    if (!inserted) {
        return error_set(reterr, ERROR_CONFLICT, "id");
    }
    *ret_id = arena_strdup(arena, chosen);
    return true;
}

static void read_study(const struct rows *rows, struct arena *arena, int row, struct study *study)
{
    *study = (struct study){
        .id = rows_text(rows, arena, row, 0),
        .patient_id = rows_text(rows, arena, row, 1),
        .room = rows_text(rows, arena, row, 2),
        .started_at_us = rows_int64(rows, row, 3),
        .operator_name = rows_text(rows, arena, row, 4),
        .position = rows_text(rows, arena, row, 5),
        .catheters = rows_text(rows, arena, row, 6),
        .history = rows_text(rows, arena, row, 7),
        .status = rows_text(rows, arena, row, 8),
        .version = rows_int(rows, row, 9),
        .recording_count = rows_int(rows, row, 10),
        .open_recording_count = rows_int(rows, row, 11),
    };
}

bool study_get(struct store *store, struct arena *arena, const char *id, struct study *ret_study,
               struct error *reterr)
{
    struct query query;
    query_start(&query, store, &statements[STUDY_SELECT]);
    query_id(&query, id);
    struct rows rows;
    if (!query_run(store, &query, &rows, reterr)) {
        return error_context(reterr, "get a study");
    }
    bool found = rows.count == 1;
    if (found) {
        read_study(&rows, arena, 0, ret_study);
    }
    rows_clear(&rows);
    return found || error_set(reterr, ERROR_NOT_FOUND, "no such study");
}

bool study_update(struct store *store, const struct study *study, struct error *reterr)
{
    struct query update;
    query_start(&update, store, &statements[STUDY_UPDATE]);
    query_id(&update, study->id);
    query_int(&update, study->version);
    add_study(&update, study);
    struct query exists;
    query_start(&exists, store, &statements[STUDY_EXISTS]);
    query_id(&exists, study->id);

    struct query *const queries[] = {&update, &exists};
    struct rows rows[2];
    if (!query_run_all(store, queries, 2, rows, reterr)) {
        return reterr->kind == ERROR_CONFLICT ? false : error_context(reterr, "change a study");
    }
    bool changed = rows[0].count == 1;
    bool found = rows[1].count == 1;
    rows_clear(&rows[0]);
    rows_clear(&rows[1]);
    if (!found) {
        return error_set(reterr, ERROR_NOT_FOUND, "no such study");
    }
    return changed || error_set(reterr, ERROR_STALE, "the study has another version");
}

/* One statement for each leading filter, so that each has a plan that walks the right index. */
static void add_filter(struct query *query, const struct store *store,
                       const struct study_filter *filter, int limit, const struct cursor *after)
{
    enum study_statement chosen = STUDY_LIST;
    if (filter->patient_id != NULL) {
        chosen = STUDY_LIST_OF_PATIENT;
    } else if (filter->room != NULL) {
        chosen = STUDY_LIST_OF_ROOM;
    } else if (filter->signed_only) {
        chosen = STUDY_LIST_SIGNED;
    }
    query_start(query, store, &statements[chosen]);
    query_time(query, filter->from_us != 0 ? filter->from_us : QUERY_TIME_FIRST);
    query_time(query, filter->to_us != 0 ? filter->to_us : QUERY_TIME_LAST);
    query_time(query, after->position);
    query_text(query, after->id);
    query_int(query, (int64_t)limit + 1);
    query_text(query, filter->status);
    if (filter->patient_id != NULL) {
        query_text(query, filter->patient_id);
    }
    if (chosen == STUDY_LIST_OF_PATIENT || chosen == STUDY_LIST_OF_ROOM) {
        query_text(query, filter->room);
    }
}

bool study_list(struct store *store, struct arena *arena, const struct study_filter *filter,
                const struct store_page *page, struct study **ret_items, size_t *ret_count,
                const char **ret_next_cursor, struct error *reterr)
{
    struct cursor cursor = {QUERY_TIME_LAST, "ffffffff-ffff-ffff-ffff-ffffffffffff"};
    if (page->cursor != NULL && !cursor_read(page->cursor, 's', &cursor, reterr)) {
        return false;
    }
    if (filter->patient_id != NULL && !uuid_is_valid(filter->patient_id)) {
        return error_set(reterr, ERROR_INVALID, "patient_id");
    }
    struct query query;
    add_filter(&query, store, filter, page->limit, &cursor);
    struct rows rows;
    if (!query_run(store, &query, &rows, reterr)) {
        return error_context(reterr, "list studies");
    }
    int count = rows.count < page->limit ? rows.count : page->limit;
    struct study *items = arena_array(arena, (size_t)count, sizeof *items);
    for (int i = 0; i < count; i++) {
        read_study(&rows, arena, i, &items[i]);
        items[i].patient_name = rows_text(&rows, arena, i, 12);
        items[i].patient_mrn = rows_text(&rows, arena, i, 13);
    }
    *ret_next_cursor = NULL;
    if (rows.count > page->limit) {
        const struct study *last = &items[count - 1];
        *ret_next_cursor = cursor_write(arena, 's', last->started_at_us, last->id);
    }
    *ret_items = items;
    *ret_count = (size_t)count;
    rows_clear(&rows);
    return true;
}
