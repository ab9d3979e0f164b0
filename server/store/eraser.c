#include "store/eraser.h"

#include <libpq-fe.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

struct eraser {
    PGconn *connection;
};

static const char session_sql[] =
    "select pg_catalog.set_config('search_path', 'pg_catalog, pg_temp', false),"
    " pg_catalog.set_config('synchronous_commit', 'on', false),"
    " pg_catalog.set_config('lock_timeout', '5s', false),"
    " pg_catalog.set_config('TimeZone', 'UTC', false),"
    " pg_catalog.set_config('DateStyle', 'ISO, YMD', false)";

static const char owner_sql[] = "select from pg_catalog.pg_namespace n where n.nspname = 'penstock'"
                                " and pg_catalog.pg_has_role(current_user, n.nspowner, 'USAGE')";

static const char clinic_sql[] = "select pg_catalog.set_config('penstock.clinic', $1, false),"
                                 " pg_catalog.set_config('penstock.reach', 'clinic', false)";

static const char known_sql[] = "select from penstock.clinic where clinic_id = $1";

static const char approved_sql[] =
    "select e.id, penstock.erasure_obstacle(e.clinic_id, e.id) from penstock.erasure_request e"
    " where e.clinic_id = $1 and e.state = 'approved' order by e.decided_at, e.id";

static const char erased_sql[] =
    "select d.clinic_id, d.patient_id, d.request_id,"
    " to_char(d.erased_at at time zone 'UTC', 'YYYY-MM-DD\"T\"HH24:MI:SS.US\"Z\"')"
    " from penstock.erased_patient d where d.clinic_id = $1 order by d.erased_at, d.patient_id";

/* The message of a failed statement may quote a row, so that only its state is told. */
static bool report(const struct eraser *eraser, PGresult *result, const char *what,
                   struct error *reterr)
{
    const char *state = PQresultErrorField(result, PG_DIAG_SQLSTATE);
    enum error_kind kind = ERROR_INTERNAL;
    if (state == NULL || PQstatus(eraser->connection) != CONNECTION_OK ||
        strncmp(state, "40", 2) == 0 || strncmp(state, "53", 2) == 0 ||
        strncmp(state, "57", 2) == 0 || strcmp(state, "55P03") == 0) {
        kind = ERROR_UNAVAILABLE;
    } else if (strcmp(state, "PS003") == 0) {
        kind = ERROR_CONFLICT;
    }
    (void)error_set(reterr, kind, "%s: SQLSTATE %s", what, state != NULL ? state : "none");
    PQclear(result);
    return false;
}

/* NULL with an error when it fails. */
static PGresult *run(const struct eraser *eraser, const char *what, const char *sql, int count,
                     const char *const values[], struct error *reterr)
{
    PGresult *result = PQexecParams(eraser->connection, sql, count, NULL, values, NULL, NULL, 0);
    if (PQresultStatus(result) != PGRES_TUPLES_OK) {
        (void)report(eraser, result, what, reterr);
        return NULL;
    }
    return result;
}

static bool set_up(const struct eraser *eraser, struct error *reterr)
{
    PGresult *session = run(eraser, "set up the session", session_sql, 0, NULL, reterr);
    PQclear(session);
    if (session == NULL) {
        return false;
    }
    PGresult *owner = run(eraser, "look at the rights", owner_sql, 0, NULL, reterr);
    bool owns = owner != NULL && PQntuples(owner) == 1;
    PQclear(owner);
    if (owner == NULL) {
        return false;
    }
    return owns || error_set(reterr, ERROR_INVALID,
                             "only the owner of the schema may erase: set PENSTOCK_OWNER_DATABASE");
}

bool eraser_open(const char *conninfo, struct eraser **ret_eraser, struct error *reterr)
{
    struct eraser *eraser = calloc(1, sizeof *eraser);
    if (eraser == NULL) {
        fputs("out of memory\n", stderr);
        abort();
    }
    eraser->connection = PQconnectdb(conninfo);
    bool good = PQstatus(eraser->connection) == CONNECTION_OK;
    if (good) {
        good = set_up(eraser, reterr);
    } else {
        const char *message = PQerrorMessage(eraser->connection);
        (void)error_set(reterr, ERROR_UNAVAILABLE, "connect to the database: %.*s",
                        (int)strcspn(message, "\n"), message);
    }
    if (!good) {
        eraser_close(eraser);
        return false;
    }
    *ret_eraser = eraser;
    return true;
}

