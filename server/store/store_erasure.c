#include "store/store_erasure.h"

#include "base/uuid.h"
#include "store/cursor.h"
#include "store/query.h"

enum erasure_statement {
    ERASURE_PATIENT,
    ERASURE_INSERT,
    ERASURE_SELECT,
    ERASURE_LIST,
    ERASURE_DECIDE,
    ERASURE_WITHDRAW,
    ERASURE_VERSION,
    ERASURE_HAS_BEEN,
    HOLD_END_OTHER,
    HOLD_INSERT,
    HOLD_LIFT,
    HOLD_LIST,
    ERASURE_STATEMENT_COUNT
};

#define ERASURE_COLUMNS                                                                            \
    "select e.id, e.patient_id, e.state, e.reason, penstock.unix_us(e.requested_at),"              \
    " penstock.actor(e.clinic_id, e.requested_by), penstock.unix_us(e.decided_at),"                \
    " penstock.actor(e.clinic_id, e.decided_by), e.decision_reason, e.despite_retention,"          \
    " case when e.state = 'approved' then penstock.unix_us(e.decided_at + e.cooling_off) end,"     \
    " penstock.unix_us(e.ended_at), penstock.actor(e.clinic_id, e.ended_by),"                      \
    " case when e.state = 'approved' then penstock.erasure_obstacle(e.clinic_id, e.id) end,"       \
    " exists (select from penstock.legal_hold h where h.clinic_id = e.clinic_id"                   \
    " and h.patient_id = e.patient_id and h.lifted_at is null),"                                   \
    " case when e.state in ('requested', 'approved')"                                              \
    " then penstock.count_kept_studies(e.clinic_id, e.patient_id) end,"                            \
    " (select d.counts from penstock.erased_patient d where d.clinic_id = e.clinic_id"             \
    " and d.patient_id = e.patient_id and d.request_id = e.id), e.version"                         \
    " from penstock.erasure_request e where e.clinic_id = $1"

static const struct statement statements[] = {
    [ERASURE_PATIENT] = {.name = "erasure_patient",
                         .sql = "select from penstock.patient where clinic_id = $1 and id = $2"},
    [ERASURE_INSERT] = {.name = "erasure_insert",
                        .sql = "insert into penstock.erasure_request"
                               " (clinic_id, id, patient_id, reason, requested_by)"
                               " select p.clinic_id, $2, p.id, $4, $5 from penstock.patient p"
                               " where p.clinic_id = $1 and p.id = $3 returning id"},
    [ERASURE_SELECT] = {.name = "erasure_select", .sql = ERASURE_COLUMNS " and e.id = $2"},
    [ERASURE_LIST] = {.name = "erasure_list",
                      .sql = ERASURE_COLUMNS
                      " and ($2::text is null or e.state = $2)"
                      " and ($4::uuid is null or (e.requested_at, e.id) <"
                      " ((timestamptz 'epoch' + $3::bigint * interval '1 microsecond'), $4))"
                      " order by e.requested_at desc, e.id desc limit $5"},
    [ERASURE_DECIDE] = {.name = "erasure_decide",
                        .sql = "update penstock.erasure_request set state = $4,"
                               " decided_at = now(), decided_by = $5, decision_reason = $6,"
                               " despite_retention = $7, version = version + 1"
                               " where clinic_id = $1 and id = $2 and version = $3"
                               " and state = 'requested' and requested_by <> $5 returning id"},
    [ERASURE_WITHDRAW] = {.name = "erasure_withdraw",
                          .sql = "update penstock.erasure_request set state = 'withdrawn',"
                                 " ended_at = now(), ended_by = $3, version = version + 1"
                                 " where clinic_id = $1 and id = $2"
                                 " and state in ('requested', 'approved') returning id"},
    [ERASURE_VERSION] = {.name = "erasure_version",
                         .sql = "select version from penstock.erasure_request"
                                " where clinic_id = $1 and id = $2"},
    [ERASURE_HAS_BEEN] = {.name = "erasure_has_been",
                          .sql = "select from penstock.erased_patient"
                                 " where clinic_id = $1 and patient_id = $2"},
    [HOLD_END_OTHER] = {.name = "hold_end_other",
                        .sql = "update penstock.legal_hold set lifted_at = now(), lifted_by = $4,"
                               " lift_reason = 'another reason took its place'"
                               " where clinic_id = $1 and patient_id = $2 and lifted_at is null"
                               " and reason <> $3 returning id"},
    [HOLD_INSERT] = {.name = "hold_insert",
                     .sql = "insert into penstock.legal_hold"
                            " (clinic_id, id, patient_id, reason, placed_by)"
                            " select p.clinic_id, $3, p.id, $4, $5 from penstock.patient p"
                            " where p.clinic_id = $1 and p.id = $2"
                            " on conflict (clinic_id, patient_id) where lifted_at is null"
                            " do nothing returning id"},
    [HOLD_LIFT] = {.name = "hold_lift",
                   .sql = "update penstock.legal_hold set lifted_at = now(), lifted_by = $4,"
                          " lift_reason = $3 where clinic_id = $1 and patient_id = $2"
                          " and lifted_at is null returning id"},
    [HOLD_LIST] = {.name = "hold_list",
                   .sql = "select h.id, h.reason, penstock.unix_us(h.placed_at),"
                          " penstock.actor(h.clinic_id, h.placed_by),"
                          " penstock.unix_us(h.lifted_at),"
                          " penstock.actor(h.clinic_id, h.lifted_by), h.lift_reason"
                          " from penstock.legal_hold h where h.clinic_id = $1"
                          " and h.patient_id = $2 order by h.placed_at desc, h.id desc"},
};

