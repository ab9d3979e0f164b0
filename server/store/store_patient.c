#include "store/store_patient.h"

#include "base/uuid.h"
#include "store/cursor.h"
#include "store/patient_name.h"

#include <string.h>

enum patient_statement {
    PATIENT_INSERT,
    PATIENT_TAKEN,
    PATIENT_SELECT,
    PATIENT_UPDATE,
    PATIENT_BY_ID,
    PATIENT_LIST,
    PATIENT_LIST_BY_MRN,
    PATIENT_LIST_BY_NAME,
    PATIENT_NAME,
    PATIENT_STATEMENT_COUNT
};

#define PATIENT_COLUMNS                                                                            \
    "p.id, p.mrn, p.family_name, p.given_name, to_char(p.birth_date, 'YYYY-MM-DD'), p.sex,"        \
    " p.weight_kg, p.version"

/* $2 cursor, $3 limit, $4 birth date */
#define PATIENT_LIST_BEGIN                                                                         \
    "select " PATIENT_COLUMNS " from penstock.patient p where p.clinic_id = $1"                    \
    " and ($4::date is null or p.birth_date = $4)"

#define PATIENT_LIST_END                                                                           \
    " and ($2::uuid is null or (p.family_name, p.given_name, p.id) >"                              \
    " (select c.family_name, c.given_name, c.id from penstock.patient c"                           \
    " where c.clinic_id = $1 and c.id = $2))"                                                      \
    " order by p.family_name, p.given_name, p.id limit $3"

static const struct statement statements[] = {
    [PATIENT_INSERT] = {.name = "patient_insert",
                        .sql = "insert into penstock.patient (clinic_id, id, mrn, family_name,"
                               " given_name, birth_date, sex, weight_kg, created_by)"
                               " values ($1, $2, $3, $4, $5, $6, $7, $8, $9)"
                               " on conflict do nothing returning id"},
    [PATIENT_TAKEN] = {.name = "patient_taken",
                       .sql = "select exists (select from penstock.patient"
                              " where clinic_id = $1 and id = $2)"},
    [PATIENT_SELECT] = {.name = "patient_select",
                        .sql = "select " PATIENT_COLUMNS " from penstock.patient p"
                               " where p.clinic_id = $1 and p.id = $2"},
    /* No row: stale or unknown. NULL: another patient has the MRN. */
    [PATIENT_UPDATE] = {.name = "patient_update",
                        .sql = "update penstock.patient p set mrn = $4, family_name = $5,"
                               " given_name = $6, birth_date = $7, sex = $8, weight_kg = $9,"
                               " version = p.version + 1"
                               " where p.clinic_id = $1 and p.id = $2 and p.version = $3"
                               " and not exists (select from penstock.patient o"
                               " where o.clinic_id = $1 and o.mrn = $4 and o.id <> $2)"
                               " returning p.version"},
    [PATIENT_BY_ID] = {.name = "patient_by_id",
                       .sql = "select p.version, exists (select from penstock.patient o"
                              " where o.clinic_id = $1 and o.mrn = $3 and o.id <> $2)"
                              " from penstock.patient p where p.clinic_id = $1 and p.id = $2"},
    [PATIENT_LIST] = {.name = "patient_list", .sql = PATIENT_LIST_BEGIN PATIENT_LIST_END},
    [PATIENT_LIST_BY_MRN] = {.name = "patient_list_by_mrn",
                             .sql = PATIENT_LIST_BEGIN
                             " and p.mrn = $5"
                             " and ($6::text is null or"
                             " starts_with(p.family_key, lower($6))"
                             " or starts_with(p.given_key, lower($6)))" PATIENT_LIST_END},
    /* A range instead of LIKE, because a generic plan can use the index for it. U+10FFFF is after
     * every character in the collation C. */
    [PATIENT_LIST_BY_NAME] =
        {.name = "patient_list_by_name",
         .sql = PATIENT_LIST_BEGIN
         " and (p.family_key >= lower($5::text collate \"und-x-icu\") collate \"C\""
         " and p.family_key < (lower($5::text collate \"und-x-icu\") || chr(1114111)) collate \"C\""
         " or p.given_key >= lower($5::text collate \"und-x-icu\") collate \"C\""
         " and p.given_key < (lower($5::text collate \"und-x-icu\") || chr(1114111)) collate "
         "\"C\")" PATIENT_LIST_END},
    [PATIENT_NAME] = {.name = "patient_name",
                      .sql = "select set_config('penstock.named_patient', $2, true)"
                             " where $1::uuid is not null"},
};

const struct statement_table store_patient_statements = {statements, PATIENT_STATEMENT_COUNT};

static void add_patient(struct query *query, const struct patient *patient)
{
    query_text(query, patient->mrn);
    query_text(query, patient->family_name);
    query_text(query, patient->given_name);
    query_text(query, patient->birth_date);
    query_text(query, patient->sex);
    query_optional(query, patient->weight_kg);
}

/* Which of two keys an insert met: the id's or the MRN's. */
static bool report_conflict(struct store *store, const char *id, struct error *reterr)
{
    struct query query;
    query_start(&query, store, &statements[PATIENT_TAKEN]);
    query_id(&query, id);
    struct rows rows;
    if (!query_run(store, &query, &rows, reterr)) {
        return false;
    }
    bool id_taken = rows_bool(&rows, 0, 0);
    rows_clear(&rows);
    return error_set(reterr, ERROR_CONFLICT, "%s", id_taken ? "id" : "mrn");
}

