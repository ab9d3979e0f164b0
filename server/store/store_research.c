#include "store/store_research.h"

#include "store/cursor.h"
#include "store/query.h"

enum research_statement { RESEARCH_LINES, RESEARCH_LEFT_OUT, RESEARCH_STATEMENT_COUNT };

/* e.is_asked: an erasure of the patient is requested or approved. */
#define RESEARCH_FROM                                                                              \
    " from penstock.recording r"                                                                   \
    " join penstock.study s on s.clinic_id = r.clinic_id and s.id = r.study_id"                    \
    " join lateral (select exists (select from penstock.erasure_request q"                         \
    " where q.clinic_id = s.clinic_id and q.patient_id = s.patient_id"                             \
    " and q.state in ('requested', 'approved')) as is_asked) e on true"

#define RESEARCH_USABLE "r.state = 'complete' and s.status <> 'cancelled'"

static const struct statement statements[] = {
    /* Days count from the first study that may be exported, not from one that is withdrawn or the
     * like. Small groups are left out later, so that the first may be one that is not told. */
    [RESEARCH_LINES] =
        {.name = "research_lines",
         .sql = "select r.id, x.pseudonym,"
                " row_number() over (partition by x.pseudonym order by s.started_at, r.started_at,"
                " r.id), p.sex, r.type, greatest(0, extract(year from"
                " age((s.started_at at time zone 'UTC')::date, p.birth_date)))::int4,"
                " extract(year from s.started_at at time zone 'UTC')::int4,"
                " (s.started_at at time zone 'UTC')::date"
                " - min((s.started_at at time zone 'UTC')::date) over (partition by x.pseudonym),"
                " (s.started_at at time zone 'UTC')::date + x.shift_days,"
                " r.duration_s, s.status in ('final', 'amended')" RESEARCH_FROM
                " join penstock.patient p on p.clinic_id = s.clinic_id and p.id = s.patient_id"
                " join penstock.research_subject x on x.clinic_id = p.clinic_id"
                " and x.patient_id = p.id"
                " where r.clinic_id = $1 and " RESEARCH_USABLE " and not e.is_asked"
                " and r.received_at < $2::timestamptz"
                " order by x.pseudonym, s.started_at, r.started_at, r.id limit $3"},
    [RESEARCH_LEFT_OUT] = {.name = "research_left_out",
                           .sql = "select count(distinct s.patient_id) filter (where e.is_asked),"
                                  " count(*) filter (where e.is_asked),"
                                  " count(*) filter (where not e.is_asked and not (" RESEARCH_USABLE
                                  "))" RESEARCH_FROM
                                  " where r.clinic_id = $1 and r.received_at < $2::timestamptz"},
};

const struct statement_table store_research_statements = {statements, RESEARCH_STATEMENT_COUNT};

static void read_line(const struct rows *rows, struct arena *arena, int row,
                      struct research_line *line)
{
    *line = (struct research_line){
        .recording_id = rows_text(rows, arena, row, 0),
        .subject = rows_text(rows, arena, row, 1),
        .sequence = rows_int(rows, row, 2),
        .sex = rows_text(rows, arena, row, 3),
        .type = rows_text(rows, arena, row, 4),
        .age_years = rows_int(rows, row, 5),
        .year = rows_int(rows, row, 6),
        .days = rows_int(rows, row, 7),
        .shifted_on = rows_text(rows, arena, row, 8),
        .duration_s = rows_double(rows, row, 9),
        .is_signed = rows_bool(rows, row, 10),
    };
}

bool research_pool_load(struct store *store, struct arena *arena, int64_t until_us, int limit,
                        struct research_pool *ret_pool, struct error *reterr)
{
    struct query lines;
    query_start(&lines, store, &statements[RESEARCH_LINES]);
    query_time(&lines, until_us);
    query_int(&lines, (int64_t)limit + 1);
    struct query left_out;
    query_start(&left_out, store, &statements[RESEARCH_LEFT_OUT]);
    query_time(&left_out, until_us);
    struct query *const queries[] = {&lines, &left_out};
    struct rows rows[2];
    if (!query_run_all(store, queries, 2, rows, reterr)) {
        return error_context(reterr, "read what may be exported");
    }
    *ret_pool = (struct research_pool){
        .count = (size_t)rows[0].count,
        .erasure_subjects = rows_int(&rows[1], 0, 0),
        .erasure_recordings = rows_int(&rows[1], 0, 1),
        .unusable_recordings = rows_int(&rows[1], 0, 2),
    };
    bool good = rows[0].count <= limit;
    if (good) {
        ret_pool->lines = arena_array(arena, ret_pool->count, sizeof *ret_pool->lines);
        for (int i = 0; i < rows[0].count; i++) {
            read_line(&rows[0], arena, i, &ret_pool->lines[i]);
        }
    }
    rows_clear(&rows[0]);
    rows_clear(&rows[1]);
    return good || error_set(reterr, ERROR_INVALID, "too many");
}

bool research_cursor_read(struct arena *arena, const char *cursor, int64_t *ret_until_us,
                          const char **ret_after_subject, struct error *reterr)
{
    struct cursor read;
    if (!cursor_read(cursor, 'x', &read, reterr)) {
        return false;
    }
    *ret_until_us = read.position;
    *ret_after_subject = arena_strdup(arena, read.id);
    return true;
}

const char *research_cursor_write(struct arena *arena, int64_t until_us, const char *subject)
{
    return cursor_write(arena, 'x', until_us, subject);
}
