#include "fixture.h"

#include "base/uuid.h"
#include "store/migrate.h"
#include "store/store_study.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

/* The superuser's connection string, or NULL. */
static const char *server_conninfo(void)
{
    /* NOLINTNEXTLINE(concurrency-mt-unsafe): nobody changes the environment */
    return getenv("PENSTOCK_TEST_DATABASE");
}

/* Appends keyword='value' with quotes and backslashes escaped. */
static char *add_option(struct arena *arena, char *conninfo, const char *keyword, const char *value)
{
    char *quoted = arena_alloc(arena, 2 * strlen(value) + 1);
    size_t length = 0;
    for (const char *c = value; *c != '\0'; c++) {
        if (*c == '\'' || *c == '\\') {
            quoted[length++] = '\\';
        }
        quoted[length++] = *c;
    }
    return arena_printf(arena, "%s%s='%s' ", conninfo, keyword, quoted);
}

/* The superuser's string with another database and, if not NULL, another role. */
static char *conninfo_for(struct arena *arena, const char *database, const char *role)
{
    const char *given = server_conninfo();
    PQconninfoOption *options = PQconninfoParse(given, NULL);
    if (options == NULL) {
        fail_msg("PENSTOCK_TEST_DATABASE is not a connection string");
        return NULL;
    }
    char *conninfo = arena_strdup(arena, "");
    for (const PQconninfoOption *option = options; option->keyword != NULL; option++) {
        bool ours =
            strcmp(option->keyword, "dbname") == 0 || strcmp(option->keyword, "options") == 0;
        if (option->val != NULL && !ours) {
            conninfo = add_option(arena, conninfo, option->keyword, option->val);
        }
    }
    PQconninfoFree(options);
    if (database != NULL) {
        conninfo = add_option(arena, conninfo, "dbname", database);
    }
    if (role != NULL) {
        conninfo = add_option(arena, conninfo, "options", arena_printf(arena, "-c role=%s", role));
    }
    return conninfo;
}

const char *fixture_conninfo(struct fixture *fixture, const char *role)
{
    return conninfo_for(fixture->arena, fixture->database, role);
}

static PGconn *connect_or_fail(const char *conninfo)
{
    PGconn *connection = PQconnectdb(conninfo);
    if (PQstatus(connection) != CONNECTION_OK) {
        fail_msg("cannot connect: %s", PQerrorMessage(connection));
    }
    return connection;
}

static void run_or_fail(PGconn *connection, const char *sql)
{
    PGresult *result = PQexec(connection, sql);
    ExecStatusType status = PQresultStatus(result);
    PQclear(result);
    if (status != PGRES_COMMAND_OK && status != PGRES_TUPLES_OK) {
        fail_msg("%s: %s", sql, PQerrorMessage(connection));
    }
}

static void ignore_notice(void *context, const char *message)
{
    (void)context;
    (void)message;
}

int fixture_setup_empty(void **state)
{
    if (server_conninfo() == NULL) {
        fputs("PENSTOCK_TEST_DATABASE is missing: these tests need a PostgreSQL\n", stderr);
        return -1;
    }
    struct fixture *fixture = calloc(1, sizeof *fixture);
    if (fixture == NULL) {
        return -1;
    }
    *state = fixture;
    fixture->arena = arena_new();
    snprintf(fixture->database, sizeof fixture->database, "penstock_test_%ld", (long)getpid());
    snprintf(fixture->owner_role, sizeof fixture->owner_role, "penstock_test_owner_%ld",
             (long)getpid());
    fixture->superuser = conninfo_for(fixture->arena, fixture->database, NULL);
    fixture->owner = conninfo_for(fixture->arena, fixture->database, fixture->owner_role);

    PGconn *server = connect_or_fail(server_conninfo());
    run_or_fail(server, arena_printf(fixture->arena, "create role %s nosuperuser createrole",
                                     fixture->owner_role));
    run_or_fail(server,
                arena_printf(fixture->arena, "create database %s owner %s template template0",
                             fixture->database, fixture->owner_role));
    PQfinish(server);
    fixture->admin = connect_or_fail(fixture->superuser);
    PQsetNoticeProcessor(fixture->admin, ignore_notice, NULL);
    fixture->store = store_new(fixture->owner);
    return 0;
}

