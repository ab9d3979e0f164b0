/* Transactions of a store, and what it does when the connection breaks. */
#include "fixture.h"

#include "store/migrate.h"
#include "store/query.h"
#include "store/store_patient.h"

#include <string.h>

static void end_backends(struct fixture *fixture)
{
    fixture_sql(fixture, "select pg_terminate_backend(pid, 10000) from pg_stat_activity"
                         " where datname = current_database() and pid <> pg_backend_pid()"
                         " and application_name = 'penstock'");
}

static const char *count_of(struct fixture *fixture, const char *mrn)
{
    return fixture_value(
        fixture, arena_printf(fixture->arena,
                              "select count(*) from penstock.patient where mrn = '%s'", mrn));
}

static void every_statement_fits_the_schema(void **state)
{
    struct fixture *fixture = *state;
    CHECK(fixture, query_prepare_all(fixture->store, &fixture->error));
}

static void store_is_ready(void **state)
{
    struct fixture *fixture = *state;
    CHECK(fixture, store_ready(fixture->store, &fixture->error));
    end_backends(fixture);
    CHECK(fixture, store_ready(fixture->store, &fixture->error));
}

static void unreachable_database_is_unavailable(void **state)
{
    struct fixture *fixture = *state;
    struct store *store = store_new("host=/nonexistent dbname=none");
    CHECK_FAILS(fixture, ERROR_UNAVAILABLE, store_ready(store, &fixture->error));
    assert_false(store_may_retry(store));
    CHECK(fixture, store_begin(store, fixture->clinic_id, NULL, &fixture->error));
    struct patient patient;
    CHECK_FAILS(fixture, ERROR_UNAVAILABLE,
                patient_get(store, fixture->arena, fixture->clinic_id, &patient, &fixture->error));
    store_rollback(store);
    store_free(store);
}

static void commit_keeps_and_rollback_drops(void **state)
{
    struct fixture *fixture = *state;
    fixture_begin(fixture, fixture->clinic_id);
    fixture_patient(fixture, "kept");
    fixture_commit(fixture);
    fixture_begin(fixture, fixture->clinic_id);
    fixture_patient(fixture, "dropped");
    store_rollback(fixture->store);
    assert_string_equal(count_of(fixture, "kept"), "1");
    assert_string_equal(count_of(fixture, "dropped"), "0");
}

static void transactions_begin_and_end_once(void **state)
{
    struct fixture *fixture = *state;
    struct error *error = &fixture->error;
    CHECK_FAILS(fixture, ERROR_INTERNAL, store_commit(fixture->store, error));
    fixture_begin(fixture, fixture->clinic_id);
    CHECK_FAILS(fixture, ERROR_INTERNAL,
                store_begin(fixture->store, fixture->clinic_id, NULL, error));
    fixture_commit(fixture); /* nothing was done: nothing is sent */
    CHECK_FAILS(fixture, ERROR_INTERNAL, store_begin(fixture->store, "no id", NULL, error));
    struct patient patient;
    CHECK_FAILS(fixture, ERROR_INTERNAL,
                patient_get(fixture->store, fixture->arena, fixture->clinic_id, &patient, error));
}

static void look_ups_stay_outside_transactions(void **state)
{
    struct fixture *fixture = *state;
    struct principal principal;
    struct credential credential = {0};
    fixture_begin(fixture, fixture->clinic_id);
    CHECK_FAILS(fixture, ERROR_INTERNAL,
                account_for_sign_in(fixture->store, fixture->arena, "first.person", &principal,
                                    &credential, &fixture->error));
}

/* A query that fails makes PostgreSQL answer COMMIT with a rollback, and call it a success. */
static void failed_transaction_is_not_committed(void **state)
{
    struct fixture *fixture = *state;
    fixture_begin(fixture, fixture->clinic_id);
    fixture_patient(fixture, "failed");
    struct patient bad = {
        .mrn = "bad", .family_name = "A", .given_name = "B", .birth_date = "x", .sex = "female"};
    const char *id = NULL;
    CHECK_FAILS(fixture, ERROR_INVALID,
                patient_create(fixture->store, fixture->arena, &bad, &id, &fixture->error));
    CHECK_FAILS(fixture, ERROR_INTERNAL, store_commit(fixture->store, &fixture->error));
    assert_string_equal(count_of(fixture, "failed"), "0");
    fixture_begin(fixture, fixture->clinic_id);
    fixture_patient(fixture, "after the failure");
    fixture_commit(fixture);
}