const struct statement_table store_erasure_statements = {statements, ERASURE_STATEMENT_COUNT};

/* Runs a query behind one that finds the patient; how many rows the second gave. */
static bool count_of_patient(struct store *store, const char *patient_id, struct query *query,
                             int *ret_count, struct error *reterr)
{
    struct query patient;
    query_start(&patient, store, &statements[ERASURE_PATIENT]);
    query_id(&patient, patient_id);
    struct query *const queries[] = {&patient, query};
    struct rows rows[2];
    if (!query_run_all(store, queries, 2, rows, reterr)) {
        return false;
    }
    bool found = rows[0].count == 1;
    *ret_count = rows[1].count;
    rows_clear(&rows[0]);
    rows_clear(&rows[1]);
    return found || error_set(reterr, ERROR_NOT_FOUND, "no such patient");
}

bool erasure_create(struct store *store, struct arena *arena, const char *patient_id,
                    const char *reason, const char **ret_id, struct error *reterr)
{
    char id[UUID_TEXT_SIZE];
    uuid_new(id);
    struct query query;
    query_start(&query, store, &statements[ERASURE_INSERT]);
    query_id(&query, id);
    query_id(&query, patient_id);
    query_text(&query, reason);
    query_text(&query, query_actor(store));
    int inserted = 0;
    if (!count_of_patient(store, patient_id, &query, &inserted, reterr)) {
        return error_context(reterr, "request an erasure");
    }
    *ret_id = arena_strdup(arena, id);
    return true;
}

static void read_erasure(const struct rows *rows, struct arena *arena, int row,
                         struct erasure *erasure)
{
    *erasure = (struct erasure){
        .id = rows_text(rows, arena, row, 0),
        .patient_id = rows_text(rows, arena, row, 1),
        .state = rows_text(rows, arena, row, 2),
        .reason = rows_text(rows, arena, row, 3),
        .requested_at_us = rows_int64(rows, row, 4),
        .requested_by = rows_text(rows, arena, row, 5),
        .decided_at_us = rows_int64(rows, row, 6),
        .decided_by = rows_text(rows, arena, row, 7),
        .decision_reason = rows_text(rows, arena, row, 8),
        .despite_retention = rows_bool(rows, row, 9),
        .due_at_us = rows_int64(rows, row, 10),
        .ended_at_us = rows_int64(rows, row, 11),
        .ended_by = rows_text(rows, arena, row, 12),
        .obstacle = rows_text(rows, arena, row, 13),
        .held = rows_bool(rows, row, 14),
        .kept_studies = rows_int(rows, row, 15),
        .counts = rows_text(rows, arena, row, 16),
        .version = rows_int(rows, row, 17),
    };
}

