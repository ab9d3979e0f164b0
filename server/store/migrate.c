#include "store/migrate.h"

#include "base/embedded.h"

#include <libpq-fe.h>
#include <sodium.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum { VERSION_DIGITS = 4, HASH_TEXT_SIZE = crypto_hash_sha256_BYTES * 2 + 1 };

/* Key of the advisory lock: "penstock" read as a number. */
#define MIGRATION_LOCK "8099005438990573419"

/* Roles belong to the whole cluster, the advisory lock to one database: two databases may be
 * migrated at once, so that somebody else may just have made the role or the membership. */
static const char role_sql[] =
    "do $$ begin"
    "  if not exists (select from pg_catalog.pg_roles where rolname = 'penstock_app') then"
    "    create role penstock_app nologin;"
    "  end if;"
    "exception when duplicate_object or unique_violation then null;"
    "end $$;"
    "do $$ begin"
    "  if not pg_catalog.pg_has_role(current_user, 'penstock_app', 'MEMBER') then"
    "    grant penstock_app to current_user;"
    "  end if;"
    "exception when insufficient_privilege or unique_violation then null;"
    "end $$";

static const char bootstrap_sql[] =
    "create schema if not exists penstock;"
    "create table if not exists penstock.schema_migration ("
    "  version integer primary key, name text not null, sha256 text not null,"
    "  applied_at timestamptz not null default now());"
    "comment on table penstock.schema_migration is 'Migrations applied to this database';"
    "comment on column penstock.schema_migration.version is 'Number of the migration';"
    "comment on column penstock.schema_migration.name is 'Its file';"
    "comment on column penstock.schema_migration.sha256 is 'SHA-256 of its text when applied';"
    "comment on column penstock.schema_migration.applied_at is 'When it was applied'";

static int version_of(const struct embedded_file *file)
{
    return (int)strtol(file->name, NULL, 10);
}

int migrate_newest_version(void)
{
    int newest = 0;
    for (const struct embedded_file *file = migration_files; file->name != NULL; file++) {
        newest = version_of(file) > newest ? version_of(file) : newest;
    }
    return newest;
}

static void hash_of(const struct embedded_file *file, char text[HASH_TEXT_SIZE])
{
    unsigned char hash[crypto_hash_sha256_BYTES];
    crypto_hash_sha256(hash, file->data, file->length);
    sodium_bin2hex(text, HASH_TEXT_SIZE, hash, sizeof hash);
}

/* Migrations speak of the schema, never of patients: the server's message may be shown. */
static bool report(const PGconn *connection, const char *what, struct error *reterr)
{
    const char *message = PQerrorMessage(connection);
    enum error_kind kind =
        PQstatus(connection) == CONNECTION_OK ? ERROR_INTERNAL : ERROR_UNAVAILABLE;
    return error_set(reterr, kind, "%s: %.*s", what, (int)strcspn(message, "\n"), message);
}

static bool run_sql(PGconn *connection, const char *what, const char *sql, struct error *reterr)
{
    PGresult *result = PQexec(connection, sql);
    ExecStatusType status = PQresultStatus(result);
    PQclear(result);
    return status == PGRES_COMMAND_OK || status == PGRES_TUPLES_OK ||
           report(connection, what, reterr);
}

static void ignore_notice(void *context, const PGresult *notice)
{
    (void)context;
    (void)notice;
}

/* Compares one row of schema_migration with the embedded files. */
static bool check_applied(const char *version, const char *hash, struct error *reterr)
{
    long number = strtol(version, NULL, 10);
    for (const struct embedded_file *file = migration_files; file->name != NULL; file++) {
        if (version_of(file) == number) {
            char expected[HASH_TEXT_SIZE];
            hash_of(file, expected);
            return strcmp(hash, expected) == 0 ||
                   error_set(reterr, ERROR_INTERNAL,
                             "migration %s was applied with another text than this program has",
                             file->name);
        }
    }
    return error_set(reterr, ERROR_INTERNAL,
                     "the database has migration %ld, which is newer than this program", number);
}

/* ret_version: the newest version applied. */
static bool check_history(PGconn *connection, int *ret_version, struct error *reterr)
{
    PGresult *rows = PQexec(
        connection, "select version, sha256 from penstock.schema_migration order by version");
    bool good = PQresultStatus(rows) == PGRES_TUPLES_OK ||
                report(connection, "read the migrations applied", reterr);
    int newest = 0;
    for (int i = 0; good && i < PQntuples(rows); i++) {
        good = check_applied(PQgetvalue(rows, i, 0), PQgetvalue(rows, i, 1), reterr);
        newest = (int)strtol(PQgetvalue(rows, i, 0), NULL, 10);
    }
    PQclear(rows);
    if (good) {
        *ret_version = newest;
    }
    return good;
}

static bool note_applied(PGconn *connection, const struct embedded_file *file, struct error *reterr)
{
    char version[16];
    char hash[HASH_TEXT_SIZE];
    snprintf(version, sizeof version, "%d", version_of(file));
    hash_of(file, hash);
    const char *const values[] = {version, file->name, hash};
    PGresult *result = PQexecParams(connection,
                                    "insert into penstock.schema_migration (version, name, sha256)"
                                    " values ($1, $2, $3)",
                                    3, NULL, values, NULL, NULL, 0);
    bool good = PQresultStatus(result) == PGRES_COMMAND_OK;
    PQclear(result);
    return good || report(connection, file->name, reterr);
}

static bool apply(PGconn *connection, const struct embedded_file *file, struct error *reterr)
{
    return run_sql(connection, file->name, "begin", reterr) &&
           run_sql(connection, file->name, (const char *)file->data, reterr) &&
           note_applied(connection, file, reterr) &&
           run_sql(connection, file->name, "commit", reterr);
}

static bool migrate(PGconn *connection, int *ret_applied, struct error *reterr)
{
    int version = 0;
    if (!run_sql(connection, "set up the session",
                 "select pg_catalog.set_config('search_path', 'pg_catalog, pg_temp', false),"
                 " pg_catalog.set_config('client_min_messages', 'warning', false)",
                 reterr) ||
        !run_sql(connection, "wait for other migrations",
                 "select pg_advisory_lock(" MIGRATION_LOCK ")", reterr) ||
        !run_sql(connection, "make the role penstock_app", role_sql, reterr) ||
        !run_sql(connection, "make the schema", bootstrap_sql, reterr) ||
        !check_history(connection, &version, reterr)) {
        return false;
    }
    int applied = 0;
    for (const struct embedded_file *file = migration_files; file->name != NULL; file++) {
        if (version_of(file) > version) {
            if (!apply(connection, file, reterr)) {
                return false; /* closing the connection rolls back */
            }
            applied++;
        }
    }
    *ret_applied = applied;
    return run_sql(connection, "make partitions for the coming years",
                   "select penstock.make_partitions(extract(year from now())::integer + 2)",
                   reterr);
}

bool migrate_run(const char *conninfo, int *ret_applied, struct error *reterr)
{
    static const char *const keywords[] = {"connect_timeout", "application_name", "dbname",
                                           "client_encoding", NULL};
    const char *const values[] = {"5", "penstock-migrate", conninfo, "UTF8", NULL};
    PGconn *connection = PQconnectdbParams(keywords, values, 1);
    bool good = false;
    if (PQstatus(connection) != CONNECTION_OK) {
        report(connection, "connect to the database", reterr);
    } else {
        PQsetNoticeReceiver(connection, ignore_notice, NULL);
        good = migrate(connection, ret_applied, reterr);
    }
    PQfinish(connection);
    return good || error_context(reterr, "migrate");
}
