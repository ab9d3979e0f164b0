#include "store/store_letter.h"

#include "store/cursor.h"
#include "store/query.h"

enum letter_statement {
    LETTER_TEMPLATE_LIST,
    LETTER_TEMPLATE_SELECT,
    LETTER_TEMPLATE_INSERT,
    LETTERHEAD_SELECT,
    LETTERHEAD_INSERT,
    LETTER_SELECT,
    LETTER_INSERT,
    LETTER_REFERRER,
    LETTER_LIST,
    LETTER_STATEMENT_COUNT
};

#define TEMPLATE_FROM                                                                              \
    ", t.in_use, penstock.unix_us(t.created_at) from penstock.letter_template t"                   \
    " where t.clinic_id = $1"

/* The newest letter of a study s, and the newest dispatch of its newest signature. */
#define NEWEST_OF_STUDY                                                                            \
    " left join lateral (select l.* from penstock.letter l"                                        \
    " where l.clinic_id = s.clinic_id and l.study_id = s.id order by l.version desc limit 1) l"    \
    " on true"                                                                                     \
    " left join lateral (select d.way, d.sent_at, d.sent_by from penstock.letter_dispatch d"       \
    " where d.clinic_id = s.clinic_id and d.study_id = s.id and d.signature_number ="              \
    " (select max(g.number) from penstock.signature g"                                             \
    " where g.clinic_id = s.clinic_id and g.study_id = s.id)"                                      \
    " order by d.sent_at desc, d.id desc limit 1) d on true"

#define LETTER_STATE                                                                               \
    "case when d.way is not null then 'sent'"                                                      \
    " when coalesce(l.addressee_name, '') <> '' then 'ready' else 'to_write' end"

