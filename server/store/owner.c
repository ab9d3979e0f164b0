/* What only the owner of the schema may ask. The connection keeps the login's rights, unlike a
 * store's, and lives for one question. */
#include "store/store_account.h"

#include <libpq-fe.h>
#include <string.h>

/* One row at least: may this role ask; and a clinic, or null when there is none. */
static const char clinics_sql[] =
    "select set_config('penstock.lookup', 'every clinic', false);"
    "select pg_has_role(current_user, n.nspowner, 'USAGE'), c.clinic_id"
    " from pg_catalog.pg_namespace n left join penstock.clinic c on true"
    " where n.nspname = 'penstock' order by c.clinic_id";

static bool read_clinics(const PGresult *rows, struct arena *arena, const char ***ret_ids,
                         size_t *ret_count, struct error *reterr)
{
    int count = PQntuples(rows);
    if (count == 0 || strcmp(PQgetvalue(rows, 0, 0), "t") != 0) {
        return error_set(reterr, ERROR_INVALID,
                         "only the owner of the schema may list the clinics: set "
                         "PENSTOCK_OWNER_DATABASE, or name one clinic");
    }
    const char **ids = arena_array(arena, (size_t)count, sizeof *ids);
    *ret_count = 0;
    for (int i = 0; i < count; i++) {
        if (PQgetisnull(rows, i, 1) == 0) {
            ids[(*ret_count)++] = arena_strdup(arena, PQgetvalue(rows, i, 1));
        }
    }
    *ret_ids = ids;
    return true;
}

bool clinic_list(const char *conninfo, struct arena *arena, const char ***ret_ids,
                 size_t *ret_count, struct error *reterr)
{
    PGconn *connection = PQconnectdb(conninfo);
    if (PQstatus(connection) != CONNECTION_OK) {
        const char *message = PQerrorMessage(connection);
        (void)error_set(reterr, ERROR_UNAVAILABLE, "connect to the database: %.*s",
                        (int)strcspn(message, "\n"), message);
        PQfinish(connection);
        return false;
    }
    PGresult *rows = PQexec(connection, clinics_sql);
    bool good = PQresultStatus(rows) == PGRES_TUPLES_OK;
    if (good) {
        good = read_clinics(rows, arena, ret_ids, ret_count, reterr);
    } else {
        const char *message = PQerrorMessage(connection);
        (void)error_set(reterr, ERROR_INTERNAL, "list the clinics: %.*s",
                        (int)strcspn(message, "\n"), message);
    }
    PQclear(rows);
    PQfinish(connection);
    return good;
}
