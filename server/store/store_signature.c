#include "store/store_signature.h"

#include "store/query.h"
#include "store/store_signature_private.h"

#include <sodium.h>
#include <string.h>

_Static_assert(SIGNATURE_SHA256_BYTES == crypto_hash_sha256_BYTES, "the hash of a report");

enum signature_statement {
    SIGNATURE_LIST,
    SIGNATURE_REPORT,
    SIGNATURE_LOCK,
    SIGNATURE_GROUND,
    SIGNATURE_INSERT,
    SIGNATURE_STATUS,
    SIGNATURE_INSERT_REPORT,
    SIGNATURE_STATEMENT_COUNT
};

static const struct statement statements[] = {
    /* $3 0 is every one, -1 the newest */
    [SIGNATURE_LIST] =
        {.name = "signature_list",
         .sql = "select g.number, g.meaning, penstock.unix_us(g.signed_at), g.signed_by,"
                " g.signer_name, g.signer_role, g.reason, g.interpretation_revision, g.recordings,"
                " g.software, g.analysis_version, encode(d.sha256, 'hex'), d.length,"
                " d.detached_signature is not null from penstock.signature g"
                " left join penstock.signed_document d on d.clinic_id = g.clinic_id"
                " and d.study_id = g.study_id and d.number = g.number and d.kind = 'report'"
                " where g.clinic_id = $1 and g.study_id = $2 and ($3 = 0 or g.number = $3"
                " or ($3 = -1 and not exists (select from penstock.signature n"
                " where n.clinic_id = $1 and n.study_id = $2 and n.number > g.number)))"
                " order by g.number"},
    [SIGNATURE_REPORT] = {.name = "signature_report",
                          .sql = "select d.number, d.media_type, d.content, d.sha256,"
                                 " d.detached_signature from penstock.signed_document d"
                                 " where d.clinic_id = $1 and d.study_id = $2 and d.kind = 'report'"
                                 " and ($3::integer = 0 or d.number = $3::integer)"
                                 " order by d.number desc limit 1",
                          .binary_result = true},
    [SIGNATURE_LOCK] = {.name = "signature_lock",
                        .sql = "select s.status, s.patient_id, s.version from penstock.study s"
                               " where s.clinic_id = $1 and s.id = $2 for no key update"},
    /* After the lock, in a statement of its own: it sees what was done while we waited. */
    [SIGNATURE_GROUND] =
        {.name = "signature_ground",
         .sql = "select (select count(*) from penstock.recording r where r.clinic_id = $1"
                " and r.study_id = $2 and r.state = 'complete'),"
                " (select count(*) from penstock.recording r where r.clinic_id = $1"
                " and r.study_id = $2 and r.state = 'open'),"
                " coalesce(i.revision, 0), i.recordings::text is not distinct from c.recordings,"
                " (select coalesce(max(g.number), 0) from penstock.signature g"
                " where g.clinic_id = $1 and g.study_id = $2), c.recordings"
                " from (select " SIGNATURE_RECORDINGS "::text as recordings from penstock.study s"
                " where s.clinic_id = $1 and s.id = $2) c"
                " left join lateral (select n.revision, n.recordings"
                " from penstock.interpretation n where n.clinic_id = $1 and n.study_id = $2"
                " order by n.revision desc limit 1) i on true"},
    [SIGNATURE_INSERT] =
        {.name = "signature_insert",
         .sql = "insert into penstock.signature (clinic_id, study_id, number, meaning, signed_by,"
                " signer_name, signer_role, reason, interpretation_revision, recordings, software,"
                " analysis_version) select $1, s.id, $3,"
                " case when $3::integer = 1 then 'final' else 'amended' end, $4, $5, $6, $7, $8,"
                " " SIGNATURE_RECORDINGS ", $9, $10 from penstock.study s"
                " where s.clinic_id = $1 and s.id = $2 returning number"},
    [SIGNATURE_STATUS] = {.name = "signature_status",
                          .sql = "update penstock.study s set status = case when $3::integer = 1"
                                 " then 'final' else 'amended' end, version = s.version + 1"
                                 " where s.clinic_id = $1 and s.id = $2"
                                 " and s.status <> 'cancelled' returning s.version"},
    [SIGNATURE_INSERT_REPORT] =
        {.name = "signature_insert_report",
         .sql = "insert into penstock.signed_document (clinic_id, study_id, number, kind,"
                " media_type, content, sha256, length, detached_signature)"
                " values ($1, $2, $3, 'report', $4, $5, $6, $7, $8) returning number"},
};