static const struct statement statements[] = {
    [LETTER_TEMPLATE_LIST] = {.name = "letter_template_list",
                              .sql = "select t.name, t.language, t.version, null" TEMPLATE_FROM
                                     " and t.version = (select max(o.version)"
                                     " from penstock.letter_template o where o.clinic_id = $1"
                                     " and o.name = t.name and o.language = t.language)"
                                     " order by t.name, t.language"},
    [LETTER_TEMPLATE_SELECT] = {.name = "letter_template_select",
                                .sql = "select t.name, t.language, t.version, t.body" TEMPLATE_FROM
                                       " and t.name = $2 and t.language = $3"
                                       " order by t.version desc limit 1"},
    /* No row: another version is the newest, or somebody else makes the same one just now. */
    [LETTER_TEMPLATE_INSERT] = {.name = "letter_template_insert",
                                .sql = "insert into penstock.letter_template (clinic_id, name,"
                                       " language, version, body, in_use, created_by)"
                                       " select $1, $2, $3, $4::integer + 1, $5, $6::integer = 1,"
                                       " $7 where $4 = (select coalesce(max(o.version), 0)"
                                       " from penstock.letter_template o where o.clinic_id = $1"
                                       " and o.name = $2 and o.language = $3)"
                                       " on conflict do nothing returning version"},
    [LETTERHEAD_SELECT] = {.name = "letterhead_select",
                           .sql = "select version, name, address, telephone, language"
                                  " from penstock.letterhead where clinic_id = $1"
                                  " order by version desc limit 1"},
    [LETTERHEAD_INSERT] = {.name = "letterhead_insert",
                           .sql = "insert into penstock.letterhead (clinic_id, version, name,"
                                  " address, telephone, language, created_by)"
                                  " select $1, $2::integer + 1, $3, $4::json, $5, $6, $7"
                                  " where $2 = (select coalesce(max(h.version), 0)"
                                  " from penstock.letterhead h where h.clinic_id = $1)"
                                  " on conflict do nothing returning version"},
    /* One row for a study that is there. What an earlier letter had counts where the study has none
     * of its own. */
    [LETTER_SELECT] =
        {.name = "letter_select",
         .sql = "select case when l.study_id = s.id then l.version else 0 end,"
                " coalesce(l.template_name, ''), coalesce(l.language, ''),"
                " coalesce(l.addressee_name, ''), coalesce(l.addressee_salutation, ''),"
                " coalesce(l.addressee_address, '[]'), l.referrer_id, coalesce(l.copies, '[]'),"
                " case when l.study_id = s.id then l.question else '' end,"
                " case when l.study_id = s.id then l.remarks else '' end"
                " from penstock.study s left join lateral (select o.* from penstock.letter o"
                " join penstock.study t on t.clinic_id = o.clinic_id and t.id = o.study_id"
                " where o.clinic_id = s.clinic_id and t.patient_id = s.patient_id"
                " order by o.study_id = s.id desc, o.created_at desc, o.version desc limit 1) l"
                " on true where s.clinic_id = $1 and s.id = $2"},
    [LETTER_INSERT] = {.name = "letter_insert",
                       .sql = "insert into penstock.letter (clinic_id, study_id, version,"
                              " template_name, language, addressee_name, addressee_salutation,"
                              " addressee_address, referrer_id, copies, question, remarks,"
                              " created_by) select $1, $2, $3::integer + 1, $4, $5, $6, $7,"
                              " $8::json, $9, $10::json, $11, $12, $13"
                              " where $3 = (select coalesce(max(l.version), 0)"
                              " from penstock.letter l where l.clinic_id = $1 and l.study_id = $2)"
                              " on conflict do nothing returning version"},
    /* Role 8: referrer (account.roles). */
    [LETTER_REFERRER] = {.name = "letter_referrer",
                         .sql = "select from penstock.account a where a.clinic_id = $1"
                                " and $2::uuid is not null and a.id = $2 and a.active"
                                " and a.roles & 8 <> 0"},
    [LETTER_LIST] = {.name = "letter_list",
                     .sql = "select s.id, s.patient_id, p.family_name || ', ' || p.given_name,"
                            " p.mrn, penstock.unix_us(s.started_at), s.status, " LETTER_STATE ","
                            " coalesce(l.addressee_name, ''), l.referrer_id, l.language, d.way,"
                            " coalesce(penstock.unix_us(d.sent_at), 0),"
                            " coalesce(a.display_name, k.name)"
                            " from penstock.study s join penstock.patient p"
                            " on p.clinic_id = s.clinic_id and p.id = s.patient_id" NEWEST_OF_STUDY
                            " left join penstock.account a"
                            " on a.clinic_id = s.clinic_id and a.id = d.sent_by"
                            " left join penstock.api_token k"
                            " on k.clinic_id = s.clinic_id and k.id = d.sent_by"
                            " where s.clinic_id = $1 and s.status in ('final', 'amended')"
                            " and s.started_at >= $2 and s.started_at < $3"
                            " and (s.started_at, s.id) < ($4, $5)"
                            " and ($7::text is null or " LETTER_STATE " = $7)"
                            " order by s.started_at desc, s.id desc limit $6"},
};

const struct statement_table store_letter_statements = {statements, LETTER_STATEMENT_COUNT};

/* ---- templates ---- */

static struct letter_template_row read_template(const struct rows *rows, struct arena *arena,
                                                int row)
{
    return (struct letter_template_row){
        .name = rows_text(rows, arena, row, 0),
        .language = rows_text(rows, arena, row, 1),
        .version = rows_int(rows, row, 2),
        .body = rows_text(rows, arena, row, 3),
        .in_use = rows_bool(rows, row, 4),
        .created_at_us = rows_int64(rows, row, 5),
    };
}

bool letter_template_list(struct store *store, struct arena *arena,
                          struct letter_template_row **ret_items, size_t *ret_count,
                          struct error *reterr)
{
    struct query query;
    query_start(&query, store, &statements[LETTER_TEMPLATE_LIST]);
    struct rows rows;
    if (!query_run(store, &query, &rows, reterr)) {
        return error_context(reterr, "list letter templates");
    }
    struct letter_template_row *items = arena_array(arena, (size_t)rows.count, sizeof *items);
    for (int i = 0; i < rows.count; i++) {
        items[i] = read_template(&rows, arena, i);
    }
    *ret_items = items;
    *ret_count = (size_t)rows.count;
    rows_clear(&rows);
    return true;
}