bool patient_create(struct store *store, struct arena *arena, const struct patient *patient,
                    const char **ret_id, struct error *reterr)
{
    char id[UUID_TEXT_SIZE];
    uuid_new(id);
    const char *chosen = patient->id != NULL ? patient->id : id;
    if (!uuid_is_valid(chosen)) {
        return error_set(reterr, ERROR_INVALID, "id");
    }
    struct query query;
    query_start(&query, store, &statements[PATIENT_INSERT]);
    query_id(&query, chosen);
    add_patient(&query, patient);
    query_text(&query, query_actor(store));
    int inserted = 0;
    if (!query_count(store, &query, &inserted, reterr)) {
        return error_context(reterr, "create a patient");
    }
    if (inserted == 0) {
        return report_conflict(store, chosen, reterr);
    }
    *ret_id = arena_strdup(arena, chosen);
    return true;
}

static void read_patient(const struct rows *rows, struct arena *arena, int row,
                         struct patient *patient)
{
    *patient = (struct patient){
        .id = rows_text(rows, arena, row, 0),
        .mrn = rows_text(rows, arena, row, 1),
        .family_name = rows_text(rows, arena, row, 2),
        .given_name = rows_text(rows, arena, row, 3),
        .birth_date = rows_text(rows, arena, row, 4),
        .sex = rows_text(rows, arena, row, 5),
        .weight_kg = rows_optional(rows, row, 6),
        .version = rows_int(rows, row, 7),
    };
}

bool patient_get(struct store *store, struct arena *arena, const char *id,
                 struct patient *ret_patient, struct error *reterr)
{
    struct query query;
    query_start(&query, store, &statements[PATIENT_SELECT]);
    query_id(&query, id);
    struct rows rows;
    if (!query_run(store, &query, &rows, reterr)) {
        return error_context(reterr, "get a patient");
    }
    bool found = rows.count == 1;
    if (found) {
        read_patient(&rows, arena, 0, ret_patient);
    }
    rows_clear(&rows);
    return found || error_set(reterr, ERROR_NOT_FOUND, "no such patient");
}

bool patient_update(struct store *store, const struct patient *patient, struct error *reterr)
{
    struct query update;
    query_start(&update, store, &statements[PATIENT_UPDATE]);
    query_id(&update, patient->id);
    query_int(&update, patient->version);
    add_patient(&update, patient);
    struct query after;
    query_start(&after, store, &statements[PATIENT_BY_ID]);
    query_id(&after, patient->id);
    query_text(&after, patient->mrn);

    struct query *const queries[] = {&update, &after};
    struct rows rows[2];
    if (!query_run_all(store, queries, 2, rows, reterr)) {
        return error_context(reterr, "change a patient");
    }
    bool changed = rows[0].count == 1;
    bool found = rows[1].count == 1;
    int version = found ? rows_int(&rows[1], 0, 0) : 0;
    bool mrn_taken = found && rows_bool(&rows[1], 0, 1);
    rows_clear(&rows[0]);
    rows_clear(&rows[1]);
    if (changed) {
        return true;
    }
    if (!found) {
        return error_set(reterr, ERROR_NOT_FOUND, "no such patient");
    }
    if (version == patient->version) {
        return mrn_taken ? error_set(reterr, ERROR_CONFLICT, "mrn")
                         : error_set(reterr, ERROR_NOT_FOUND, "a patient to be read only");
    }
    return error_set(reterr, ERROR_STALE, "the patient has another version");
}

static void add_filter(struct query *query, const struct store *store,
                       const struct patient_filter *filter, const struct store_page *page,
                       const char *cursor_id)
{
    enum patient_statement chosen = PATIENT_LIST;
    if (filter->mrn != NULL) {
        chosen = PATIENT_LIST_BY_MRN;
    } else if (filter->name != NULL) {
        chosen = PATIENT_LIST_BY_NAME;
    }
    query_start(query, store, &statements[chosen]);
    query_text(query, cursor_id);
    query_int(query, (int64_t)page->limit + 1);
    query_text(query, filter->birth_date);
    if (filter->mrn != NULL) {
        query_text(query, filter->mrn);
    }
    if (chosen != PATIENT_LIST) {
        query_text(query, filter->name);
    }
}

void patient_name_query(struct query *query, const struct store *store, const char *name)
{
    query_start(query, store, &statements[PATIENT_NAME]);
    query_text(query, name);
}

static const char *named_by(struct arena *arena, const struct patient_filter *filter)
{
    return filter->mrn != NULL && filter->birth_date != NULL
               ? arena_printf(arena, "%s %s", filter->mrn, filter->birth_date)
               : "";
}

bool patient_list(struct store *store, struct arena *arena, const struct patient_filter *filter,
                  const struct store_page *page, struct patient **ret_items, size_t *ret_count,
                  const char **ret_next_cursor, struct error *reterr)
{
    struct cursor cursor;
    if (page->cursor != NULL && !cursor_read(page->cursor, 'p', &cursor, reterr)) {
        return false;
    }
    struct query name;
    patient_name_query(&name, store, named_by(arena, filter));
    struct query list;
    add_filter(&list, store, filter, page, page->cursor != NULL ? cursor.id : NULL);
    struct query *const queries[] = {&name, &list};
    struct rows both[2];
    if (!query_run_all(store, queries, 2, both, reterr)) {
        return error_context(reterr, "list patients");
    }
    rows_clear(&both[0]);
    struct rows rows = both[1];
    int count = rows.count < page->limit ? rows.count : page->limit;
    struct patient *items = arena_array(arena, (size_t)count, sizeof *items);
    for (int i = 0; i < count; i++) {
        read_patient(&rows, arena, i, &items[i]);
    }
    *ret_next_cursor =
        rows.count > page->limit ? cursor_write(arena, 'p', 0, items[count - 1].id) : NULL;
    *ret_items = items;
    *ret_count = (size_t)count;
    rows_clear(&rows);
    return true;
}