int fixture_setup(void **state)
{
    if (fixture_setup_empty(state) != 0) {
        return -1;
    }
    struct fixture *fixture = *state;
    struct error *error = &fixture->error;
    int applied = 0;
    CHECK(fixture, migrate_run(fixture->owner, &applied, error));
    CHECK(fixture, clinic_create(fixture->store, fixture->arena, "Tarn Valley Continence Clinic",
                                 &fixture->clinic_id, error));
    CHECK(fixture, clinic_create(fixture->store, fixture->arena, "Another clinic",
                                 &fixture->other_clinic_id, error));
    CHECK(fixture, store_begin(fixture->store, fixture->clinic_id, NULL, error));
    CHECK(fixture, account_create(fixture->store, fixture->arena, "First.Person", "First Person",
                                  "hash of a password", ROLE_CLINICIAN | ROLE_ADMINISTRATOR,
                                  &fixture->account_id, error));
    CHECK(fixture, store_commit(fixture->store, error));
    return 0;
}

int fixture_teardown(void **state)
{
    struct fixture *fixture = *state;
    if (fixture == NULL) {
        return 0;
    }
    store_free(fixture->store);
    PQfinish(fixture->admin);
    PGconn *server = connect_or_fail(server_conninfo());
    run_or_fail(server,
                arena_printf(fixture->arena, "drop database %s with (force)", fixture->database));
    run_or_fail(server, arena_printf(fixture->arena, "drop role %s", fixture->owner_role));
    PQfinish(server);
    arena_free(fixture->arena);
    free(fixture);
    return 0;
}

int fixture_after_test(void **state)
{
    struct fixture *fixture = *state;
    store_rollback(fixture->store);
    return 0;
}

void fixture_sql(struct fixture *fixture, const char *sql)
{
    run_or_fail(fixture->admin, sql);
}

const char *fixture_value(struct fixture *fixture, const char *sql)
{
    PGresult *result = PQexec(fixture->admin, sql);
    if (PQresultStatus(result) != PGRES_TUPLES_OK) {
        PQclear(result);
        fail_msg("%s: %s", sql, PQerrorMessage(fixture->admin));
    }
    const char *value = PQntuples(result) > 0 ? PQgetvalue(result, 0, 0) : "";
    const char *copy = arena_strdup(fixture->arena, value);
    PQclear(result);
    return copy;
}

PGconn *fixture_app_connection(struct fixture *fixture, const char *clinic_id)
{
    PGconn *connection = connect_or_fail(fixture_conninfo(fixture, "penstock_app"));
    run_or_fail(connection, arena_printf(fixture->arena,
                                         "select set_config('penstock.clinic', '%s', false),"
                                         " set_config('penstock.reach', 'clinic', false)",
                                         clinic_id));
    return connection;
}

const char *fixture_sqlstate(struct fixture *fixture, PGconn *connection, const char *sql)
{
    PGresult *result = PQexec(connection, sql);
    const char *state = PQresultErrorField(result, PG_DIAG_SQLSTATE);
    const char *copy = arena_strdup(fixture->arena, state != NULL ? state : "00000");
    PQclear(result);
    return copy;
}

void fixture_begin(struct fixture *fixture, const char *clinic_id)
{
    CHECK(fixture, store_begin(fixture->store, clinic_id, fixture->account_id, &fixture->error));
}

void fixture_commit(struct fixture *fixture)
{
    CHECK(fixture, store_commit(fixture->store, &fixture->error));
}

void fixture_check(const struct fixture *fixture, bool good, const char *what)
{
    if (!good) {
        fail_msg("%s: kind %d, %s", what, (int)fixture->error.kind, fixture->error.detail);
    }
}

const char *fixture_patient(struct fixture *fixture, const char *mrn)
{
    const struct patient patient = {.mrn = mrn,
                                    .family_name = "Example",
                                    .given_name = "Person",
                                    .birth_date = "1961-04-05",
                                    .sex = "female"};
    const char *id = NULL;
    CHECK(fixture, patient_create(fixture->store, fixture->arena, &patient, &id, &fixture->error));
    return id;
}

