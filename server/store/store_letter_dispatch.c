#include "store/store_letter_dispatch.h"

#include "base/uuid.h"
#include "store/query.h"

#include <string.h>

enum dispatch_statement {
    DISPATCH_INSERT,
    DISPATCH_LIST,
    DISPATCH_SELECT,
    DISPATCH_FILE,
    DISPATCH_SHOWN,
    BATCH_INSERT,
    BATCH_INSERT_ITEMS,
    BATCH_SELECT,
    BATCH_LIST,
    BATCH_CLAIM,
    BATCH_END,
    BATCH_FILES,
    DISPATCH_STATEMENT_COUNT
};

#define DISPATCH_COLUMNS                                                                           \
    "d.id, d.study_id, s.patient_id, d.signature_number, d.letter_version, d.template_name,"       \
    " d.language, d.template_version, d.way, d.recipient, d.repetition,"                           \
    " penstock.unix_us(d.sent_at), d.sent_by, coalesce(a.display_name, k.name), d.batch_id,"       \
    " encode(d.sha256, 'hex')"

#define DISPATCH_FROM                                                                              \
    " from penstock.letter_dispatch d"                                                             \
    " join penstock.study s on s.clinic_id = d.clinic_id and s.id = d.study_id"                    \
    " left join penstock.account a on a.clinic_id = d.clinic_id and a.id = d.sent_by"              \
    " left join penstock.api_token k on k.clinic_id = d.clinic_id and k.id = d.sent_by"            \
    " where d.clinic_id = $1"

static const struct statement statements[] = {
    [DISPATCH_INSERT] =
        {.name = "letter_dispatch_insert",
         .sql = "insert into penstock.letter_dispatch (clinic_id, id, study_id, signature_number,"
                " letter_version, template_name, language, template_version, way, recipient,"
                " referrer_id, repetition, sent_by, batch_id, pdf, html, plain, sha256)"
                " select $1, $2, $3, $4, $5, $6, $7, $8, $9, $10, $11, case $12::integer when 0"
                " then 0 else (select coalesce(max(d.repetition) + 1, 0)"
                " from penstock.letter_dispatch d where d.clinic_id = $1 and d.study_id = $3"
                " and d.signature_number = $4 and d.way = $9 and d.recipient = $10) end,"
                " $13, $14, $15, $16, $17, sha256($15) on conflict do nothing returning id"},
    [DISPATCH_LIST] = {.name = "letter_dispatch_list",
                       .sql = "select " DISPATCH_COLUMNS DISPATCH_FROM
                              " and d.study_id = $2 order by d.sent_at, d.id"},
    [DISPATCH_SELECT] = {.name = "letter_dispatch_select",
                         .sql = "select " DISPATCH_COLUMNS ", d.html, d.plain" DISPATCH_FROM
                                " and d.id = $2"},
    /* The bytes come by themselves, in binary form. */
    [DISPATCH_FILE] = {.name = "letter_dispatch_file",
                       .sql = "select d.pdf from penstock.letter_dispatch d"
                              " where d.clinic_id = $1 and d.id = $2",
                       .binary_result = true},
    [DISPATCH_SHOWN] = {.name = "letter_dispatch_shown",
                        .sql = "select d.id from penstock.letter_dispatch d"
                               " where d.clinic_id = $1 and d.study_id = $2 and d.signature_number"
                               " = (select max(g.number) from penstock.signature g"
                               " where g.clinic_id = $1 and g.study_id = $2)"
                               " order by d.sent_at desc, d.id desc limit 1"},
    [BATCH_INSERT] = {.name = "letter_batch_insert",
                      .sql = "insert into penstock.letter_batch (clinic_id, id, way, created_by)"
                             " values ($1, $2, $3, $4)"},
    [BATCH_INSERT_ITEMS] =
        {.name = "letter_batch_insert_items",
         .sql = "with wanted as (select w.id::uuid as id, min(w.place)::integer as place"
                " from json_array_elements_text($3::json) with ordinality w (id, place)"
                " group by w.id), added as (insert into penstock.letter_batch_item"
                " (clinic_id, batch_id, study_id, place) select $1, $2, s.id, w.place"
                " from wanted w join penstock.study s on s.clinic_id = $1 and s.id = w.id"
                " returning study_id)"
                " select (select count(*) from wanted) = (select count(*) from added)"},
    [BATCH_SELECT] = {.name = "letter_batch_select",
                      .sql = "select b.id, b.way, penstock.unix_us(b.created_at),"
                             " coalesce(a.display_name, k.name), count(i.study_id),"
                             " count(i.study_id) filter (where i.state = 'waiting'),"
                             " count(i.study_id) filter (where i.state = 'sent'),"
                             " count(i.study_id) filter (where i.state = 'failed')"
                             " from penstock.letter_batch b"
                             " left join penstock.letter_batch_item i"
                             " on i.clinic_id = b.clinic_id and i.batch_id = b.id"
                             " left join penstock.account a"
                             " on a.clinic_id = b.clinic_id and a.id = b.created_by"
                             " left join penstock.api_token k"
                             " on k.clinic_id = b.clinic_id and k.id = b.created_by"
                             " where b.clinic_id = $1 and b.id = $2"
                             " group by b.id, b.way, b.created_at, a.display_name, k.name"},
    [BATCH_LIST] = {.name = "letter_batch_list",
                    .sql = "select i.study_id, s.patient_id, p.family_name || ', ' || p.given_name,"
                           " i.state, i.reason, i.dispatch_id from penstock.letter_batch_item i"
                           " join penstock.study s"
                           " on s.clinic_id = i.clinic_id and s.id = i.study_id"
                           " join penstock.patient p"
                           " on p.clinic_id = s.clinic_id and p.id = s.patient_id"
                           " where i.clinic_id = $1 and i.batch_id = $2 order by i.place"},
    [BATCH_CLAIM] = {.name = "letter_batch_claim",
                     .sql = "select i.study_id from penstock.letter_batch_item i"
                            " where i.clinic_id = $1 and i.batch_id = $2 and i.state = 'waiting'"
                            " order by i.place limit $3 for update skip locked"},
    [BATCH_END] = {.name = "letter_batch_end",
                   .sql = "update penstock.letter_batch_item set"
                          " state = case when $4::uuid is null then 'failed' else 'sent' end,"
                          " reason = case when $4 is null then $5 else '' end,"
                          " dispatch_id = $4, ended_at = now()"
                          " where clinic_id = $1 and batch_id = $2 and study_id = $3"
                          " and state = 'waiting' returning study_id"},
    [BATCH_FILES] = {.name = "letter_batch_files",
                     .sql = "select d.pdf from penstock.letter_batch_item i"
                            " join penstock.letter_dispatch d"
                            " on d.clinic_id = i.clinic_id and d.id = i.dispatch_id"
                            " where i.clinic_id = $1 and i.batch_id = $2 order by i.place",
                     .binary_result = true},
};