bool letter_template_get(struct store *store, struct arena *arena, const char *name,
                         const char *language, struct letter_template_row *ret_row,
                         struct error *reterr)
{
    struct query query;
    query_start(&query, store, &statements[LETTER_TEMPLATE_SELECT]);
    query_text(&query, name);
    query_text(&query, language);
    struct rows rows;
    if (!query_run(store, &query, &rows, reterr)) {
        return error_context(reterr, "get a letter template");
    }
    bool found = rows.count == 1;
    if (found) {
        *ret_row = read_template(&rows, arena, 0);
    }
    rows_clear(&rows);
    return found || error_set(reterr, ERROR_NOT_FOUND, "no such letter template");
}

bool letter_template_add(struct store *store, const struct letter_template_row *row,
                         struct error *reterr)
{
    struct query query;
    query_start(&query, store, &statements[LETTER_TEMPLATE_INSERT]);
    query_text(&query, row->name);
    query_text(&query, row->language);
    query_int(&query, row->version);
    query_text(&query, row->body);
    query_int(&query, row->in_use ? 1 : 0);
    query_text(&query, query_actor(store));
    int inserted = 0;
    if (!query_count(store, &query, &inserted, reterr)) {
        return error_context(reterr, "add a letter template");
    }
    return inserted == 1 || error_set(reterr, ERROR_STALE, "the template has another version");
}

/* ---- letterhead ---- */

bool letterhead_load(struct store *store, struct arena *arena, struct letterhead *ret_letterhead,
                     struct error *reterr)
{
    struct query query;
    query_start(&query, store, &statements[LETTERHEAD_SELECT]);
    struct rows rows;
    if (!query_run(store, &query, &rows, reterr)) {
        return error_context(reterr, "get the letterhead");
    }
    *ret_letterhead = (struct letterhead){.address = "[]", .telephone = "", .language = "en"};
    if (rows.count == 1) {
        *ret_letterhead = (struct letterhead){
            .version = rows_int(&rows, 0, 0),
            .name = rows_text(&rows, arena, 0, 1),
            .address = rows_text(&rows, arena, 0, 2),
            .telephone = rows_text(&rows, arena, 0, 3),
            .language = rows_text(&rows, arena, 0, 4),
        };
    }
    rows_clear(&rows);
    return true;
}

bool letterhead_replace(struct store *store, const struct letterhead *letterhead,
                        struct error *reterr)
{
    struct query query;
    query_start(&query, store, &statements[LETTERHEAD_INSERT]);
    query_int(&query, letterhead->version);
    query_text(&query, letterhead->name);
    query_text(&query, letterhead->address);
    query_text(&query, letterhead->telephone);
    query_text(&query, letterhead->language);
    query_text(&query, query_actor(store));
    int inserted = 0;
    if (!query_count(store, &query, &inserted, reterr)) {
        return error_context(reterr, "change the letterhead");
    }
    return inserted == 1 || error_set(reterr, ERROR_STALE, "the letterhead has another version");
}

/* ---- a study's letter ---- */

bool letter_settings_load(struct store *store, struct arena *arena, const char *study_id,
                          struct letter_settings *ret_settings, struct error *reterr)
{
    struct query query;
    query_start(&query, store, &statements[LETTER_SELECT]);
    query_id(&query, study_id);
    struct rows rows;
    if (!query_run(store, &query, &rows, reterr)) {
        return error_context(reterr, "get a letter's settings");
    }
    bool found = rows.count == 1;
    if (found) {
        *ret_settings = (struct letter_settings){
            .version = rows_int(&rows, 0, 0),
            .template_name = rows_text(&rows, arena, 0, 1),
            .language = rows_text(&rows, arena, 0, 2),
            .addressee_name = rows_text(&rows, arena, 0, 3),
            .addressee_salutation = rows_text(&rows, arena, 0, 4),
            .addressee_address = rows_text(&rows, arena, 0, 5),
            .referrer_id = rows_text(&rows, arena, 0, 6),
            .copies = rows_text(&rows, arena, 0, 7),
            .question = rows_text(&rows, arena, 0, 8),
            .remarks = rows_text(&rows, arena, 0, 9),
        };
    }
    rows_clear(&rows);
    return found || error_set(reterr, ERROR_NOT_FOUND, "no such study");
}

