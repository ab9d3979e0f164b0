#include "store/store_audit_verify.h"

#include "store/connection.h"

#include <sodium.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

_Static_assert(AUDIT_HASH_BYTES == crypto_hash_sha256_BYTES, "SHA-256");

#define NIL_ID "00000000-0000-0000-0000-000000000000"

/* The columns that are hashed, as texts, in the order of penstock.audit_hash() in
 * schema/0009_audit.sql, and behind them the two hashes. */
enum {
    COLUMN_LANE = 1,
    COLUMN_NUMBER = 2,
    COLUMN_DATE = 3,
    COLUMN_TIME = 4,
    HASHED_COLUMNS = 22,
    COLUMN_PREVIOUS = HASHED_COLUMNS,
    COLUMN_HASH
};

static const char entries_sql[] =
    "select e.clinic_id::text, e.lane::text, e.number::text, to_char(e.recorded_on, 'YYYY-MM-DD'),"
    " penstock.unix_us(e.at)::text, e.actor_id::text, e.actor_name, e.actor_kind,"
    " e.actor_roles::text, e.address, e.request_id, e.action, e.resource, e.what, e.object_type,"
    " e.object_id::text, e.patient_ids::text, e.emergency::text, e.status::text, e.outcome,"
    " e.reason, e.detail, e.previous_hash, e.hash,"
    " e.recorded_on is distinct from (e.at at time zone 'UTC')::date"
    " from penstock.audit_entry e where e.clinic_id = $1::uuid"
    " order by e.lane, e.number, e.recorded_on";

enum { COLUMN_WRONG_DATE = COLUMN_HASH + 1 };

static const char heads_sql[] = "select l.lane::text, l.number::text, l.hash"
                                " from penstock.audit_lane l where l.clinic_id = $1::uuid"
                                " order by l.lane";

/* Entries that are not found by their patients. */
static const char index_sql[] =
    "select e.lane::text, e.number::text from penstock.audit_entry e, unnest(e.patient_ids) p"
    " where e.clinic_id = $1::uuid and not exists (select from penstock.audit_patient_day d"
    " where d.clinic_id = e.clinic_id and d.patient_id = p and d.recorded_on = e.recorded_on"
    " and d.actor_id = coalesce(e.actor_id, '" NIL_ID "'))"
    " order by e.lane, e.number";

/* One row at least: may this role see all; and a clinic, or null when there is none. */
static const char clinics_sql[] =
    "select pg_has_role(current_user, n.nspowner, 'USAGE') or r.rolsuper or r.rolbypassrls,"
    " c.clinic_id from pg_catalog.pg_namespace n"
    " join pg_catalog.pg_roles r on r.rolname = current_user"
    " left join penstock.clinic c on true where n.nspname = 'penstock' order by c.clinic_id";

struct verification {
    PGconn *connection;
    const struct audit_verify_options *options;
    const struct audit_verify_listener *listener;
    struct audit_verify_counts counts;
    const char *clinic_id;
    struct audit_head last[AUDIT_LANES]; /* what has been read of each lane */
    size_t kept_next;                    /* the first of options->kept that is still ahead */
};

/* ---- telling ---- */

static void tell(struct verification *work, int lane, int64_t number, const char *detail)
{
    const struct audit_damage damage = {
        .clinic_id = work->clinic_id, .lane = lane, .number = number, .detail = detail};
    work->counts.damages++;
    work->listener->take_damage(work->listener->context, &damage);
}

static bool connection_error(const PGconn *connection, struct error *reterr)
{
    const char *message = PQerrorMessage(connection);
    return error_set(reterr, ERROR_UNAVAILABLE, "read the audit: %.*s", (int)strcspn(message, "\n"),
                     message);
}

static bool run(PGconn *connection, const char *sql, const char *value, struct error *reterr)
{
    PGresult *result =
        PQexecParams(connection, sql, value == NULL ? 0 : 1, NULL, &value, NULL, NULL, 0);
    bool good = connection_succeeded(result);
    PQclear(result);
    return good || connection_error(connection, reterr);
}

typedef void (*row_reader)(struct verification *work, const PGresult *row);

/* Runs a statement about the clinic and gives its rows one by one as they arrive, in binary form:
 * all but bytes are texts, which are the same in it. */