const struct statement_table store_letter_dispatch_statements = {statements,
                                                                 DISPATCH_STATEMENT_COUNT};

/* ---- letters that were sent ---- */

static void add_dispatch(struct query *query, const struct new_letter_dispatch *dispatch)
{
    query_id(query, dispatch->study_id);
    query_int(query, dispatch->signature_number);
    query_int(query, dispatch->letter_version);
    query_text(query, dispatch->template_name);
    query_text(query, dispatch->language);
    query_int(query, dispatch->template_version);
    query_text(query, dispatch->way);
    query_text(query, dispatch->recipient);
    query_text(query, dispatch->referrer_id);
    query_int(query, dispatch->again ? 1 : 0);
}

bool letter_dispatch_add(struct store *store, struct arena *arena,
                         const struct new_letter_dispatch *dispatch, const char **ret_id,
                         struct error *reterr)
{
    char id[UUID_TEXT_SIZE];
    uuid_new(id);
    struct query query;
    query_start(&query, store, &statements[DISPATCH_INSERT]);
    query_id(&query, id);
    add_dispatch(&query, dispatch);
    query_text(&query, query_actor(store));
    query_text(&query, dispatch->batch_id);
    query_bytes(&query, dispatch->pdf, dispatch->pdf_length);
    query_text(&query, dispatch->html);
    query_text(&query, dispatch->plain);
    int inserted = 0;
    if (!query_count(store, &query, &inserted, reterr)) {
        return error_context(reterr, "send a letter");
    }
    *ret_id = arena_strdup(arena, id);
    return inserted == 1 || error_set(reterr, ERROR_CONFLICT, "sent");
}