static void errors_hold_no_values(void **state)
{
    struct fixture *fixture = *state;
    fixture_begin(fixture, fixture->clinic_id);
    struct patient bad = {.mrn = "secret-mrn",
                          .family_name = "Secretfamily",
                          .given_name = "B",
                          .birth_date = "1990-13-47",
                          .sex = "secretsex"};
    const char *id = NULL;
    CHECK_FAILS(fixture, ERROR_INVALID,
                patient_create(fixture->store, fixture->arena, &bad, &id, &fixture->error));
    assert_null(strstr(fixture->error.detail, "1990-13-47"));
    assert_non_null(strstr(fixture->error.detail, "22008"));
    store_rollback(fixture->store);

    fixture_begin(fixture, fixture->clinic_id);
    bad.birth_date = "1990-01-01";
    CHECK_FAILS(fixture, ERROR_INVALID,
                patient_create(fixture->store, fixture->arena, &bad, &id, &fixture->error));
    assert_null(strstr(fixture->error.detail, "ecret"));
    assert_non_null(strstr(fixture->error.detail, "patient_sex_check"));
}

static void lost_before_commit_may_be_retried(void **state)
{
    struct fixture *fixture = *state;
    fixture_begin(fixture, fixture->clinic_id);
    fixture_patient(fixture, "lost");
    assert_false(store_may_retry(fixture->store));
    end_backends(fixture);
    struct patient patient;
    CHECK_FAILS(
        fixture, ERROR_UNAVAILABLE,
        patient_get(fixture->store, fixture->arena, fixture->clinic_id, &patient, &fixture->error));
    assert_true(store_may_retry(fixture->store));
    CHECK_FAILS(fixture, ERROR_UNAVAILABLE, store_commit(fixture->store, &fixture->error));
    assert_true(store_may_retry(fixture->store));

    fixture_begin(fixture, fixture->clinic_id);
    assert_false(store_may_retry(fixture->store));
    fixture_patient(fixture, "lost");
    fixture_commit(fixture);
    assert_string_equal(count_of(fixture, "lost"), "1");
}

static void lost_at_commit_is_unknown(void **state)
{
    struct fixture *fixture = *state;
    fixture_begin(fixture, fixture->clinic_id);
    fixture_patient(fixture, "unknown");
    end_backends(fixture);
    CHECK_FAILS(fixture, ERROR_UNAVAILABLE, store_commit(fixture->store, &fixture->error));
    assert_false(store_may_retry(fixture->store));
    assert_non_null(strstr(fixture->error.detail, "unknown"));
}

/* A connection that was cut between two requests: nothing is lost, and nobody needs to know. */
static void lost_while_idle_is_mended(void **state)
{
    struct fixture *fixture = *state;
    fixture_begin(fixture, fixture->clinic_id);
    end_backends(fixture);
    fixture_patient(fixture, "mended");
    fixture_commit(fixture);
    assert_string_equal(count_of(fixture, "mended"), "1");
    end_backends(fixture);
    struct principal principal;
    struct credential credential = {0};
    CHECK(fixture, account_for_sign_in(fixture->store, fixture->arena, "first.person", &principal,
                                       &credential, &fixture->error));
}

static void read_only_server_asks_for_another_connection(void **state)
{
    struct fixture *fixture = *state;
    fixture_sql(fixture, arena_printf(fixture->arena,
                                      "alter database %s set default_transaction_read_only = on",
                                      fixture->database));
    end_backends(fixture);
    fixture_begin(fixture, fixture->clinic_id);
    const struct patient patient = {.mrn = "standby",
                                    .family_name = "A",
                                    .given_name = "B",
                                    .birth_date = "1990-01-01",
                                    .sex = "female"};
    const char *id = NULL;
    bool written = patient_create(fixture->store, fixture->arena, &patient, &id, &fixture->error);
    bool may_retry = store_may_retry(fixture->store);
    store_rollback(fixture->store);
    fixture_sql(fixture, arena_printf(fixture->arena,
                                      "alter database %s reset default_transaction_read_only",
                                      fixture->database));
    assert_false(written);
    assert_int_equal(fixture->error.kind, ERROR_UNAVAILABLE);
    assert_true(may_retry);
    fixture_begin(fixture, fixture->clinic_id);
    fixture_patient(fixture, "standby");
    fixture_commit(fixture);
}

