#include "store/store_choices.h"

#include "formats/choices_json.h"
#include "formats/limits.h"
#include "store/query.h"

enum choices_statement { CHOICES_SELECT, CHOICES_INSERT, CHOICES_STATEMENT_COUNT };

static const struct statement statements[] = {
    [CHOICES_SELECT] = {.name = "choices_select",
                        .sql = "select c.version, c.numbers from penstock.analysis_choices c"
                               " where c.clinic_id = $1 order by c.version desc limit 1"},
    /* No row: another version is the newest, or somebody else makes the same one just now. */
    [CHOICES_INSERT] = {.name = "choices_insert",
                        .sql = "insert into penstock.analysis_choices (clinic_id, version, numbers,"
                               " created_by) select $1, $2::int4 + 1, $3, $4"
                               " where (select coalesce(max(c.version), 0)"
                               " from penstock.analysis_choices c where c.clinic_id = $1) = $2"
                               " on conflict do nothing returning version"},
};

const struct statement_table store_choices_statements = {statements, CHOICES_STATEMENT_COUNT};

bool clinic_choices_load(struct store *store, struct arena *arena,
                         struct clinic_choices *ret_choices, struct error *reterr)
{
    struct query query;
    query_start(&query, store, &statements[CHOICES_SELECT]);
    struct rows rows;
    if (!query_run(store, &query, &rows, reterr)) {
        return error_context(reterr, "get the choices");
    }
    const char *numbers = rows.count == 1 ? rows_text(&rows, arena, 0, 1) : "{}";
    ret_choices->version = rows.count == 1 ? rows_int(&rows, 0, 0) : 0;
    rows_clear(&rows);
    if (!choices_json_read(arena, numbers, &ret_choices->chosen, reterr)) {
        return false;
    }
    choices_in_use(&ret_choices->chosen, &ret_choices->in_use);
    return true;
}

bool clinic_choices_replace(struct store *store, struct arena *arena, int version,
                            const struct analysis_choices *chosen, struct error *reterr)
{
    struct text numbers;
    text_init(&numbers, arena, LIMIT_SMALL_BODY_BYTES);
    choices_json_write(chosen, &numbers);
    struct query query;
    query_start(&query, store, &statements[CHOICES_INSERT]);
    query_int(&query, version);
    query_text(&query, numbers.data);
    query_text(&query, query_actor(store));
    int inserted = 0;
    if (!query_count(store, &query, &inserted, reterr)) {
        return error_context(reterr, "change the choices");
    }
    return inserted == 1 || error_set(reterr, ERROR_STALE, "the choices have another version");
}
