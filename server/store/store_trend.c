#include "store/store_trend.h"

#include "store/query.h"

#include <string.h>

enum trend_statement { TREND_LIST, TREND_STATEMENT_COUNT };

static const struct statement statements[] = {
    [TREND_LIST] = {.name = "trend_list",
                    .sql = "select s.id, penstock.unix_us(s.started_at), s.status, v.analysis"
                           " from (select i.clinic_id, i.id, i.started_at, i.status"
                           " from penstock.study i where i.clinic_id = $1 and i.patient_id = $2"
                           " and i.status <> 'cancelled'"
                           " order by i.started_at desc, i.id desc limit $3) s"
                           " left join penstock.recording r"
                           " on r.clinic_id = s.clinic_id and r.study_id = s.id"
                           " and r.state = 'complete'"
                           " left join penstock.recording_revision v on v.clinic_id = r.clinic_id"
                           " and v.recording_id = r.id and v.revision = r.revision"
                           " and v.received_on = r.received_on"
                           " order by s.started_at, s.id, r.started_at, r.id"},
};

const struct statement_table store_trend_statements = {statements, TREND_STATEMENT_COUNT};

static size_t count_studies(const struct trend_row *rows, size_t count)
{
    size_t studies = 0;
    for (size_t i = 0; i < count; i++) {
        studies += i == 0 || strcmp(rows[i].study_id, rows[i - 1].study_id) != 0 ? 1 : 0;
    }
    return studies;
}

/* One study more than wanted was read: its rows go. */
static void drop_oldest(struct trend_row **rows, size_t *count)
{
    const char *oldest = (*rows)[0].study_id;
    while (*count > 0 && strcmp((*rows)[0].study_id, oldest) == 0) {
        (*rows)++;
        (*count)--;
    }
}

bool trend_list(struct store *store, struct arena *arena, const char *patient_id, int limit,
                struct trend_row **ret_rows, size_t *ret_count, bool *ret_truncated,
                struct error *reterr)
{
    struct query query;
    query_start(&query, store, &statements[TREND_LIST]);
    query_id(&query, patient_id);
    query_int(&query, (int64_t)limit + 1);
    struct rows rows;
    if (!query_run(store, &query, &rows, reterr)) {
        return error_context(reterr, "list a patient's documents");
    }
    size_t count = (size_t)rows.count;
    struct trend_row *items = arena_array(arena, count, sizeof *items);
    for (int i = 0; i < rows.count; i++) {
        items[i] = (struct trend_row){.study_id = rows_text(&rows, arena, i, 0),
                                      .started_at_us = rows_int64(&rows, i, 1),
                                      .status = rows_text(&rows, arena, i, 2),
                                      .analysis_json = rows_text(&rows, arena, i, 3)};
    }
    rows_clear(&rows);
    *ret_truncated = count_studies(items, count) > (size_t)limit;
    if (*ret_truncated) {
        drop_oldest(&items, &count);
    }
    *ret_rows = items;
    *ret_count = count;
    return true;
}