static bool each_row(struct verification *work, const char *sql, row_reader take,
                     struct error *reterr)
{
    const char *const values[] = {work->clinic_id};
    if (PQsendQueryParams(work->connection, sql, 1, NULL, values, NULL, NULL, 1) != 1 ||
        PQsetSingleRowMode(work->connection) != 1) {
        return connection_error(work->connection, reterr);
    }
    bool good = true;
    for (PGresult *result = PQgetResult(work->connection); result != NULL;
         result = PQgetResult(work->connection)) {
        ExecStatusType status = PQresultStatus(result);
        if (status == PGRES_SINGLE_TUPLE) {
            take(work, result);
        } else if (status != PGRES_TUPLES_OK) {
            good = connection_error(work->connection, reterr);
        }
        PQclear(result);
    }
    return good;
}

static int64_t integer(const PGresult *row, int column)
{
    return strtoll(PQgetvalue(row, 0, column), NULL, 10);
}

static bool hash_is(const PGresult *row, int column, const unsigned char hash[AUDIT_HASH_BYTES])
{
    return PQgetlength(row, 0, column) == AUDIT_HASH_BYTES &&
           memcmp(PQgetvalue(row, 0, column), hash, AUDIT_HASH_BYTES) == 0;
}

/* ---- heads that were kept ---- */

static int compare_heads(const void *left, const void *right)
{
    const struct audit_head *one = left;
    const struct audit_head *other = right;
    int order = strcmp(one->clinic_id, other->clinic_id);
    if (order == 0 && one->lane != other->lane) {
        order = one->lane < other->lane ? -1 : 1;
    }
    if (order == 0 && one->number != other->number) {
        order = one->number < other->number ? -1 : 1;
    }
    return order;
}

static void tell_kept(struct verification *work, const struct audit_head *kept, const char *detail)
{
    const char *clinic_id = work->clinic_id;
    work->clinic_id = kept->clinic_id;
    tell(work, kept->lane, kept->number, detail);
    work->clinic_id = clinic_id;
}

/* hash: of the entry that the head names; NULL: it was passed over */
static void compare_head(struct verification *work, const struct audit_head *kept,
                         const unsigned char *hash)
{
    const char *wanted = work->options->clinic_id;
    if (wanted != NULL && strcmp(kept->clinic_id, wanted) != 0) {
        return;
    }
    if (kept->number > 0 && hash == NULL) {
        tell_kept(work, kept, "the entry of a kept head is gone");
    } else if (kept->number > 0 && memcmp(kept->hash, hash, AUDIT_HASH_BYTES) != 0) {
        tell_kept(work, kept, "the entry is another than when its head was kept");
    } else {
        work->counts.heads++;
    }
}

/* Passes every kept head up to `entry` in the order of reading: those before it are not there. */
static void compare_kept(struct verification *work, const struct audit_head *entry,
                         const unsigned char *hash)
{
    const struct audit_verify_options *options = work->options;
    while (work->kept_next < options->kept_count) {
        const struct audit_head *kept = &options->kept[work->kept_next];
        int order = compare_heads(kept, entry);
        if (order > 0) {
            return;
        }
        work->kept_next++;
        compare_head(work, kept, order == 0 ? hash : NULL);
    }
}

/* ---- an entry ---- */

static void hash_field(crypto_hash_sha256_state *state, const PGresult *row, int column)
{
    unsigned char length[4] = {0xff, 0xff, 0xff, 0xff};
    if (PQgetisnull(row, 0, column) != 0) {
        (void)crypto_hash_sha256_update(state, length, sizeof length);
        return;
    }
    uint32_t bytes = (uint32_t)PQgetlength(row, 0, column);
    for (int i = 0; i < 4; i++) {
        length[i] = (unsigned char)(bytes >> (24 - 8 * i));
    }
    (void)crypto_hash_sha256_update(state, length, sizeof length);
    (void)crypto_hash_sha256_update(state, (const unsigned char *)PQgetvalue(row, 0, column),
                                    bytes);
}

static void hash_row(const PGresult *row, unsigned char hash[AUDIT_HASH_BYTES])
{
    crypto_hash_sha256_state state;
    (void)crypto_hash_sha256_init(&state);
    (void)crypto_hash_sha256_update(&state,
                                    (const unsigned char *)PQgetvalue(row, 0, COLUMN_PREVIOUS),
                                    (unsigned long long)PQgetlength(row, 0, COLUMN_PREVIOUS));
    for (int column = 0; column < HASHED_COLUMNS; column++) {
        hash_field(&state, row, column);
    }
    (void)crypto_hash_sha256_final(&state, hash);
}

