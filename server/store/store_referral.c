#include "store/store_referral.h"

#include "base/uuid.h"
#include "store/query.h"
#include "store/store_account.h"

enum referral_statement {
    REFERRER_LIST,
    REFERRAL_PATIENT,
    REFERRAL_LIST,
    REFERRAL_REFERRER,
    REFERRAL_PUT,
    REFERRAL_END,
    EMERGENCY_INSERT,
    REFERRAL_STATEMENT_COUNT
};

static const struct statement statements[] = {
    [REFERRER_LIST] = {.name = "referrer_list",
                       .sql = "select a.id, a.display_name, 0 from penstock.account a"
                              " where a.clinic_id = $1 and a.active and a.roles & $2::int <> 0"
                              " order by a.display_name, a.id"},
    [REFERRAL_PATIENT] = {.name = "referral_patient",
                          .sql = "select from penstock.patient where clinic_id = $1 and id = $2"},
    [REFERRAL_LIST] = {.name = "referral_list",
                       .sql = "select a.id, a.display_name, penstock.unix_us(f.created_at)"
                              " from penstock.referral f join penstock.account a"
                              " on a.clinic_id = f.clinic_id and a.id = f.referrer_id"
                              " where f.clinic_id = $1 and f.patient_id = $2"
                              " and f.ended_at is null order by a.display_name, a.id"},
    [REFERRAL_REFERRER] = {.name = "referral_referrer",
                           .sql = "select from penstock.account a where a.clinic_id = $1"
                                  " and a.id = $2 and a.active and a.roles & $3::int <> 0"},
    [REFERRAL_PUT] = {.name = "referral_put",
                      .sql = "insert into penstock.referral as f"
                             " (clinic_id, patient_id, referrer_id, created_by)"
                             " select p.clinic_id, p.id, a.id, $4"
                             " from penstock.patient p join penstock.account a"
                             " on a.clinic_id = p.clinic_id and a.id = $3 and a.active"
                             " and a.roles & $5::int <> 0"
                             " where p.clinic_id = $1 and p.id = $2"
                             " on conflict (clinic_id, patient_id, referrer_id) do update"
                             " set ended_at = null, created_at = now(),"
                             " created_by = excluded.created_by where f.ended_at is not null"},
    [REFERRAL_END] = {.name = "referral_end",
                      .sql = "update penstock.referral set ended_at = now()"
                             " where clinic_id = $1 and patient_id = $2 and referrer_id = $3"
                             " and ended_at is null returning patient_id"},
    [EMERGENCY_INSERT] = {.name = "emergency_insert",
                          .sql = "insert into penstock.emergency_access"
                                 " (clinic_id, id, patient_id, account_id, reason, expires_at)"
                                 " select p.clinic_id, $2, p.id, $5, $6, now() + interval '1 hour'"
                                 " from penstock.patient p where p.clinic_id = $1 and p.mrn = $3"
                                 " and p.birth_date = $4::date"
                                 " returning patient_id, penstock.unix_us(expires_at)"},
};

const struct statement_table store_referral_statements = {statements, REFERRAL_STATEMENT_COUNT};

static void read_referrers(struct rows *rows, struct arena *arena, struct referrer **ret_items,
                           size_t *ret_count)
{
    *ret_count = (size_t)rows->count;
    *ret_items = arena_array(arena, *ret_count, sizeof **ret_items);
    for (int i = 0; i < rows->count; i++) {
        (*ret_items)[i] = (struct referrer){
            .id = rows_text(rows, arena, i, 0),
            .display_name = rows_text(rows, arena, i, 1),
            .since_us = rows_int64(rows, i, 2),
        };
    }
    rows_clear(rows);
}

bool referrer_list(struct store *store, struct arena *arena, struct referrer **ret_items,
                   size_t *ret_count, struct error *reterr)
{
    struct query query;
    query_start(&query, store, &statements[REFERRER_LIST]);
    query_int(&query, ROLE_REFERRER);
    struct rows rows;
    if (!query_run(store, &query, &rows, reterr)) {
        return error_context(reterr, "list referrers");
    }
    read_referrers(&rows, arena, ret_items, ret_count);
    return true;
}