const struct statement_table store_signature_statements = {statements, SIGNATURE_STATEMENT_COUNT};

static struct signature_row read_row(const struct rows *rows, struct arena *arena, int row)
{
    return (struct signature_row){
        .number = rows_int(rows, row, 0),
        .meaning = rows_text(rows, arena, row, 1),
        .signed_at_us = rows_int64(rows, row, 2),
        .signed_by = rows_text(rows, arena, row, 3),
        .signer_name = rows_text(rows, arena, row, 4),
        .signer_role = rows_text(rows, arena, row, 5),
        .reason = rows_text(rows, arena, row, 6),
        .interpretation_revision = rows_int(rows, row, 7),
        .recordings = rows_text(rows, arena, row, 8),
        .software = rows_text(rows, arena, row, 9),
        .analysis_version = rows_text(rows, arena, row, 10),
        .report_sha256 = rows_text(rows, arena, row, 11),
        .report_length = rows_int64(rows, row, 12),
        .report_is_sealed = rows_bool(rows, row, 13),
    };
}

/* which  0: all; -1: the newest; else its number */
static bool load(struct store *store, struct arena *arena, const char *study_id, int which,
                 struct signature_row **ret_rows, size_t *ret_count, struct error *reterr)
{
    struct query query;
    query_start(&query, store, &statements[SIGNATURE_LIST]);
    query_id(&query, study_id);
    query_int(&query, which);
    struct rows rows;
    if (!query_run(store, &query, &rows, reterr)) {
        return error_context(reterr, "read signatures");
    }
    struct signature_row *items = arena_array(arena, (size_t)rows.count, sizeof *items);
    for (int i = 0; i < rows.count; i++) {
        items[i] = read_row(&rows, arena, i);
    }
    *ret_rows = items;
    *ret_count = (size_t)rows.count;
    rows_clear(&rows);
    return true;
}

bool signature_list(struct store *store, struct arena *arena, const char *study_id,
                    struct signature_row **ret_rows, size_t *ret_count, struct error *reterr)
{
    return load(store, arena, study_id, 0, ret_rows, ret_count, reterr);
}

bool signature_get(struct store *store, struct arena *arena, const char *study_id, int number,
                   struct signature_row *ret_row, struct error *reterr)
{
    struct signature_row *rows = NULL;
    size_t count = 0;
    if (!load(store, arena, study_id, number == 0 ? -1 : number, &rows, &count, reterr)) {
        return false;
    }
    if (count != 1) {
        return error_set(reterr, ERROR_NOT_FOUND, "no such signature");
    }
    *ret_row = rows[0];
    return true;
}

static const unsigned char *copy_column(const struct rows *rows, struct arena *arena, int column,
                                        size_t *ret_length)
{
    const uint8_t *bytes = rows_bytes(rows, 0, column, ret_length);
    if (*ret_length == 0) {
        return NULL;
    }
    unsigned char *copy = arena_alloc(arena, *ret_length);
    memcpy(copy, bytes, *ret_length);
    return copy;
}

/* Whether the bytes are those that were signed. */
static bool check_hash(struct signed_report *report, const unsigned char *stored, size_t length,
                       struct error *reterr)
{
    crypto_hash_sha256(report->sha256, report->bytes, report->length);
    (void)sodium_bin2hex(report->sha256_text, sizeof report->sha256_text, report->sha256,
                         sizeof report->sha256);
    if (length != sizeof report->sha256 || memcmp(stored, report->sha256, length) != 0) {
        return error_set(reterr, ERROR_INTERNAL,
                         "the stored report of signature %d is not the one that was signed",
                         report->number);
    }
    return true;
}

bool signature_report_get(struct store *store, struct arena *arena, const char *study_id,
                          int number, struct signed_report *ret_report, struct error *reterr)
{
    struct query query;
    query_start(&query, store, &statements[SIGNATURE_REPORT]);
    query_id(&query, study_id);
    query_int(&query, number);
    struct rows rows;
    if (!query_run(store, &query, &rows, reterr)) {
        return error_context(reterr, "read a signed report");
    }
    if (rows.count != 1) {
        rows_clear(&rows);
        return error_set(reterr, ERROR_NOT_FOUND, "no such report");
    }
    *ret_report = (struct signed_report){.number = (int)rows_binary_int(&rows, 0, 0),
                                         .media_type = rows_text(&rows, arena, 0, 1)};
    size_t stored_length = 0;
    ret_report->bytes = copy_column(&rows, arena, 2, &ret_report->length);
    const unsigned char *stored = rows_bytes(&rows, 0, 3, &stored_length);
    ret_report->seal = copy_column(&rows, arena, 4, &ret_report->seal_length);
    bool good = check_hash(ret_report, stored, stored_length, reterr);
    rows_clear(&rows);
    return good;
}