static void check_place(struct verification *work, const struct audit_head *last,
                        const PGresult *row, int64_t number)
{
    if (number == last->number) {
        tell(work, last->lane, number, "there is another entry with this number");
    } else if (number != last->number + 1) {
        tell(work, last->lane, number, "entries before this one are missing");
    } else if (!hash_is(row, COLUMN_PREVIOUS, last->hash)) {
        tell(work, last->lane, number, "it does not follow the entry before");
    }
}

static void take_entry(struct verification *work, const PGresult *row)
{
    int64_t lane = integer(row, COLUMN_LANE);
    int64_t number = integer(row, COLUMN_NUMBER);
    unsigned char hash[AUDIT_HASH_BYTES];
    work->counts.entries++;
    if (lane < 0 || lane >= AUDIT_LANES) {
        tell(work, (int)lane, number, "there is no such lane");
        return;
    }
    struct audit_head *last = &work->last[lane];
    check_place(work, last, row, number);
    hash_row(row, hash);
    if (!hash_is(row, COLUMN_HASH, hash)) {
        tell(work, (int)lane, number, "it is not what its hash was made of");
    }
    if (PQgetvalue(row, 0, COLUMN_WRONG_DATE)[0] != 0) {
        tell(work, (int)lane, number, "its date is not that of its time");
    }
    last->number = number;
    memcpy(last->hash, hash, sizeof hash);
    compare_kept(work, last, hash);
}

static void take_unfound(struct verification *work, const PGresult *row)
{
    tell(work, (int)integer(row, 0), integer(row, 1), "it is not found by one of its patients");
}

/* ---- a clinic ---- */

struct lanes {
    bool known[AUDIT_LANES];
};

static void compare_lane(struct verification *work, const PGresult *rows, int row,
                         struct lanes *lanes)
{
    long lane = strtol(PQgetvalue(rows, row, 0), NULL, 10);
    int64_t number = strtoll(PQgetvalue(rows, row, 1), NULL, 10);
    if (lane < 0 || lane >= AUDIT_LANES) {
        tell(work, (int)lane, 0, "there is no such lane");
        return;
    }
    const struct audit_head *last = &work->last[lane];
    lanes->known[lane] = true;
    if (number > last->number) {
        tell(work, (int)lane, last->number + 1, "the last entries of the lane are missing");
    } else if (number < last->number) {
        tell(work, (int)lane, number + 1, "the lane ends before this entry");
    } else if (PQgetlength(rows, row, 2) != AUDIT_HASH_BYTES ||
               memcmp(PQgetvalue(rows, row, 2), last->hash, AUDIT_HASH_BYTES) != 0) {
        tell(work, (int)lane, number, "the lane ends with another entry");
    }
}

static bool compare_lanes(struct verification *work, struct error *reterr)
{
    const char *const values[] = {work->clinic_id};
    struct lanes lanes = {{false}};
    PGresult *rows = PQexecParams(work->connection, heads_sql, 1, NULL, values, NULL, NULL, 1);
    if (PQresultStatus(rows) != PGRES_TUPLES_OK) {
        PQclear(rows);
        return connection_error(work->connection, reterr);
    }
    for (int i = 0; i < PQntuples(rows); i++) {
        compare_lane(work, rows, i, &lanes);
    }
    PQclear(rows);
    for (int lane = 0; lane < AUDIT_LANES; lane++) {
        if (!lanes.known[lane]) {
            tell(work, lane, 0, "the head of the lane is missing");
        }
    }
    return true;
}

static void begin_lanes(struct verification *work)
{
    for (int lane = 0; lane < AUDIT_LANES; lane++) {
        work->last[lane] = (struct audit_head){.lane = lane};
        (void)snprintf(work->last[lane].clinic_id, UUID_TEXT_SIZE, "%s", work->clinic_id);
    }
}

static bool verify_clinic(struct verification *work, const char *clinic_id, struct error *reterr)
{
    work->clinic_id = clinic_id;
    begin_lanes(work);
    if (!run(work->connection, "select set_config('penstock.clinic', $1, true)", clinic_id,
             reterr) ||
        !each_row(work, entries_sql, take_entry, reterr) || !compare_lanes(work, reterr) ||
        !each_row(work, index_sql, take_unfound, reterr)) {
        return false;
    }
    for (int lane = 0; lane < AUDIT_LANES; lane++) {
        if (!work->listener->take_head(work->listener->context, &work->last[lane], reterr)) {
            return false;
        }
    }
    return true;
}