static void add_settings(struct query *query, const struct letter_settings *settings)
{
    query_int(query, settings->version);
    query_text(query, settings->template_name);
    query_text(query, settings->language);
    query_text(query, settings->addressee_name);
    query_text(query, settings->addressee_salutation);
    query_text(query, settings->addressee_address);
    query_text(query, settings->referrer_id);
    query_text(query, settings->copies);
    query_text(query, settings->question);
    query_text(query, settings->remarks);
}

static bool is_referrer(struct store *store, const char *account_id, struct error *reterr)
{
    struct query query;
    query_start(&query, store, &statements[LETTER_REFERRER]);
    query_id(&query, account_id);
    int found = 0;
    if (!query_count(store, &query, &found, reterr)) {
        return error_context(reterr, "look for a referrer");
    }
    return found == 1 || error_set(reterr, ERROR_INVALID, "referrer_id");
}

bool letter_settings_replace(struct store *store, const char *study_id,
                             const struct letter_settings *settings, struct error *reterr)
{
    if (settings->referrer_id != NULL && !is_referrer(store, settings->referrer_id, reterr)) {
        return false;
    }
    struct query query;
    query_start(&query, store, &statements[LETTER_INSERT]);
    query_id(&query, study_id);
    add_settings(&query, settings);
    query_text(&query, query_actor(store));
    int inserted = 0;
    if (!query_count(store, &query, &inserted, reterr)) {
        return error_context(reterr, "change a letter's settings");
    }
    return inserted == 1 || error_set(reterr, ERROR_STALE, "the letter has another version");
}

/* ---- the day's letters ---- */

static struct letter_row read_letter(const struct rows *rows, struct arena *arena, int row)
{
    return (struct letter_row){
        .study_id = rows_text(rows, arena, row, 0),
        .patient_id = rows_text(rows, arena, row, 1),
        .patient_name = rows_text(rows, arena, row, 2),
        .patient_mrn = rows_text(rows, arena, row, 3),
        .started_at_us = rows_int64(rows, row, 4),
        .status = rows_text(rows, arena, row, 5),
        .state = rows_text(rows, arena, row, 6),
        .addressee_name = rows_text(rows, arena, row, 7),
        .referrer_id = rows_text(rows, arena, row, 8),
        .language = rows_text(rows, arena, row, 9),
        .way = rows_text(rows, arena, row, 10),
        .sent_at_us = rows_int64(rows, row, 11),
        .sent_by_name = rows_text(rows, arena, row, 12),
    };
}

bool letter_list(struct store *store, struct arena *arena, const struct letter_filter *filter,
                 const struct store_page *page, struct letter_row **ret_items, size_t *ret_count,
                 const char **ret_next_cursor, struct error *reterr)
{
    struct cursor cursor = {QUERY_TIME_LAST, "ffffffff-ffff-ffff-ffff-ffffffffffff"};
    if (page->cursor != NULL && !cursor_read(page->cursor, 'b', &cursor, reterr)) {
        return false;
    }
    struct query query;
    query_start(&query, store, &statements[LETTER_LIST]);
    query_time(&query, filter->from_us == 0 ? QUERY_TIME_FIRST : filter->from_us);
    query_time(&query, filter->to_us == 0 ? QUERY_TIME_LAST : filter->to_us);
    query_time(&query, cursor.position);
    query_text(&query, cursor.id);
    query_int(&query, (int64_t)page->limit + 1);
    query_text(&query, filter->state);
    struct rows rows;
    if (!query_run(store, &query, &rows, reterr)) {
        return error_context(reterr, "list letters");
    }
    int count = rows.count < page->limit ? rows.count : page->limit;
    struct letter_row *items = arena_array(arena, (size_t)count, sizeof *items);
    for (int i = 0; i < count; i++) {
        items[i] = read_letter(&rows, arena, i);
    }
    *ret_next_cursor =
        rows.count > page->limit
            ? cursor_write(arena, 'b', items[count - 1].started_at_us, items[count - 1].study_id)
            : NULL;
    *ret_items = items;
    *ret_count = (size_t)count;
    rows_clear(&rows);
    return true;
}