bool referral_list(struct store *store, struct arena *arena, const char *patient_id,
                   struct referrer **ret_items, size_t *ret_count, struct error *reterr)
{
    struct query patient;
    query_start(&patient, store, &statements[REFERRAL_PATIENT]);
    query_id(&patient, patient_id);
    struct query list;
    query_start(&list, store, &statements[REFERRAL_LIST]);
    query_id(&list, patient_id);

    struct query *const queries[] = {&patient, &list};
    struct rows rows[2];
    if (!query_run_all(store, queries, 2, rows, reterr)) {
        return error_context(reterr, "list a patient's referrers");
    }
    bool found = rows[0].count == 1;
    rows_clear(&rows[0]);
    read_referrers(&rows[1], arena, ret_items, ret_count);
    return found || error_set(reterr, ERROR_NOT_FOUND, "no such patient");
}

bool referral_put(struct store *store, const char *patient_id, const char *account_id,
                  struct error *reterr)
{
    struct query patient;
    query_start(&patient, store, &statements[REFERRAL_PATIENT]);
    query_id(&patient, patient_id);
    struct query referrer;
    query_start(&referrer, store, &statements[REFERRAL_REFERRER]);
    query_id(&referrer, account_id);
    query_int(&referrer, ROLE_REFERRER);
    struct query put;
    query_start(&put, store, &statements[REFERRAL_PUT]);
    query_id(&put, patient_id);
    query_id(&put, account_id);
    query_text(&put, query_actor(store));
    query_int(&put, ROLE_REFERRER);

    struct query *const queries[] = {&patient, &referrer, &put};
    struct rows rows[3];
    if (!query_run_all(store, queries, 3, rows, reterr)) {
        return error_context(reterr, "refer a patient");
    }
    bool patient_found = rows[0].count == 1;
    bool referrer_found = rows[1].count == 1;
    for (int i = 0; i < 3; i++) {
        rows_clear(&rows[i]);
    }
    if (!patient_found) {
        return error_set(reterr, ERROR_NOT_FOUND, "no such patient");
    }
    return referrer_found || error_set(reterr, ERROR_INVALID, "not an active referrer");
}

bool referral_end(struct store *store, const char *patient_id, const char *account_id,
                  struct error *reterr)
{
    struct query query;
    query_start(&query, store, &statements[REFERRAL_END]);
    query_id(&query, patient_id);
    query_id(&query, account_id);
    int ended = 0;
    if (!query_count(store, &query, &ended, reterr)) {
        return error_context(reterr, "end a referral");
    }
    return ended == 1 || error_set(reterr, ERROR_NOT_FOUND, "no such referral");
}

bool emergency_access_take(struct store *store, struct arena *arena, const char *mrn,
                           const char *birth_date, const char *reason,
                           struct emergency_access *ret_access, struct error *reterr)
{
    char id[UUID_TEXT_SIZE];
    uuid_new(id);
    struct query query;
    query_start(&query, store, &statements[EMERGENCY_INSERT]);
    query_id(&query, id);
    query_text(&query, mrn);
    query_text(&query, birth_date);
    query_text(&query, query_actor(store));
    query_text(&query, reason);
    struct rows rows;
    if (!query_run(store, &query, &rows, reterr)) {
        return error_context(reterr, "take emergency access");
    }
    bool found = rows.count == 1;
    if (found) {
        *ret_access = (struct emergency_access){
            .id = arena_strdup(arena, id),
            .patient_id = rows_text(&rows, arena, 0, 0),
            .expires_at_us = rows_int64(&rows, 0, 1),
        };
    }
    rows_clear(&rows);
    return found || error_set(reterr, ERROR_NOT_FOUND, "nobody of this number and birth date");
}
