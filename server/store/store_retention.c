#include "store/store_retention.h"

#include "store/query.h"

enum retention_statement {
    RETENTION_SELECT,
    RETENTION_INSERT,
    RETENTION_LIST_DUE,
    RETENTION_STATEMENT_COUNT
};

static const struct statement statements[] = {
    [RETENTION_SELECT] = {.name = "retention_select",
                          .sql = "select version, keep_years, keep_until_age_years"
                                 " from penstock.retention_rule where clinic_id = $1"
                                 " order by version desc limit 1"},
    /* No row: another version is the newest, or somebody else makes the same one just now. */
    [RETENTION_INSERT] = {.name = "retention_insert",
                          .sql = "insert into penstock.retention_rule (clinic_id, version,"
                                 " keep_years, keep_until_age_years, created_by)"
                                 " select $1, $2::int4 + 1, $3, $4, $5"
                                 " where (select coalesce(max(r.version), 0)"
                                 " from penstock.retention_rule r where r.clinic_id = $1) = $2"
                                 " on conflict do nothing returning version"},
    /* The condition on started_at spares asking the function about every study there is. */
    [RETENTION_LIST_DUE] = {.name = "retention_list_due",
                            .sql = "select r.id, r.version from penstock.recording r"
                                   " join penstock.study s on s.clinic_id = r.clinic_id"
                                   " and s.id = r.study_id"
                                   " where r.clinic_id = $1 and r.state <> 'withdrawn'"
                                   " and ($2::uuid is null or r.id > $2)"
                                   " and s.started_at < now() - make_interval(years => (select"
                                   " l.keep_years from penstock.retention_rule l"
                                   " where l.clinic_id = $1 order by l.version desc limit 1))"
                                   " and penstock.retention_is_over(s.clinic_id, s.id)"
                                   " order by r.id limit $3"},
};

const struct statement_table store_retention_statements = {statements, RETENTION_STATEMENT_COUNT};

bool retention_rule_load(struct store *store, struct retention_rule *ret_rule, struct error *reterr)
{
    struct query query;
    query_start(&query, store, &statements[RETENTION_SELECT]);
    struct rows rows;
    if (!query_run(store, &query, &rows, reterr)) {
        return error_context(reterr, "get the retention rule");
    }
    *ret_rule = (struct retention_rule){.version = 0};
    if (rows.count == 1) {
        *ret_rule = (struct retention_rule){
            .version = rows_int(&rows, 0, 0),
            .keep_years = rows_optional(&rows, 0, 1),
            .keep_until_age_years = rows_optional(&rows, 0, 2),
        };
    }
    rows_clear(&rows);
    return true;
}

bool retention_rule_replace(struct store *store, const struct retention_rule *rule,
                            struct error *reterr)
{
    struct query query;
    query_start(&query, store, &statements[RETENTION_INSERT]);
    query_int(&query, rule->version);
    query_optional(&query, rule->keep_years);
    query_optional(&query, rule->keep_until_age_years);
    query_text(&query, query_actor(store));
    int inserted = 0;
    if (!query_count(store, &query, &inserted, reterr)) {
        return error_context(reterr, "change the retention rule");
    }
    return inserted == 1 || error_set(reterr, ERROR_STALE, "the rule has another version");
}

bool retention_list_due(struct store *store, struct arena *arena, const char *after, int limit,
                        struct due_recording **ret_items, size_t *ret_count, struct error *reterr)
{
    struct query query;
    query_start(&query, store, &statements[RETENTION_LIST_DUE]);
    query_text(&query, after);
    query_int(&query, limit);
    struct rows rows;
    if (!query_run(store, &query, &rows, reterr)) {
        return error_context(reterr, "list recordings kept long enough");
    }
    struct due_recording *items = arena_array(arena, (size_t)rows.count, sizeof *items);
    for (int i = 0; i < rows.count; i++) {
        items[i] = (struct due_recording){.id = rows_text(&rows, arena, i, 0),
                                          .version = rows_int(&rows, i, 1)};
    }
    *ret_items = items;
    *ret_count = (size_t)rows.count;
    rows_clear(&rows);
    return true;
}