static void read_patient(struct fixture *fixture, const char *id)
{
    struct patient patient;
    CHECK(fixture, store_begin_reading(fixture->store, fixture->clinic_id, NULL, &fixture->error));
    CHECK(fixture, patient_get(fixture->store, fixture->arena, id, &patient, &fixture->error));
    store_end_reading(fixture->store);
}

/* The look-up of a session writes when it was used. On a server that takes no change it asks for
 * another connection, also after a transaction that was only to read. */
static void read_only_server_is_left_by_a_look_up_too(void **state)
{
    struct fixture *fixture = *state;
    static const unsigned char hash[SECRET_HASH_BYTES] = {77};
    static const struct session_origin origin = {
        .address = "192.0.2.7", .user_agent = "a browser", .by_provider = false};
    int64_t expires_at_us = 0;
    fixture_begin(fixture, fixture->clinic_id);
    const char *id = fixture_patient(fixture, "read on a standby");
    CHECK(fixture, session_create(fixture->store, fixture->account_id, hash, &origin, 3600,
                                  &expires_at_us, &fixture->error));
    fixture_commit(fixture);
    fixture_sql(fixture, "update penstock.session set last_used_at = now() - interval '2 minutes'");
    fixture_sql(fixture, arena_printf(fixture->arena,
                                      "alter database %s set default_transaction_read_only = on",
                                      fixture->database));
    end_backends(fixture);
    read_patient(fixture, id);
    struct principal principal;
    bool found =
        session_principal(fixture->store, fixture->arena, hash, true, &principal, &fixture->error);
    enum error_kind kind = fixture->error.kind;
    /* The connection has been closed: what follows is made with a new one. */
    fixture_sql(fixture, arena_printf(fixture->arena,
                                      "alter database %s reset default_transaction_read_only",
                                      fixture->database));
    assert_false(found);
    assert_int_equal(kind, ERROR_UNAVAILABLE);
    CHECK(fixture, session_principal(fixture->store, fixture->arena, hash, true, &principal,
                                     &fixture->error));
}

static void reading_refuses_a_change(void **state)
{
    struct fixture *fixture = *state;
    struct error *error = &fixture->error;
    CHECK(fixture, store_begin_reading(fixture->store, fixture->clinic_id, NULL, error));
    const struct patient patient = {.mrn = "only read",
                                    .family_name = "A",
                                    .given_name = "B",
                                    .birth_date = "1990-01-01",
                                    .sex = "female"};
    const char *id = NULL;
    CHECK_FAILS(fixture, ERROR_INTERNAL,
                patient_create(fixture->store, fixture->arena, &patient, &id, error));
    assert_false(store_may_retry(fixture->store));
    store_end_reading(fixture->store);
    assert_string_equal(count_of(fixture, "only read"), "0");
    fixture_begin(fixture, fixture->clinic_id);
    fixture_patient(fixture, "only read");
    fixture_commit(fixture);
    assert_string_equal(count_of(fixture, "only read"), "1");
}

/* Nobody waits for the end of a transaction that only read, but it does end. */
static void reading_ends_by_itself(void **state)
{
    struct fixture *fixture = *state;
    fixture_begin(fixture, fixture->clinic_id);
    const char *id = fixture_patient(fixture, "read");
    fixture_commit(fixture);
    for (int i = 0; i < 3; i++) {
        read_patient(fixture, id);
    }
    fixture_sql(fixture, "do $$ begin for i in 1 .. 1000 loop"
                         "  perform pg_stat_clear_snapshot();"
                         "  exit when not exists (select from pg_stat_activity"
                         "    where datname = current_database() and pid <> pg_backend_pid()"
                         "    and state <> 'idle');"
                         "  perform pg_sleep(0.01);"
                         "end loop; end $$");
    assert_string_equal(fixture_value(fixture, "select count(*) from pg_stat_activity"
                                               " where datname = current_database()"
                                               " and pid <> pg_backend_pid() and state <> 'idle'"),
                        "0");
    fixture_begin(fixture, fixture->clinic_id);
    fixture_patient(fixture, "written after reading");
    fixture_commit(fixture);
    assert_string_equal(count_of(fixture, "written after reading"), "1");
    store_end_reading(fixture->store); /* harmless */
}