/* ---- signing ---- */

bool signature_lock(struct store *store, struct arena *arena, const char *study_id,
                    struct signature_ground *ret_ground, struct error *reterr)
{
    struct query lock;
    query_start(&lock, store, &statements[SIGNATURE_LOCK]);
    query_id(&lock, study_id);
    struct query ground;
    query_start(&ground, store, &statements[SIGNATURE_GROUND]);
    query_id(&ground, study_id);

    struct query *const queries[] = {&lock, &ground};
    struct rows rows[2];
    if (!query_run_all(store, queries, 2, rows, reterr)) {
        return error_context(reterr, "lock a study for its signature");
    }
    bool found = rows[0].count == 1 && rows[1].count == 1;
    if (found) {
        *ret_ground = (struct signature_ground){
            .status = rows_text(&rows[0], arena, 0, 0),
            .patient_id = rows_text(&rows[0], arena, 0, 1),
            .study_version = rows_int(&rows[0], 0, 2),
            .complete_count = rows_int(&rows[1], 0, 0),
            .open_count = rows_int(&rows[1], 0, 1),
            .interpretation_revision = rows_int(&rows[1], 0, 2),
            .is_interpreted_as_is = rows_bool(&rows[1], 0, 3),
            .number = rows_int(&rows[1], 0, 4),
            .recordings = rows_text(&rows[1], arena, 0, 5),
        };
    }
    rows_clear(&rows[0]);
    rows_clear(&rows[1]);
    return found || error_set(reterr, ERROR_NOT_FOUND, "no such study");
}

bool signature_add(struct store *store, const struct new_signature *signature, struct error *reterr)
{
    struct query insert;
    query_start(&insert, store, &statements[SIGNATURE_INSERT]);
    query_id(&insert, signature->study_id);
    query_int(&insert, signature->number);
    query_text(&insert, query_actor(store));
    query_text(&insert, signature->signer_name);
    query_text(&insert, signature->signer_role);
    query_text(&insert, signature->reason);
    query_int(&insert, signature->interpretation_revision);
    query_text(&insert, signature->software);
    query_text(&insert, signature->analysis_version);
    struct query status;
    query_start(&status, store, &statements[SIGNATURE_STATUS]);
    query_id(&status, signature->study_id);
    query_int(&status, signature->number);

    struct query *const queries[] = {&insert, &status};
    struct rows rows[2];
    if (!query_run_all(store, queries, 2, rows, reterr)) {
        return error_context(reterr, "sign a study");
    }
    bool done = rows[0].count == 1 && rows[1].count == 1;
    rows_clear(&rows[0]);
    rows_clear(&rows[1]);
    return done || error_set(reterr, ERROR_CONFLICT, "the study cannot be signed");
}

bool signature_add_report(struct store *store, const char *study_id, int number,
                          const struct report_file *report,
                          char ret_sha256_text[2 * SIGNATURE_SHA256_BYTES + 1],
                          struct error *reterr)
{
    unsigned char sha256[SIGNATURE_SHA256_BYTES];
    crypto_hash_sha256(sha256, report->bytes, report->length);
    (void)sodium_bin2hex(ret_sha256_text, 2 * SIGNATURE_SHA256_BYTES + 1, sha256, sizeof sha256);

    struct query query;
    query_start(&query, store, &statements[SIGNATURE_INSERT_REPORT]);
    query_id(&query, study_id);
    query_int(&query, number);
    query_text(&query, report->media_type);
    query_bytes(&query, report->bytes, report->length);
    query_bytes(&query, sha256, sizeof sha256);
    query_int(&query, (int64_t)report->length);
    if (report->seal != NULL) {
        query_bytes(&query, report->seal, report->seal_length);
    } else {
        query_text(&query, NULL);
    }
    int count = 0;
    return (query_count(store, &query, &count, reterr) && count == 1) ||
           error_context(reterr, "store a signed report");
}