const char *fixture_study(struct fixture *fixture, const char *patient_id)
{
    const struct study study = {.patient_id = patient_id,
                                .room = "Room 1",
                                .started_at_us = INT64_C(1772440265250000),
                                .operator_name = "",
                                .position = "sitting",
                                .catheters = "",
                                .history = "{}",
                                .status = "registered"};
    const char *id = NULL;
    CHECK(fixture, study_create(fixture->store, fixture->arena, &study, &id, &fixture->error));
    return id;
}

static const char sign_sql[] =
    "update penstock.study set status = '%s', version = version + 1 where id = '%s';"
    "insert into penstock.account (clinic_id, id, username, display_name, password_hash, roles)"
    " select s.clinic_id, gen_random_uuid(), 'signer of ' || s.clinic_id, 'A signer', '', 4"
    " from penstock.study s where s.id = '%s' on conflict do nothing;"
    "insert into penstock.signature (clinic_id, study_id, number, meaning, signed_by,"
    " signer_name, signer_role, reason, interpretation_revision, recordings, software,"
    " analysis_version) select s.clinic_id, s.id, count(g.number) + 1, s.status, a.id,"
    " a.display_name, 'physician', case s.status when 'final' then '' else 'for this test' end,"
    " count(g.number) + 1, '[]', 'none', '0' from penstock.study s"
    " join penstock.account a on a.username = 'signer of ' || s.clinic_id"
    " left join penstock.signature g on g.study_id = s.id where s.id = '%s'"
    " group by s.clinic_id, s.id, s.status, a.id, a.display_name;"
    "insert into penstock.interpretation (clinic_id, study_id, revision, document, recordings)"
    " select clinic_id, study_id, interpretation_revision, '{\"conclusion\":\"none\"}', recordings"
    " from penstock.signature where study_id = '%s' and signed_at = now();"
    "insert into penstock.signed_document (clinic_id, study_id, number, kind, media_type,"
    " content, sha256, length) select clinic_id, study_id, number, 'report', 'application/pdf',"
    " 'PDF', sha256('PDF'), 3 from penstock.signature"
    " where study_id = '%s' and signed_at = now()";

void fixture_set_status(struct fixture *fixture, const char *study_id, const char *status)
{
    if (strcmp(status, "final") != 0 && strcmp(status, "amended") != 0) {
        fixture_sql(fixture, arena_printf(fixture->arena,
                                          "update penstock.study set status = '%s' where id = '%s'",
                                          status, study_id));
        return;
    }
    /* One batch is one transaction: what belongs to a signature comes together. */
    fixture_sql(fixture, arena_printf(fixture->arena, sign_sql, status, study_id, study_id,
                                      study_id, study_id, study_id));
}

const char *fixture_token(struct fixture *fixture, const char *name,
                          const unsigned char hash[SECRET_HASH_BYTES], unsigned roles)
{
    const struct new_token token = {.name = name,
                                    .prefix = "pst_fixture",
                                    .hash = hash,
                                    .roles = roles,
                                    .expires_at_us = INT64_MAX / 2};
    const char *id = NULL;
    CHECK(fixture, token_create(fixture->store, fixture->arena, &token, &id, &fixture->error));
    return id;
}

void fixture_send_letter(struct fixture *fixture, const char *study)
{
    fixture_sql(
        fixture,
        arena_printf(
            fixture->arena,
            "insert into penstock.letter (clinic_id, study_id, version, template_name, language,"
            " addressee_name) select clinic_id, id, 1, 'standard', 'en', 'A reader'"
            " from penstock.study where id = '%s';"
            " insert into penstock.letter_batch (clinic_id, id, way)"
            " select clinic_id, md5(id::text)::uuid, 'post' from penstock.study where id = '%s';"
            " insert into penstock.letter_dispatch (clinic_id, id, study_id, signature_number,"
            " letter_version, template_name, language, template_version, way, recipient,"
            " batch_id, pdf, html, plain, sha256) select clinic_id, study_id, study_id, number, 1,"
            " 'standard', 'en', 0, 'post', 'A reader', md5(study_id::text)::uuid, 'PDF', '', '', "
            "sha256('PDF')"
            " from penstock.signature where study_id = '%s';"
            " insert into penstock.letter_batch_item (clinic_id, batch_id, study_id, place, state,"
            " dispatch_id, ended_at) select clinic_id, md5(id::text)::uuid, id, 1, 'sent', id, "
            "now()"
            " from penstock.study where id = '%s'",
            study, study, study, study));
}