bool erasure_get(struct store *store, struct arena *arena, const char *id,
                 struct erasure *ret_erasure, struct error *reterr)
{
    struct query query;
    query_start(&query, store, &statements[ERASURE_SELECT]);
    query_id(&query, id);
    struct rows rows;
    if (!query_run(store, &query, &rows, reterr)) {
        return error_context(reterr, "get an erasure");
    }
    bool found = rows.count == 1;
    if (found) {
        read_erasure(&rows, arena, 0, ret_erasure);
    }
    rows_clear(&rows);
    return found || error_set(reterr, ERROR_NOT_FOUND, "no such erasure");
}

bool erasure_list(struct store *store, struct arena *arena, const char *state,
                  const struct store_page *page, struct erasure **ret_items, size_t *ret_count,
                  const char **ret_next_cursor, struct error *reterr)
{
    struct cursor cursor = {0};
    if (page->cursor != NULL && !cursor_read(page->cursor, 'e', &cursor, reterr)) {
        return false;
    }
    struct query query;
    query_start(&query, store, &statements[ERASURE_LIST]);
    query_text(&query, state);
    query_int(&query, cursor.position);
    query_text(&query, page->cursor != NULL ? cursor.id : NULL);
    query_int(&query, (int64_t)page->limit + 1);
    struct rows rows;
    if (!query_run(store, &query, &rows, reterr)) {
        return error_context(reterr, "list erasures");
    }
    int count = rows.count < page->limit ? rows.count : page->limit;
    struct erasure *items = arena_array(arena, (size_t)count, sizeof *items);
    for (int i = 0; i < count; i++) {
        read_erasure(&rows, arena, i, &items[i]);
    }
    *ret_next_cursor = NULL;
    if (rows.count > page->limit) {
        const struct erasure *last = &items[count - 1];
        *ret_next_cursor = cursor_write(arena, 'e', last->requested_at_us, last->id);
    }
    *ret_items = items;
    *ret_count = (size_t)count;
    rows_clear(&rows);
    return true;
}

/* Runs a change behind which the row's version is read; says why nothing changed. version  0: any
 */
static bool change(struct store *store, struct query *query, const char *id, int version,
                   struct error *reterr)
{
    struct query after;
    query_start(&after, store, &statements[ERASURE_VERSION]);
    query_id(&after, id);
    struct query *const queries[] = {query, &after};
    struct rows rows[2];
    if (!query_run_all(store, queries, 2, rows, reterr)) {
        return error_context(reterr, "change an erasure");
    }
    bool changed = rows[0].count == 1;
    bool found = rows[1].count == 1;
    int newest = found ? rows_int(&rows[1], 0, 0) : 0;
    rows_clear(&rows[0]);
    rows_clear(&rows[1]);
    if (changed) {
        return true;
    }
    if (!found) {
        return error_set(reterr, ERROR_NOT_FOUND, "no such erasure");
    }
    return version != 0 && newest != version
               ? error_set(reterr, ERROR_STALE, "the erasure has another version")
               : error_set(reterr, ERROR_CONFLICT, "state");
}

bool erasure_decide(struct store *store, const char *id, int version,
                    const struct erasure_decision *decision, struct error *reterr)
{
    struct query query;
    query_start(&query, store, &statements[ERASURE_DECIDE]);
    query_id(&query, id);
    query_int(&query, version);
    query_text(&query, decision->approved ? "approved" : "refused");
    query_text(&query, query_actor(store));
    query_text(&query, decision->reason);
    query_text(&query, decision->approved && decision->despite_retention ? "true" : "false");
    return change(store, &query, id, version, reterr);
}

