/* Migrations: once, however often and by however many they are run, and never another text. */
#include "fixture.h"

#include "store/migrate.h"

#include <pthread.h>
#include <string.h>

enum { RUNNERS = 4 };

struct runner {
    const char *conninfo;
    bool good;
    int applied;
    struct error error;
};

static void *run(void *argument)
{
    struct runner *runner = argument;
    runner->good = migrate_run(runner->conninfo, &runner->applied, &runner->error);
    return NULL;
}

static void unmigrated_database_is_not_ready(void **state)
{
    struct fixture *fixture = *state;
    CHECK_FAILS(fixture, ERROR_UNAVAILABLE, store_ready(fixture->store, &fixture->error));
    assert_non_null(strstr(fixture->error.detail, "migrations"));
}

static void concurrent_runs_apply_each_once(void **state)
{
    struct fixture *fixture = *state;
    pthread_t threads[RUNNERS];
    struct runner runners[RUNNERS];
    for (int i = 0; i < RUNNERS; i++) {
        runners[i] = (struct runner){.conninfo = fixture->owner};
        assert_int_equal(pthread_create(&threads[i], NULL, run, &runners[i]), 0);
    }
    int applied = 0;
    for (int i = 0; i < RUNNERS; i++) {
        assert_int_equal(pthread_join(threads[i], NULL), 0);
    }
    for (int i = 0; i < RUNNERS; i++) {
        fixture->error = runners[i].error;
        CHECK(fixture, runners[i].good);
        applied += runners[i].applied;
    }
    assert_true(migrate_newest_version() >= 6);
    assert_int_equal(applied, migrate_newest_version());
    CHECK(fixture, store_ready(fixture->store, &fixture->error));
}

static void second_run_applies_nothing(void **state)
{
    struct fixture *fixture = *state;
    int applied = -1;
    CHECK(fixture, migrate_run(fixture->owner, &applied, &fixture->error));
    assert_int_equal(applied, 0);
}

static void changed_text_is_refused(void **state)
{
    struct fixture *fixture = *state;
    fixture_sql(fixture, "update penstock.schema_migration"
                         " set sha256 = translate(sha256, '0123456789abcdef', '1032547698badcfe')"
                         " where version = 2");
    int applied = -1;
    bool good = migrate_run(fixture->owner, &applied, &fixture->error);
    fixture_sql(fixture, "update penstock.schema_migration"
                         " set sha256 = translate(sha256, '0123456789abcdef', '1032547698badcfe')"
                         " where version = 2");
    assert_false(good);
    assert_int_equal(fixture->error.kind, ERROR_INTERNAL);
    assert_non_null(strstr(fixture->error.detail, "0002_"));
    CHECK(fixture, migrate_run(fixture->owner, &applied, &fixture->error));
}

static void newer_database_is_refused(void **state)
{
    struct fixture *fixture = *state;
    fixture_sql(fixture, "insert into penstock.schema_migration values (9999, '9999_x.sql', '')");
    int applied = -1;
    bool migrated = migrate_run(fixture->owner, &applied, &fixture->error);
    enum error_kind migrate_kind = fixture->error.kind;
    bool ready = store_ready(fixture->store, &fixture->error);
    enum error_kind ready_kind = fixture->error.kind;
    fixture_sql(fixture, "delete from penstock.schema_migration where version = 9999");
    assert_false(migrated);
    assert_int_equal(migrate_kind, ERROR_INTERNAL);
    assert_false(ready);
    assert_int_equal(ready_kind, ERROR_UNAVAILABLE);
}

static void older_database_is_not_ready(void **state)
{
    struct fixture *fixture = *state;
    fixture_sql(fixture, "begin; update penstock.schema_migration set version = -version"
                         " where version = (select max(version) from penstock.schema_migration);"
                         " commit");
    bool ready = store_ready(fixture->store, &fixture->error);
    fixture_sql(fixture, "update penstock.schema_migration set version = -version"
                         " where version < 0");
    assert_false(ready);
    assert_int_equal(fixture->error.kind, ERROR_UNAVAILABLE);
}