void eraser_close(struct eraser *eraser)
{
    if (eraser != NULL) {
        PQfinish(eraser->connection);
        free(eraser);
    }
}

/* Row-level security binds the owner too: the session sees this clinic from now on. */
static bool enter_clinic(const struct eraser *eraser, const char *clinic_id, struct error *reterr)
{
    const char *const values[] = {clinic_id};
    PGresult *entered = run(eraser, "enter a clinic", clinic_sql, 1, values, reterr);
    PQclear(entered);
    if (entered == NULL) {
        return false;
    }
    PGresult *known = run(eraser, "find a clinic", known_sql, 1, values, reterr);
    bool found = known != NULL && PQntuples(known) == 1;
    PQclear(known);
    if (known == NULL) {
        return false;
    }
    return found || error_set(reterr, ERROR_NOT_FOUND, "there is no such clinic");
}

static const char *text_of(const PGresult *rows, struct arena *arena, int row, int column)
{
    return PQgetisnull(rows, row, column) != 0 ? NULL
                                               : arena_strdup(arena, PQgetvalue(rows, row, column));
}

bool eraser_list_approved(struct eraser *eraser, struct arena *arena, const char *clinic_id,
                          struct erasure_due **ret_items, size_t *ret_count, struct error *reterr)
{
    const char *const values[] = {clinic_id};
    if (!enter_clinic(eraser, clinic_id, reterr)) {
        return false;
    }
    PGresult *rows = run(eraser, "list approved erasures", approved_sql, 1, values, reterr);
    if (rows == NULL) {
        return false;
    }
    *ret_count = (size_t)PQntuples(rows);
    *ret_items = arena_array(arena, *ret_count, sizeof **ret_items);
    for (int i = 0; i < PQntuples(rows); i++) {
        (*ret_items)[i] = (struct erasure_due){.request_id = text_of(rows, arena, i, 0),
                                               .obstacle = text_of(rows, arena, i, 1)};
    }
    PQclear(rows);
    return true;
}

bool eraser_erase(struct eraser *eraser, struct arena *arena, const char *clinic_id,
                  const char *request_id, const char **ret_counts, struct error *reterr)
{
    const char *const values[] = {clinic_id, request_id};
    PGresult *rows =
        run(eraser, "erase a patient", "select penstock.erase_patient($1, $2)", 2, values, reterr);
    if (rows == NULL) {
        return false;
    }
    *ret_counts = text_of(rows, arena, 0, 0);
    PQclear(rows);
    return true;
}

bool eraser_list_erased(struct eraser *eraser, struct arena *arena, const char *clinic_id,
                        struct erased_patient **ret_items, size_t *ret_count, struct error *reterr)
{
    const char *const values[] = {clinic_id};
    if (!enter_clinic(eraser, clinic_id, reterr)) {
        return false;
    }
    PGresult *rows = run(eraser, "list erased patients", erased_sql, 1, values, reterr);
    if (rows == NULL) {
        return false;
    }
    *ret_count = (size_t)PQntuples(rows);
    *ret_items = arena_array(arena, *ret_count, sizeof **ret_items);
    for (int i = 0; i < PQntuples(rows); i++) {
        (*ret_items)[i] = (struct erased_patient){.clinic_id = text_of(rows, arena, i, 0),
                                                  .patient_id = text_of(rows, arena, i, 1),
                                                  .request_id = text_of(rows, arena, i, 2),
                                                  .erased_at = text_of(rows, arena, i, 3)};
    }
    PQclear(rows);
    return true;
}

bool eraser_erase_again(struct eraser *eraser, const struct erased_patient *patient,
                        bool *ret_was_there, struct error *reterr)
{
    const char *const values[] = {patient->clinic_id, patient->patient_id, patient->request_id,
                                  patient->erased_at};
    if (!enter_clinic(eraser, patient->clinic_id, reterr)) {
        return false;
    }
    PGresult *rows = run(eraser, "erase a patient again",
                         "select coalesce(counts ->> 'obstacle', ''), counts ->> 'patient'"
                         " from penstock.erase_again($1, $2, $3, $4) counts",
                         4, values, reterr);
    if (rows == NULL) {
        return false;
    }
    const char *obstacle = PQgetvalue(rows, 0, 0);
    bool good =
        obstacle[0] == '\0' || error_set(reterr, ERROR_CONFLICT, "not erased again: %s", obstacle);
    *ret_was_there = good && strcmp(PQgetvalue(rows, 0, 1), "0") != 0;
    PQclear(rows);
    return good;
}