static void lost_after_reading_is_mended(void **state)
{
    struct fixture *fixture = *state;
    fixture_begin(fixture, fixture->clinic_id);
    const char *id = fixture_patient(fixture, "read, then lost");
    fixture_commit(fixture);
    read_patient(fixture, id);
    end_backends(fixture);
    read_patient(fixture, id);
    CHECK(fixture, store_begin_reading(fixture->store, fixture->clinic_id, NULL, &fixture->error));
    struct patient patient;
    CHECK(fixture, patient_get(fixture->store, fixture->arena, id, &patient, &fixture->error));
    end_backends(fixture);
    store_end_reading(fixture->store);
    read_patient(fixture, id);
}

/* A wait for the standby that is cancelled commits here and says so in a warning only. */
static void unconfirmed_commit_is_not_acknowledged(void **state)
{
    struct fixture *fixture = *state;
    fixture_begin(fixture, fixture->clinic_id);
    fixture_patient(fixture, "unconfirmed");
    /* A standby that does not exist makes the server itself wait and, cancelled, warn. */
    fixture_sql(fixture, "alter system set synchronous_standby_names = 'penstock_test_nobody'");
    fixture_sql(fixture, "select pg_reload_conf()");
    fixture_sql(fixture, "set synchronous_commit = off");
    PGconn *canceller = PQconnectdb(fixture->superuser);
    bool sent =
        PQsendQuery(canceller, "do $$ begin loop"
                               "  perform pg_cancel_backend(pid) from pg_stat_activity"
                               "    where datname = current_database() and wait_event = 'SyncRep';"
                               "  exit when found; perform pg_sleep(0.01);"
                               "  perform pg_stat_clear_snapshot();"
                               "end loop; end $$") == 1;
    bool committed = store_commit(fixture->store, &fixture->error);
    PQclear(PQgetResult(canceller));
    PQfinish(canceller);
    fixture_sql(fixture, "alter system reset synchronous_standby_names");
    fixture_sql(fixture, "select pg_reload_conf()");
    fixture_sql(fixture, "reset synchronous_commit");
    assert_true(sent);
    assert_false(committed);
    assert_int_equal(fixture->error.kind, ERROR_UNAVAILABLE);
    assert_false(store_may_retry(fixture->store));
}

int main(void)
{
#define STORE_TEST(name) cmocka_unit_test_teardown(name, fixture_after_test)
    const struct CMUnitTest tests[] = {
        STORE_TEST(every_statement_fits_the_schema),
        STORE_TEST(store_is_ready),
        STORE_TEST(unreachable_database_is_unavailable),
        STORE_TEST(commit_keeps_and_rollback_drops),
        STORE_TEST(transactions_begin_and_end_once),
        STORE_TEST(look_ups_stay_outside_transactions),
        STORE_TEST(failed_transaction_is_not_committed),
        STORE_TEST(errors_hold_no_values),
        STORE_TEST(lost_before_commit_may_be_retried),
        STORE_TEST(lost_at_commit_is_unknown),
        STORE_TEST(lost_while_idle_is_mended),
        STORE_TEST(read_only_server_asks_for_another_connection),
        STORE_TEST(read_only_server_is_left_by_a_look_up_too),
        STORE_TEST(reading_refuses_a_change),
        STORE_TEST(reading_ends_by_itself),
        STORE_TEST(lost_after_reading_is_mended),
        STORE_TEST(unconfirmed_commit_is_not_acknowledged),
    };
    return cmocka_run_group_tests_name("store: transactions", tests, fixture_setup,
                                       fixture_teardown);
}