static void missing_role_to_connect_is_reported(void **state)
{
    struct fixture *fixture = *state;
    int applied = -1;
    CHECK_FAILS(fixture, ERROR_UNAVAILABLE,
                migrate_run("host=/nonexistent dbname=none", &applied, &fixture->error));
    /* A role that may do nothing here cannot migrate, and nothing of it stays. */
    fixture_sql(fixture, "drop role if exists penstock_test_nothing");
    fixture_sql(fixture, "create role penstock_test_nothing");
    fixture_sql(fixture, "alter table penstock.schema_migration rename to moved");
    bool good =
        migrate_run(fixture_conninfo(fixture, "penstock_test_nothing"), &applied, &fixture->error);
    fixture_sql(fixture, "alter table penstock.moved rename to schema_migration");
    fixture_sql(fixture, "drop role penstock_test_nothing");
    assert_false(good);
    assert_int_equal(fixture->error.kind, ERROR_INTERNAL);
}

static void every_table_and_column_has_a_comment(void **state)
{
    struct fixture *fixture = *state;
    const char *missing = fixture_value(
        fixture,
        "select coalesce(string_agg(c.relname || coalesce('.' || a.attname, ''), ', '), '')"
        " from pg_class c left join pg_attribute a on a.attrelid = c.oid and a.attnum > 0"
        " and not a.attisdropped where c.relnamespace = 'penstock'::regnamespace"
        " and c.relkind in ('r', 'p', 'v')"
        " and (c.relispartition and obj_description(c.oid, 'pg_class') is null"
        " or not c.relispartition and (obj_description(c.oid, 'pg_class') is null"
        " or col_description(c.oid, a.attnum) is null))");
    assert_string_equal(missing, "");
    assert_string_equal(fixture_value(fixture, "select count(*) >= 12 from pg_class"
                                               " where relnamespace = 'penstock'::regnamespace"
                                               " and relkind = 'r'"),
                        "t");
}

static void every_table_is_bound_to_its_clinic(void **state)
{
    struct fixture *fixture = *state;
    assert_string_equal(fixture_value(fixture, "select coalesce(string_agg(relname, ', '), '')"
                                               " from pg_class"
                                               " where relnamespace = 'penstock'::regnamespace"
                                               " and relkind in ('r', 'p') and not relispartition"
                                               " and relname <> 'schema_migration'"
                                               " and not (relrowsecurity and relforcerowsecurity)"),
                        "");
    /* clinic_id leads every key; the exceptions have to be found before the clinic is known, or
     * belong to none: attempts to sign in. */
    assert_string_equal(
        fixture_value(fixture,
                      "select string_agg(x.relname, ', ' order by x.relname)"
                      " from pg_index i join pg_class x on x.oid = i.indexrelid"
                      " join pg_class c on c.oid = i.indrelid"
                      " left join pg_attribute a on a.attrelid = c.oid and a.attnum = i.indkey[0]"
                      " where c.relnamespace = 'penstock'::regnamespace"
                      " and c.relname <> 'schema_migration'"
                      " and a.attname is distinct from 'clinic_id'"),
        "account_subject, account_username, api_token_by_hash, attempt_by_end, attempt_pkey,"
        " former_secret_by_hash, known_browser_by_end, known_browser_by_hash, known_browser_pkey,"
        " link_miss_pkey,"
        " session_by_hash, sign_in_attempt_over, sign_in_attempt_pkey, study_link_by_hash");
    assert_string_equal(
        fixture_value(fixture,
                      "select coalesce(string_agg(k.conname, ', '), '') from pg_constraint k"
                      " join pg_attribute a on a.attrelid = k.conrelid and a.attnum = k.conkey[1]"
                      " where k.connamespace = 'penstock'::regnamespace and k.contype = 'f'"
                      " and a.attname <> 'clinic_id'"),
        "");
}

int main(void)
{
#define MIGRATE_TEST(name) cmocka_unit_test_teardown(name, fixture_after_test)
    const struct CMUnitTest tests[] = {
        MIGRATE_TEST(unmigrated_database_is_not_ready),
        MIGRATE_TEST(concurrent_runs_apply_each_once),
        MIGRATE_TEST(second_run_applies_nothing),
        MIGRATE_TEST(changed_text_is_refused),
        MIGRATE_TEST(newer_database_is_refused),
        MIGRATE_TEST(older_database_is_not_ready),
        MIGRATE_TEST(missing_role_to_connect_is_reported),
        MIGRATE_TEST(every_table_and_column_has_a_comment),
        MIGRATE_TEST(every_table_is_bound_to_its_clinic),
    };
    return cmocka_run_group_tests_name("store: migrations", tests, fixture_setup_empty,
                                       fixture_teardown);
}