bool erasure_withdraw(struct store *store, const char *id, struct error *reterr)
{
    struct query query;
    query_start(&query, store, &statements[ERASURE_WITHDRAW]);
    query_id(&query, id);
    query_text(&query, query_actor(store));
    return change(store, &query, id, 0, reterr);
}

bool erasure_has_been(struct store *store, const char *patient_id, bool *ret_erased,
                      struct error *reterr)
{
    struct query query;
    query_start(&query, store, &statements[ERASURE_HAS_BEEN]);
    query_id(&query, patient_id);
    int count = 0;
    if (!query_count(store, &query, &count, reterr)) {
        return error_context(reterr, "look for an erased patient");
    }
    *ret_erased = count == 1;
    return true;
}

/* ---- legal hold ---- */

bool legal_hold_place(struct store *store, const char *patient_id, const char *reason,
                      struct error *reterr)
{
    char id[UUID_TEXT_SIZE];
    uuid_new(id);
    struct query end;
    query_start(&end, store, &statements[HOLD_END_OTHER]);
    query_id(&end, patient_id);
    query_text(&end, reason);
    query_text(&end, query_actor(store));
    struct query place;
    query_start(&place, store, &statements[HOLD_INSERT]);
    query_id(&place, patient_id);
    query_id(&place, id);
    query_text(&place, reason);
    query_text(&place, query_actor(store));
    int ended = 0;
    int placed = 0;
    if (!query_count(store, &end, &ended, reterr) ||
        !count_of_patient(store, patient_id, &place, &placed, reterr)) {
        return error_context(reterr, "place a legal hold");
    }
    return true;
}

bool legal_hold_lift(struct store *store, const char *patient_id, const char *reason,
                     struct error *reterr)
{
    struct query query;
    query_start(&query, store, &statements[HOLD_LIFT]);
    query_id(&query, patient_id);
    query_text(&query, reason);
    query_text(&query, query_actor(store));
    int lifted = 0;
    if (!count_of_patient(store, patient_id, &query, &lifted, reterr)) {
        return error_context(reterr, "lift a legal hold");
    }
    return lifted == 1 || error_set(reterr, ERROR_NOT_FOUND, "no hold is in force");
}

bool legal_hold_list(struct store *store, struct arena *arena, const char *patient_id,
                     struct legal_hold **ret_items, size_t *ret_count, struct error *reterr)
{
    struct query patient;
    query_start(&patient, store, &statements[ERASURE_PATIENT]);
    query_id(&patient, patient_id);
    struct query list;
    query_start(&list, store, &statements[HOLD_LIST]);
    query_id(&list, patient_id);
    struct query *const queries[] = {&patient, &list};
    struct rows rows[2];
    if (!query_run_all(store, queries, 2, rows, reterr)) {
        return error_context(reterr, "list legal holds");
    }
    bool found = rows[0].count == 1;
    *ret_count = (size_t)rows[1].count;
    *ret_items = arena_array(arena, *ret_count, sizeof **ret_items);
    for (int i = 0; i < rows[1].count; i++) {
        (*ret_items)[i] = (struct legal_hold){
            .id = rows_text(&rows[1], arena, i, 0),
            .reason = rows_text(&rows[1], arena, i, 1),
            .placed_at_us = rows_int64(&rows[1], i, 2),
            .placed_by = rows_text(&rows[1], arena, i, 3),
            .lifted_at_us = rows_int64(&rows[1], i, 4),
            .lifted_by = rows_text(&rows[1], arena, i, 5),
            .lift_reason = rows_text(&rows[1], arena, i, 6),
        };
    }
    rows_clear(&rows[0]);
    rows_clear(&rows[1]);
    return found || error_set(reterr, ERROR_NOT_FOUND, "no such patient");
}
