/* How long recordings are kept: not at all limited without a rule, and never a day too short. */
#include "recording_fixture.h"

#include "base/uuid.h"
#include "store/store_recording_state.h"
#include "store/store_retention.h"
#include "store/store_study.h"

#include <string.h>

static const struct optional_number none;

static struct optional_number years(double value)
{
    return (struct optional_number){true, value};
}

static struct retention_rule load(struct fixture *fixture)
{
    struct retention_rule rule = {.version = -1};
    fixture_begin(fixture, fixture->clinic_id);
    CHECK(fixture, retention_rule_load(fixture->store, &rule, &fixture->error));
    fixture_commit(fixture);
    return rule;
}

static void decide(struct fixture *fixture, struct optional_number keep,
                   struct optional_number until_age)
{
    struct retention_rule rule = {
        .version = load(fixture).version, .keep_years = keep, .keep_until_age_years = until_age};
    fixture_begin(fixture, fixture->clinic_id);
    CHECK(fixture, retention_rule_replace(fixture->store, &rule, &fixture->error));
    fixture_commit(fixture);
}

/* A recording of a visit and a patient, whose dates SQL expressions say. */
static const char *stored_one(struct fixture *fixture, const char *mrn, const char *visit,
                              const char *birth, const char **ret_study)
{
    fixture_begin(fixture, fixture->clinic_id);
    const char *patient = fixture_patient(fixture, mrn);
    const char *study = fixture_study(fixture, patient);
    const char *id = recording_fixture_store(fixture, study, 1);
    fixture_commit(fixture);
    fixture_sql(fixture, arena_printf(fixture->arena,
                                      "update penstock.study set started_at = %s where id = '%s'",
                                      visit, study));
    fixture_sql(fixture, arena_printf(fixture->arena,
                                      "update penstock.patient set birth_date = %s where id = '%s'",
                                      birth, patient));
    if (ret_study != NULL) {
        *ret_study = study;
    }
    return id;
}

/* Whether the recording is listed as due; looks at every page of two. */
static bool is_due(struct fixture *fixture, const char *id)
{
    char after[UUID_TEXT_SIZE] = "";
    size_t count = 2;
    bool found = false;
    fixture_begin(fixture, fixture->clinic_id);
    while (count == 2) {
        struct due_recording *items = NULL;
        CHECK(fixture,
              retention_list_due(fixture->store, fixture->arena, after[0] == '\0' ? NULL : after, 2,
                                 &items, &count, &fixture->error));
        assert_true(count <= 2);
        for (size_t i = 0; i < count; i++) {
            assert_true(strcmp(items[i].id, after) > 0);
            memcpy(after, items[i].id, sizeof after);
            found = found || strcmp(items[i].id, id) == 0;
        }
    }
    fixture_commit(fixture);
    return found;
}

/* Runs first: nobody has decided anything yet. */
static void without_a_rule_nothing_is_due(void **state)
{
    struct fixture *fixture = *state;
    const char *id = stored_one(fixture, "ancient", "'1990-01-01'", "'1900-01-01'", NULL);
    struct retention_rule rule = load(fixture);
    assert_int_equal(rule.version, 0);
    assert_false(rule.keep_years.known);
    assert_false(rule.keep_until_age_years.known);
    assert_false(is_due(fixture, id));
}

static void rules_have_versions(void **state)
{
    struct fixture *fixture = *state;
    struct error *error = &fixture->error;
    struct retention_rule rule = {.version = load(fixture).version, .keep_years = years(10)};
    int first = rule.version + 1;
    fixture_begin(fixture, fixture->clinic_id);
    CHECK(fixture, retention_rule_replace(fixture->store, &rule, error));
    CHECK_FAILS(fixture, ERROR_STALE, retention_rule_replace(fixture->store, &rule, error));
    rule.version = first + 1;
    CHECK_FAILS(fixture, ERROR_STALE, retention_rule_replace(fixture->store, &rule, error));
    rule.version = first;
    rule.keep_years = none;
    rule.keep_until_age_years = years(25);
    CHECK(fixture, retention_rule_replace(fixture->store, &rule, error));
    fixture_commit(fixture);
    rule = load(fixture);
    assert_int_equal(rule.version, first + 1);
    assert_false(rule.keep_years.known);
    assert_true(rule.keep_until_age_years.known);
    assert_true(rule.keep_until_age_years.value > 24.5 && rule.keep_until_age_years.value < 25.5);
    /* Earlier ones stay, with who decided. */
    assert_string_equal(
        fixture_value(fixture, arena_printf(fixture->arena,
                                            "select keep_years from penstock.retention_rule"
                                            " where version = %d and created_by = '%s'",
                                            first, fixture->account_id)),
        "10");
    /* The other clinic has decided nothing. */
    fixture_begin(fixture, fixture->other_clinic_id);
    CHECK(fixture, retention_rule_load(fixture->store, &rule, error));
    assert_int_equal(rule.version, 0);
    fixture_commit(fixture);
    static const double impossible[] = {0, 201, -1};
    for (int i = 0; i < 3; i++) {
        rule.keep_years = years(impossible[i]);
        fixture_begin(fixture, fixture->other_clinic_id);
        CHECK_FAILS(fixture, ERROR_INVALID, retention_rule_replace(fixture->store, &rule, error));
        store_rollback(fixture->store);
    }
}

