/* What a clinic has chosen: version by version, and the clinic's own. */
#include "fixture.h"

#include "store/store_choices.h"

static struct clinic_choices load(struct fixture *fixture)
{
    struct clinic_choices choices;
    CHECK(fixture, clinic_choices_load(fixture->store, fixture->arena, &choices, &fixture->error));
    return choices;
}

static void assert_number(struct optional_number number, double expected)
{
    assert_true(number.known);
    assert_true(number.value >= expected && number.value <= expected);
}

static void without_choices_the_standard_is_in_use(void **state)
{
    struct fixture *fixture = *state;
    struct analysis_choices standard;
    choices_standard(&standard);
    fixture_begin(fixture, fixture->other_clinic_id);
    struct clinic_choices choices = load(fixture);
    assert_int_equal(choices.version, 0);
    for (size_t i = 0; i < choices_count(); i++) {
        const struct choice_row *row = choices_row(i);
        assert_false(choices_get(&choices.chosen, row).known);
        assert_int_equal(choices_get(&choices.in_use, row).known, row->has_default);
        if (row->has_default) {
            assert_number(choices_get(&choices.in_use, row), row->standard);
        }
    }
}

static void choices_come_back_and_replace_one_another(void **state)
{
    struct fixture *fixture = *state;
    struct store *store = fixture->store;
    struct error *error = &fixture->error;
    const struct analysis_choices first = {.flow_delay_s = {true, 0.1 + 0.2},
                                           .watts_factor_low = {true, 7}};
    const struct analysis_choices second = {.anorectal_men.rest_lower_mmhg = {true, 40}};
    fixture_begin(fixture, fixture->clinic_id);
    CHECK(fixture, clinic_choices_replace(store, fixture->arena, 0, &first, error));
    fixture_commit(fixture);

    fixture_begin(fixture, fixture->clinic_id);
    struct clinic_choices choices = load(fixture);
    assert_int_equal(choices.version, 1);
    assert_number(choices.chosen.flow_delay_s, 0.1 + 0.2);
    assert_number(choices.in_use.flow_delay_s, 0.1 + 0.2);
    assert_number(choices.in_use.watts_factor_low, 7);
    assert_number(choices.in_use.obstruction_high, 40);
    CHECK_FAILS(fixture, ERROR_STALE,
                clinic_choices_replace(store, fixture->arena, 0, &second, error));
    CHECK_FAILS(fixture, ERROR_STALE,
                clinic_choices_replace(store, fixture->arena, 2, &second, error));
    CHECK(fixture, clinic_choices_replace(store, fixture->arena, 1, &second, error));
    choices = load(fixture);
    assert_int_equal(choices.version, 2);
    assert_false(choices.chosen.flow_delay_s.known);
    assert_number(choices.chosen.anorectal_men.rest_lower_mmhg, 40);
    fixture_commit(fixture);

    assert_string_equal(
        fixture_value(fixture, arena_printf(fixture->arena,
                                            "select count(*) from penstock.analysis_choices"
                                            " where created_by = '%s'",
                                            fixture->account_id)),
        "2");
    fixture_begin(fixture, fixture->other_clinic_id);
    assert_int_equal(load(fixture).version, 0);
}

/* A later program may know other codes and ranges: what it cannot use counts as not chosen. */
static void what_is_not_understood_is_left_out(void **state)
{
    struct fixture *fixture = *state;
    fixture_sql(fixture,
                arena_printf(fixture->arena,
                             "insert into penstock.analysis_choices (clinic_id, version, numbers)"
                             " values ('%s', 9, '{\"of_the_future\": 1, \"pip1_low\": 1e9,"
                             " \"pip1_high\": \"70\", \"emg_burst_sd\": 4}')",
                             fixture->other_clinic_id));
    fixture_begin(fixture, fixture->other_clinic_id);
    struct clinic_choices choices = load(fixture);
    assert_int_equal(choices.version, 9);
    assert_false(choices.chosen.pip1_low.known);
    assert_false(choices.chosen.pip1_high.known);
    assert_number(choices.chosen.emg_burst_sd, 4);
}

int main(void)
{
#define CHOICES_TEST(name) cmocka_unit_test_teardown(name, fixture_after_test)
    const struct CMUnitTest tests[] = {
        CHOICES_TEST(without_choices_the_standard_is_in_use),
        CHOICES_TEST(choices_come_back_and_replace_one_another),
        CHOICES_TEST(what_is_not_understood_is_left_out),
    };
    return cmocka_run_group_tests_name("store: choices", tests, fixture_setup, fixture_teardown);
}
