#include "store/store_interpretation.h"

#include "store/query.h"
#include "store/store_signature_private.h"

enum interpretation_statement {
    INTERPRETATION_SELECT,
    INTERPRETATION_LIST,
    INTERPRETATION_INSERT,
    INTERPRETATION_STUDY,
    INTERPRETATION_STATEMENT_COUNT
};

#define INTERPRETATION_FROM                                                                        \
    " penstock.unix_us(i.created_at), i.created_by, coalesce(a.display_name, t.name)"              \
    " from penstock.interpretation i"                                                              \
    " left join penstock.account a on a.clinic_id = i.clinic_id and a.id = i.created_by"           \
    " left join penstock.api_token t on t.clinic_id = i.clinic_id and t.id = i.created_by"         \
    " where i.clinic_id = $1 and i.study_id = $2"

static const struct statement statements[] = {
    [INTERPRETATION_SELECT] = {.name = "interpretation_select",
                               .sql = "select i.revision, i.document," INTERPRETATION_FROM
                                      " and ($3 = 0 or i.revision = $3)"
                                      " order by i.revision desc limit 1"},
    [INTERPRETATION_LIST] = {.name = "interpretation_list",
                             .sql = "select i.revision, null," INTERPRETATION_FROM
                                    " order by i.revision"},
    [INTERPRETATION_INSERT] =
        {.name = "interpretation_insert",
         .sql = "insert into penstock.interpretation (clinic_id, study_id, revision, document,"
                " recordings, created_by) select $1, s.id, $3, $4, " SIGNATURE_RECORDINGS
                ", $5 from penstock.study s where s.clinic_id = $1 and s.id = $2"
                " and $3::integer = 1 + (select coalesce(max(i.revision), 0)"
                " from penstock.interpretation i where i.clinic_id = $1 and i.study_id = $2)"
                " on conflict do nothing returning revision"},
    [INTERPRETATION_STUDY] = {.name = "interpretation_study",
                              .sql = "select from penstock.study where clinic_id = $1 and id = $2"},
};

const struct statement_table store_interpretation_statements = {statements,
                                                                INTERPRETATION_STATEMENT_COUNT};

static struct interpretation_row read_row(const struct rows *rows, struct arena *arena, int row)
{
    return (struct interpretation_row){
        .revision = rows_int(rows, row, 0),
        .document = rows_text(rows, arena, row, 1),
        .created_at_us = rows_int64(rows, row, 2),
        .created_by = rows_text(rows, arena, row, 3),
        .created_by_name = rows_text(rows, arena, row, 4),
    };
}

bool interpretation_get(struct store *store, struct arena *arena, const char *study_id,
                        int revision, struct interpretation_row *ret_row, struct error *reterr)
{
    struct query query;
    query_start(&query, store, &statements[INTERPRETATION_SELECT]);
    query_id(&query, study_id);
    query_int(&query, revision);
    struct rows rows;
    if (!query_run(store, &query, &rows, reterr)) {
        return error_context(reterr, "get an interpretation");
    }
    bool found = rows.count == 1;
    if (found) {
        *ret_row = read_row(&rows, arena, 0);
    }
    rows_clear(&rows);
    return found || error_set(reterr, ERROR_NOT_FOUND, "no such interpretation");
}

bool interpretation_list(struct store *store, struct arena *arena, const char *study_id,
                         struct interpretation_row **ret_rows, size_t *ret_count,
                         struct error *reterr)
{
    struct query query;
    query_start(&query, store, &statements[INTERPRETATION_LIST]);
    query_id(&query, study_id);
    struct rows rows;
    if (!query_run(store, &query, &rows, reterr)) {
        return error_context(reterr, "list interpretations");
    }
    struct interpretation_row *items = arena_array(arena, (size_t)rows.count, sizeof *items);
    for (int i = 0; i < rows.count; i++) {
        items[i] = read_row(&rows, arena, i);
    }
    *ret_rows = items;
    *ret_count = (size_t)rows.count;
    rows_clear(&rows);
    return true;
}

bool interpretation_add(struct store *store, const char *study_id, int revision,
                        const char *document, struct error *reterr)
{
    struct query insert;
    query_start(&insert, store, &statements[INTERPRETATION_INSERT]);
    query_id(&insert, study_id);
    query_int(&insert, revision);
    query_text(&insert, document);
    query_text(&insert, query_actor(store));
    struct query study;
    query_start(&study, store, &statements[INTERPRETATION_STUDY]);
    query_id(&study, study_id);

    struct query *const queries[] = {&insert, &study};
    struct rows rows[2];
    if (!query_run_all(store, queries, 2, rows, reterr)) {
        return reterr->kind == ERROR_CONFLICT ? false
                                              : error_context(reterr, "add an interpretation");
    }
    bool added = rows[0].count == 1;
    bool found = rows[1].count == 1;
    rows_clear(&rows[0]);
    rows_clear(&rows[1]);
    if (!found) {
        return error_set(reterr, ERROR_NOT_FOUND, "no such study");
    }
    return added || error_set(reterr, ERROR_STALE, "the interpretation has another revision");
}
