#include "store/store_recording_state.h"

#include "store/query.h"
#include "store/store_recording_private.h"

#include <string.h>

enum state_statement {
    STATE_LOCK,
    STATE_SET,
    STATE_STUDY,
    STATE_NOTE,
    STATE_CHANGES,
    STATE_STATEMENT_COUNT
};

static const struct statement statements[] = {
    [STATE_LOCK] = {.name = "state_lock",
                    .sql = "select r.version, r.state, r.revision,"
                           " s.status in ('final', 'amended')"
                           " and ($3 or not penstock.retention_is_over(s.clinic_id, s.id))"
                           " from penstock.recording r join penstock.study s"
                           " on s.clinic_id = r.clinic_id and s.id = r.study_id"
                           " where r.clinic_id = $1 and r.id = $2"
                           " for no key update of r, s"},
    [STATE_SET] = {.name = "state_set",
                   .sql = "update penstock.recording set state = $3, version = version + 1"
                          " where clinic_id = $1 and id = $2"},
    /* What a study shows includes how many recordings it has. */
    [STATE_STUDY] = {.name = "state_study",
                     .sql = "update penstock.study s set version = s.version + 1"
                            " from penstock.recording r where r.clinic_id = $1 and r.id = $2"
                            " and s.clinic_id = r.clinic_id and s.id = r.study_id"},
    [STATE_NOTE] = {.name = "state_note",
                    .sql =
                        "insert into penstock.recording_change (clinic_id, recording_id, version,"
                        " change, reason, created_by) values ($1, $2, $3, $4, $5, $6)"},
    [STATE_CHANGES] = {.name = "state_changes",
                       .sql = "select c.version, c.change, c.reason,"
                              " penstock.unix_us(c.created_at), c.created_by,"
                              " coalesce(a.display_name, t.name)"
                              " from penstock.recording_change c"
                              " left join penstock.account a on a.clinic_id = c.clinic_id"
                              " and a.id = c.created_by"
                              " left join penstock.api_token t on t.clinic_id = c.clinic_id"
                              " and t.id = c.created_by"
                              " where c.clinic_id = $1 and c.recording_id = $2"
                              " order by c.version"},
};

const struct statement_table store_recording_state_statements = {statements, STATE_STATEMENT_COUNT};

bool recording_note_change(struct store *store, const char *id, int version, const char *change,
                           const char *reason, struct error *reterr)
{
    struct query query;
    query_start(&query, store, &statements[STATE_NOTE]);
    query_id(&query, id);
    query_int(&query, version);
    query_text(&query, change);
    query_text(&query, reason);
    query_text(&query, query_actor(store));
    int ignored = 0;
    return query_count(store, &query, &ignored, reterr);
}

bool recording_changes(struct store *store, struct arena *arena, const char *id,
                       struct recording_change_row **ret_rows, size_t *ret_count,
                       struct error *reterr)
{
    struct query query;
    query_start(&query, store, &statements[STATE_CHANGES]);
    query_id(&query, id);
    struct rows rows;
    if (!query_run(store, &query, &rows, reterr)) {
        return error_context(reterr, "list changes");
    }
    struct recording_change_row *items = arena_array(arena, (size_t)rows.count, sizeof *items);
    for (int i = 0; i < rows.count; i++) {
        items[i] = (struct recording_change_row){.version = rows_int(&rows, i, 0),
                                                 .change = rows_text(&rows, arena, i, 1),
                                                 .reason = rows_text(&rows, arena, i, 2),
                                                 .created_at_us = rows_int64(&rows, i, 3),
                                                 .created_by = rows_text(&rows, arena, i, 4),
                                                 .created_by_name = rows_text(&rows, arena, i, 5)};
    }
    *ret_rows = items;
    *ret_count = (size_t)rows.count;
    rows_clear(&rows);
    return true;
}

/* Locks the recording and its study; `ret_withdrawn` and `ret_revision` say what it is. Of a signed
 * study a recording may go, once it was kept long enough, but not come back. */
static bool lock(struct store *store, const char *id, int version, bool withdraw,
                 bool *ret_withdrawn, int *ret_revision, struct error *reterr)
{
    struct query query;
    query_start(&query, store, &statements[STATE_LOCK]);
    query_id(&query, id);
    query_text(&query, withdraw ? "false" : "true");
    struct rows rows;
    if (!query_run(store, &query, &rows, reterr)) {
        return error_context(reterr, "lock a recording");
    }
    struct arena *arena = arena_new();
    bool found = rows.count == 1;
    int newest = found ? rows_int(&rows, 0, 0) : 0;
    *ret_withdrawn = found && strcmp(rows_text(&rows, arena, 0, 1), "withdrawn") == 0;
    *ret_revision = found ? rows_int(&rows, 0, 2) : 0;
    bool is_signed = found && rows_bool(&rows, 0, 3);
    arena_free(arena);
    rows_clear(&rows);
    if (!found) {
        return error_set(reterr, ERROR_NOT_FOUND, "no such recording");
    }
    if (is_signed) {
        return error_set(reterr, ERROR_CONFLICT, "signed");
    }
    return newest == version ||
           error_set(reterr, ERROR_STALE, "the recording has version %d", newest);
}

static bool change_state(struct store *store, const char *id, int version, bool withdraw,
                         const char *reason, struct error *reterr)
{
    bool withdrawn = false;
    int revision = 0;
    if (!lock(store, id, version, withdraw, &withdrawn, &revision, reterr)) {
        return false;
    }
    if (withdrawn == withdraw) {
        return error_set(reterr, ERROR_CONFLICT, "state");
    }
    enum recording_state before = revision == 0 ? RECORDING_OPEN : RECORDING_COMPLETE;
    struct query set;
    query_start(&set, store, &statements[STATE_SET]);
    query_id(&set, id);
    query_text(&set, recording_state_name(withdraw ? RECORDING_WITHDRAWN : before));
    struct query study;
    query_start(&study, store, &statements[STATE_STUDY]);
    query_id(&study, id);
    struct query *const queries[] = {&set, &study};
    struct rows rows[2];
    if (!query_run_all(store, queries, 2, rows, reterr)) {
        return error_context(reterr, "change the state of a recording");
    }
    rows_clear(&rows[0]);
    rows_clear(&rows[1]);
    return recording_note_change(store, id, version + 1, withdraw ? "withdrawn" : "restored",
                                 reason, reterr);
}

bool recording_withdraw(struct store *store, const char *id, int version, const char *reason,
                        struct error *reterr)
{
    return change_state(store, id, version, true, reason, reterr);
}

bool recording_restore(struct store *store, const char *id, int version, const char *reason,
                       struct error *reterr)
{
    return change_state(store, id, version, false, reason, reterr);
}