static struct letter_dispatch read_dispatch(const struct rows *rows, struct arena *arena, int row)
{
    return (struct letter_dispatch){
        .id = rows_text(rows, arena, row, 0),
        .study_id = rows_text(rows, arena, row, 1),
        .patient_id = rows_text(rows, arena, row, 2),
        .signature_number = rows_int(rows, row, 3),
        .letter_version = rows_int(rows, row, 4),
        .template_name = rows_text(rows, arena, row, 5),
        .language = rows_text(rows, arena, row, 6),
        .template_version = rows_int(rows, row, 7),
        .way = rows_text(rows, arena, row, 8),
        .recipient = rows_text(rows, arena, row, 9),
        .repetition = rows_int(rows, row, 10),
        .sent_at_us = rows_int64(rows, row, 11),
        .sent_by = rows_text(rows, arena, row, 12),
        .sent_by_name = rows_text(rows, arena, row, 13),
        .batch_id = rows_text(rows, arena, row, 14),
        .sha256 = rows_text(rows, arena, row, 15),
    };
}

bool letter_dispatch_list(struct store *store, struct arena *arena, const char *study_id,
                          struct letter_dispatch **ret_items, size_t *ret_count,
                          struct error *reterr)
{
    struct query query;
    query_start(&query, store, &statements[DISPATCH_LIST]);
    query_id(&query, study_id);
    struct rows rows;
    if (!query_run(store, &query, &rows, reterr)) {
        return error_context(reterr, "list letters that were sent");
    }
    struct letter_dispatch *items = arena_array(arena, (size_t)rows.count, sizeof *items);
    for (int i = 0; i < rows.count; i++) {
        items[i] = read_dispatch(&rows, arena, i);
    }
    *ret_items = items;
    *ret_count = (size_t)rows.count;
    rows_clear(&rows);
    return true;
}

static struct letter_file read_file(const struct rows *rows, struct arena *arena, int row)
{
    size_t length = 0;
    const uint8_t *bytes = rows_bytes(rows, row, 0, &length);
    unsigned char *copy = arena_alloc(arena, length + 1);
    memcpy(copy, bytes, length);
    return (struct letter_file){copy, length};
}

bool letter_dispatch_get(struct store *store, struct arena *arena, const char *id,
                         struct stored_letter *ret_letter, struct error *reterr)
{
    enum { HTML_COLUMN = 16, PLAIN_COLUMN = 17 };

    struct query about;
    query_start(&about, store, &statements[DISPATCH_SELECT]);
    query_id(&about, id);
    struct query file;
    query_start(&file, store, &statements[DISPATCH_FILE]);
    query_id(&file, id);
    struct query *const queries[] = {&about, &file};
    struct rows rows[2];
    if (!query_run_all(store, queries, 2, rows, reterr)) {
        return error_context(reterr, "get a letter that was sent");
    }
    bool found = rows[0].count == 1 && rows[1].count == 1;
    if (found) {
        struct letter_file pdf = read_file(&rows[1], arena, 0);
        *ret_letter = (struct stored_letter){
            .about = read_dispatch(&rows[0], arena, 0),
            .pdf = pdf.bytes,
            .pdf_length = pdf.length,
            .html = rows_text(&rows[0], arena, 0, HTML_COLUMN),
            .plain = rows_text(&rows[0], arena, 0, PLAIN_COLUMN),
        };
    }
    rows_clear(&rows[0]);
    rows_clear(&rows[1]);
    return found || error_set(reterr, ERROR_NOT_FOUND, "no such letter");
}

bool letter_dispatch_find_shown(struct store *store, struct arena *arena, const char *study_id,
                                const char **ret_id, struct error *reterr)
{
    struct query query;
    query_start(&query, store, &statements[DISPATCH_SHOWN]);
    query_id(&query, study_id);
    struct rows rows;
    if (!query_run(store, &query, &rows, reterr)) {
        return error_context(reterr, "look for the letter that is shown");
    }
    *ret_id = rows.count == 1 ? rows_text(&rows, arena, 0, 0) : NULL;
    rows_clear(&rows);
    return true;
}

/* ---- batches ---- */

bool letter_batch_create(struct store *store, struct arena *arena, const char *way,
                         const char *study_ids, const char **ret_id, struct error *reterr)
{
    char id[UUID_TEXT_SIZE];
    uuid_new(id);
    struct query batch;
    query_start(&batch, store, &statements[BATCH_INSERT]);
    query_id(&batch, id);
    query_text(&batch, way);
    query_text(&batch, query_actor(store));
    struct query items;
    query_start(&items, store, &statements[BATCH_INSERT_ITEMS]);
    query_id(&items, id);
    query_text(&items, study_ids);
    struct query *const queries[] = {&batch, &items};
    struct rows rows[2];
    if (!query_run_all(store, queries, 2, rows, reterr)) {
        return error_context(reterr, "create a batch of letters");
    }
    bool whole = rows[1].count == 1 && rows_bool(&rows[1], 0, 0);
    rows_clear(&rows[0]);
    rows_clear(&rows[1]);
    *ret_id = arena_strdup(arena, id);
    return whole || error_set(reterr, ERROR_NOT_FOUND, "a study of the batch is not there");
}