static void two_rules_at_once_are_one(void **state)
{
    struct fixture *fixture = *state;
    struct store *other = store_new(fixture->owner);
    struct retention_rule rule = {.version = load(fixture).version, .keep_years = years(7)};
    struct error error;
    fixture_begin(fixture, fixture->clinic_id);
    CHECK(fixture, retention_rule_replace(fixture->store, &rule, &fixture->error));
    assert_true(store_begin(other, fixture->clinic_id, NULL, &error));
    fixture_commit(fixture);
    bool replaced = retention_rule_replace(other, &rule, &error);
    store_free(other);
    assert_false(replaced);
    assert_int_equal(error.kind, ERROR_STALE);
}

static void due_only_behind_both_limits(void **state)
{
    struct fixture *fixture = *state;

    static const struct {
        const char *visit; /* and birth, as SQL */
        const char *birth;
        double keep_years; /* 0: for ever */
        double until_age;  /* 0: no such limit */
        bool due;
    } rows[] = {
        {"now() - interval '11 years'", "current_date - interval '40 years'", 10, 0, true},
        {"now() - interval '9 years'", "current_date - interval '40 years'", 10, 0, false},
        {"now() - interval '11 years'", "current_date - interval '26 years'", 10, 25, true},
        {"now() - interval '11 years'", "current_date - interval '24 years'", 10, 25, false},
        {"now() - interval '9 years'", "current_date - interval '26 years'", 10, 25, false},
        {"now() - interval '90 years'", "current_date - interval '99 years'", 0, 25, false},
        {"now() - interval '90 years'", "current_date - interval '99 years'", 0, 0, false},
        /* The day itself still counts; the next one does not. (Years by four, or 29 February
         * would be no anniversary.) */
        {"(now() at time zone 'UTC')::date - interval '8 years'", "'1950-01-01'", 8, 0, false},
        {"((now() at time zone 'UTC')::date - 1) - interval '8 years' - interval '1 day'",
         "'1950-01-01'", 8, 0, true},
        {"'1990-01-01'", "(now() at time zone 'UTC')::date - interval '24 years'", 10, 24, false},
    };

    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
        const char *id = stored_one(fixture, arena_printf(fixture->arena, "limits %zu", i),
                                    rows[i].visit, rows[i].birth, NULL);
        decide(fixture, rows[i].keep_years > 0 ? years(rows[i].keep_years) : none,
               rows[i].until_age > 0 ? years(rows[i].until_age) : none);
        bool due = is_due(fixture, id);
        if (due != rows[i].due) {
            fail_msg("row %zu is %sdue", i, due ? "" : "not ");
        }
    }
}

/* Nobody is of age, and no visit ten years old, a day before the calendar says so. */
static void leap_days_end_on_the_first_of_march(void **state)
{
    struct fixture *fixture = *state;

    static const struct {
        const char *start;
        int years;
        const char *end;
    } rows[] = {
        {"2004-02-29", 18, "2022-03-01"},  {"2004-02-29", 4, "2008-02-29"},
        {"2004-02-28", 18, "2022-02-28"},  {"2004-03-01", 18, "2022-03-01"},
        {"2003-03-01", 17, "2020-03-01"},  {"2003-02-28", 17, "2020-02-28"},
        {"1896-02-29", 4, "1900-03-01"}, /* 1900 was no leap year, 2000 was one */
        {"1896-02-29", 104, "2000-02-29"}, {"2003-01-01", 1, "2004-01-01"},
        {"2003-12-31", 200, "2203-12-31"},
    };

    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
        assert_string_equal(
            fixture_value(fixture,
                          arena_printf(fixture->arena, "select penstock.years_after('%s', %d)",
                                       rows[i].start, rows[i].years)),
            rows[i].end);
    }
    assert_string_equal(fixture_value(fixture, "select penstock.years_after('2003-01-01', null)"
                                               " is null"),
                        "t");
}