/* ---- all of them ---- */

static bool may_see_all(const PGresult *clinics, struct error *reterr)
{
    if (PQntuples(clinics) == 0) {
        return error_set(reterr, ERROR_INVALID, "the database has no schema penstock");
    }
    return strcmp(PQgetvalue(clinics, 0, 0), "t") == 0 ||
           error_set(reterr, ERROR_INVALID,
                     "only the owner of the schema may check the audit: set "
                     "PENSTOCK_OWNER_DATABASE");
}

static bool verify_clinics(struct verification *work, const PGresult *clinics, struct error *reterr)
{
    const char *wanted = work->options->clinic_id;
    bool found = false;
    if ((wanted == NULL || strcmp(wanted, NIL_ID) == 0) && !verify_clinic(work, NIL_ID, reterr)) {
        return false;
    }
    for (int i = 0; i < PQntuples(clinics); i++) {
        const char *id = PQgetvalue(clinics, i, 1);
        if (PQgetisnull(clinics, i, 1) != 0 || (wanted != NULL && strcmp(wanted, id) != 0)) {
            continue;
        }
        found = true;
        work->counts.clinics++;
        if (!verify_clinic(work, id, reterr)) {
            return false;
        }
    }
    if (wanted != NULL && !found && strcmp(wanted, NIL_ID) != 0) {
        return error_set(reterr, ERROR_NOT_FOUND, "no such clinic");
    }
    const struct audit_head end = {.clinic_id = "~", .lane = AUDIT_LANES, .number = INT64_MAX};
    compare_kept(work, &end, NULL);
    return true;
}

static const char session_sql[] =
    "select pg_catalog.set_config('search_path', 'pg_catalog, pg_temp', false),"
    " pg_catalog.set_config('statement_timeout', '0', false),"
    " pg_catalog.set_config('idle_in_transaction_session_timeout', '0', false),"
    " pg_catalog.set_config('TimeZone', 'UTC', false),"
    " pg_catalog.set_config('DateStyle', 'ISO, YMD', false)";

static bool begin(PGconn *connection, const char *snapshot, struct error *reterr)
{
    char sql[128];
    if (!run(connection, session_sql, NULL, reterr) ||
        !run(connection, "begin isolation level repeatable read read only", NULL, reterr)) {
        return false;
    }
    if (snapshot == NULL) {
        return true;
    }
    if (snapshot[0] == '\0' || strspn(snapshot, "0123456789ABCDEFabcdef-") != strlen(snapshot) ||
        (size_t)snprintf(sql, sizeof sql, "set transaction snapshot '%s'", snapshot) >=
            sizeof sql) {
        return error_set(reterr, ERROR_INVALID, "that is no name of a snapshot");
    }
    return run(connection, sql, NULL, reterr);
}

static bool verify(struct verification *work, struct error *reterr)
{
    PGconn *connection = work->connection;
    if (PQstatus(connection) != CONNECTION_OK) {
        return connection_error(connection, reterr);
    }
    if (!begin(connection, work->options->snapshot, reterr) ||
        !run(connection, "select set_config('penstock.lookup', 'every clinic', true)", NULL,
             reterr)) {
        return false;
    }
    PGresult *clinics = PQexec(connection, clinics_sql);
    bool good = PQresultStatus(clinics) == PGRES_TUPLES_OK
                    ? may_see_all(clinics, reterr) && verify_clinics(work, clinics, reterr)
                    : connection_error(connection, reterr);
    PQclear(clinics);
    return good;
}

bool audit_verify_run(const struct audit_verify_options *options,
                      const struct audit_verify_listener *listener,
                      struct audit_verify_counts *ret_counts, struct error *reterr)
{
    static const char *const keywords[] = {"connect_timeout", "application_name", "dbname",
                                           "client_encoding", NULL};
    const char *const values[] = {"5", "penstock-audit", options->conninfo, "UTF8", NULL};
    struct verification work = {.options = options, .listener = listener};
    if (options->kept_count > 0) {
        qsort(options->kept, options->kept_count, sizeof options->kept[0], compare_heads);
    }
    work.connection = PQconnectdbParams(keywords, values, 1);
    bool good = verify(&work, reterr);
    PQfinish(work.connection);
    *ret_counts = work.counts;
    return good;
}