bool letter_batch_get(struct store *store, struct arena *arena, const char *id,
                      struct letter_batch *ret_batch, struct error *reterr)
{
    struct query query;
    query_start(&query, store, &statements[BATCH_SELECT]);
    query_id(&query, id);
    struct rows rows;
    if (!query_run(store, &query, &rows, reterr)) {
        return error_context(reterr, "get a batch of letters");
    }
    bool found = rows.count == 1;
    if (found) {
        *ret_batch = (struct letter_batch){
            .id = rows_text(&rows, arena, 0, 0),
            .way = rows_text(&rows, arena, 0, 1),
            .created_at_us = rows_int64(&rows, 0, 2),
            .created_by_name = rows_text(&rows, arena, 0, 3),
            .count = rows_int(&rows, 0, 4),
            .waiting_count = rows_int(&rows, 0, 5),
            .sent_count = rows_int(&rows, 0, 6),
            .failed_count = rows_int(&rows, 0, 7),
        };
    }
    rows_clear(&rows);
    return found || error_set(reterr, ERROR_NOT_FOUND, "no such batch");
}

bool letter_batch_list(struct store *store, struct arena *arena, const char *id,
                       struct letter_batch_item **ret_items, size_t *ret_count,
                       struct error *reterr)
{
    struct query query;
    query_start(&query, store, &statements[BATCH_LIST]);
    query_id(&query, id);
    struct rows rows;
    if (!query_run(store, &query, &rows, reterr)) {
        return error_context(reterr, "list the letters of a batch");
    }
    struct letter_batch_item *items = arena_array(arena, (size_t)rows.count, sizeof *items);
    for (int i = 0; i < rows.count; i++) {
        items[i] = (struct letter_batch_item){
            .study_id = rows_text(&rows, arena, i, 0),
            .patient_id = rows_text(&rows, arena, i, 1),
            .patient_name = rows_text(&rows, arena, i, 2),
            .state = rows_text(&rows, arena, i, 3),
            .reason = rows_text(&rows, arena, i, 4),
            .dispatch_id = rows_text(&rows, arena, i, 5),
        };
    }
    *ret_items = items;
    *ret_count = (size_t)rows.count;
    rows_clear(&rows);
    return true;
}

bool letter_batch_claim(struct store *store, struct arena *arena, const char *id, int limit,
                        const char ***ret_study_ids, size_t *ret_count, struct error *reterr)
{
    struct query query;
    query_start(&query, store, &statements[BATCH_CLAIM]);
    query_id(&query, id);
    query_int(&query, limit);
    struct rows rows;
    if (!query_run(store, &query, &rows, reterr)) {
        return error_context(reterr, "claim letters of a batch");
    }
    const char **ids = arena_array(arena, (size_t)rows.count, sizeof *ids);
    for (int i = 0; i < rows.count; i++) {
        ids[i] = rows_text(&rows, arena, i, 0);
    }
    *ret_study_ids = ids;
    *ret_count = (size_t)rows.count;
    rows_clear(&rows);
    return true;
}

bool letter_batch_end(struct store *store, const char *id, const char *study_id,
                      const char *dispatch_id, const char *reason, struct error *reterr)
{
    struct query query;
    query_start(&query, store, &statements[BATCH_END]);
    query_id(&query, id);
    query_id(&query, study_id);
    query_text(&query, dispatch_id);
    query_text(&query, reason);
    int ended = 0;
    if (!query_count(store, &query, &ended, reterr)) {
        return error_context(reterr, "end a letter of a batch");
    }
    return ended == 1 || error_set(reterr, ERROR_INTERNAL, "%d letters of a batch ended", ended);
}

bool letter_batch_files(struct store *store, struct arena *arena, const char *id,
                        struct letter_file **ret_files, size_t *ret_count, struct error *reterr)
{
    struct query query;
    query_start(&query, store, &statements[BATCH_FILES]);
    query_id(&query, id);
    struct rows rows;
    if (!query_run(store, &query, &rows, reterr)) {
        return error_context(reterr, "get the letters of a batch");
    }
    struct letter_file *files = arena_array(arena, (size_t)rows.count, sizeof *files);
    for (int i = 0; i < rows.count; i++) {
        files[i] = read_file(&rows, arena, i);
    }
    *ret_files = files;
    *ret_count = (size_t)rows.count;
    rows_clear(&rows);
    return true;
}