static void open_and_withdrawn_ones_are_not_listed(void **state)
{
    struct fixture *fixture = *state;
    decide(fixture, years(1), none);
    const char *id =
        stored_one(fixture, "listed once", "now() - interval '5 years'", "'1950-01-01'", NULL);
    assert_true(is_due(fixture, id));
    fixture_begin(fixture, fixture->clinic_id);
    CHECK(fixture, recording_withdraw(fixture->store, id, 1, "kept long enough", &fixture->error));
    fixture_commit(fixture);
    assert_false(is_due(fixture, id));
    fixture_begin(fixture, fixture->other_clinic_id);
    struct due_recording *items = NULL;
    size_t count = 1;
    CHECK(fixture, retention_list_due(fixture->store, fixture->arena, NULL, 1000, &items, &count,
                                      &fixture->error));
    assert_int_equal(count, 0);
}

static const char *try_to_withdraw(struct fixture *fixture, const char *id, int version)
{
    PGconn *app = fixture_app_connection(fixture, fixture->clinic_id);
    const char *got =
        fixture_sqlstate(fixture, app,
                         arena_printf(fixture->arena,
                                      "update penstock.recording set state = 'withdrawn',"
                                      " version = %d where id = '%s'",
                                      version, id));
    PQfinish(app);
    return got;
}

/* By the store, and by SQL of the server's role. */
static void signed_recordings_go_only_when_due(void **state)
{
    struct fixture *fixture = *state;
    struct error *error = &fixture->error;
    const char *studies[2];
    const char *ids[2];
    for (int i = 0; i < 2; i++) {
        ids[i] = stored_one(fixture, i == 0 ? "signed, store" : "signed, SQL",
                            "now() - interval '15 years'", "'1950-01-01'", &studies[i]);
        fixture_set_status(fixture, studies[i], "final");
    }
    decide(fixture, years(20), none);
    assert_false(is_due(fixture, ids[0]));
    fixture_begin(fixture, fixture->clinic_id);
    CHECK_FAILS(fixture, ERROR_CONFLICT, recording_withdraw(fixture->store, ids[0], 1, "", error));
    assert_string_equal(error->detail, "signed");
    fixture_commit(fixture);
    assert_string_equal(try_to_withdraw(fixture, ids[1], 2), "PS001");

    decide(fixture, years(10), none);
    assert_true(is_due(fixture, ids[0]));
    fixture_begin(fixture, fixture->clinic_id);
    CHECK_FAILS(fixture, ERROR_STALE, recording_withdraw(fixture->store, ids[0], 2, "", error));
    CHECK(fixture, recording_withdraw(fixture->store, ids[0], 1, "kept for ten years", error));
    struct study study;
    CHECK(fixture, study_get(fixture->store, fixture->arena, studies[0], &study, error));
    assert_string_equal(study.status, "final");
    assert_int_equal(study.recording_count, 0);
    fixture_commit(fixture);
    assert_string_equal(try_to_withdraw(fixture, ids[1], 3), "PS002"); /* versions grow by one */
    assert_string_equal(try_to_withdraw(fixture, ids[1], 2), "00000");

    /* Nothing else of it becomes possible, and it does not come back. */
    fixture_begin(fixture, fixture->clinic_id);
    CHECK_FAILS(fixture, ERROR_CONFLICT, recording_restore(fixture->store, ids[0], 2, "", error));
    assert_string_equal(error->detail, "signed");
    CHECK_FAILS(fixture, ERROR_CONFLICT, recording_lock(fixture->store, ids[0], 1, error));
    fixture_commit(fixture);
    static const char *const refused[] = {
        "update penstock.recording set state = 'complete', version = 3 where id = '%s'",
        "update penstock.recording set revision = 2, version = 3 where id = '%s'",
        "update penstock.recording set state = 'withdrawn', version = 3 where id = '%s'",
    };
    PGconn *app = fixture_app_connection(fixture, fixture->clinic_id);
    for (size_t i = 0; i < sizeof refused / sizeof refused[0]; i++) {
        const char *mark = strstr(refused[i], "%s");
        assert_string_equal(
            fixture_sqlstate(fixture, app,
                             arena_printf(fixture->arena, "%.*s%s%s", (int)(mark - refused[i]),
                                          refused[i], ids[1], mark + 2)),
            "PS001");
    }
    PQfinish(app);
}

int main(void)
{
#define RETENTION_TEST(name) cmocka_unit_test_teardown(name, fixture_after_test)
    const struct CMUnitTest tests[] = {
        RETENTION_TEST(without_a_rule_nothing_is_due),
        RETENTION_TEST(rules_have_versions),
        RETENTION_TEST(two_rules_at_once_are_one),
        RETENTION_TEST(due_only_behind_both_limits),
        RETENTION_TEST(leap_days_end_on_the_first_of_march),
        RETENTION_TEST(open_and_withdrawn_ones_are_not_listed),
        RETENTION_TEST(signed_recordings_go_only_when_due),
    };
    return cmocka_run_group_tests_name("store: retention", tests, fixture_setup, fixture_teardown);
}
