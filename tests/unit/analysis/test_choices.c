/* The choices of a clinic: a table without holes, and what follows from it. */
#include "support/assert_close.h"

#include "analysis/choices.h"
#include "analysis/units.h"

#include <string.h>

static void test_every_member_has_one_row(void **state)
{
    enum { MEMBER_COUNT = sizeof(struct analysis_choices) / sizeof(struct optional_number) };

    bool seen[MEMBER_COUNT] = {false};

    (void)state;
    assert_int_equal(choices_count(), MEMBER_COUNT);
    for (size_t i = 0; i < choices_count(); i++) {
        const size_t member = choices_row(i)->offset / sizeof(struct optional_number);

        assert_int_equal(choices_row(i)->offset % sizeof(struct optional_number), 0);
        assert_true(member < MEMBER_COUNT);
        assert_false(seen[member]);
        seen[member] = true;
    }
}

static void test_rows_are_complete(void **state)
{
    (void)state;
    for (size_t i = 0; i < choices_count(); i++) {
        const struct choice_row *row = choices_row(i);
        double factor = 0.0;

        assert_true(strlen(row->label) > 5 && strlen(row->source) > 3);
        assert_true(row->least < row->most);
        assert_true(!row->has_default ||
                    (row->standard >= row->least && row->standard <= row->most));
        assert_true(strcmp(row->unit, "1") == 0 || strcmp(row->unit, "mL/cm[H2O]") == 0 ||
                    strcmp(row->unit, "uW/mm2") == 0 ||
                    units_factor(row->unit, row->unit, &factor));
        assert_ptr_equal(choices_find(row->code), row);
    }
    assert_null(choices_find("compliance"));
    assert_null(choices_find(""));
}

static void test_standard(void **state)
{
    struct analysis_choices choices;

    (void)state;
    choices_standard(&choices);
    for (size_t i = 0; i < choices_count(); i++) {
        const struct optional_number number = choices_get(&choices, choices_row(i));

        assert_int_equal(number.known, choices_row(i)->has_default);
        if (number.known) {
            assert_close(number.value, choices_row(i)->standard, 0.0);
        }
    }
}

static void test_chosen_over_standard(void **state)
{
    struct analysis_choices chosen = {0};
    struct analysis_choices in_use;

    (void)state;
    chosen.compliance_low_ml_cmh2o = (struct optional_number){true, 12.5};
    chosen.voiding_efficiency_low = (struct optional_number){true, 80.0};
    choices_in_use(&chosen, &in_use);
    assert_close(in_use.compliance_low_ml_cmh2o.value, 12.5, 0.0);
    assert_true(in_use.voiding_efficiency_low.known);
    assert_close(in_use.voiding_efficiency_low.value, 80.0, 0.0);
    assert_close(in_use.obstruction_high.value, choices_find("obstruction_high")->standard, 0.0);
    assert_false(in_use.watts_factor_low.known);
}

/* Each pair names two choices of one unit, and the standards keep to it. */
static void test_pairs(void **state)
{
    (void)state;
    assert_true(choices_pair_count() > 0);
    for (size_t i = 0; i < choices_pair_count(); i++) {
        const struct choice_row *lower = choices_find(choices_pair(i)->lower);
        const struct choice_row *upper = choices_find(choices_pair(i)->upper);

        assert_non_null(lower);
        assert_non_null(upper);
        assert_string_equal(lower->unit, upper->unit);
        assert_int_equal(lower->has_default, upper->has_default);
        assert_true(lower->standard <= upper->standard);
        assert_true(lower->least < upper->most);
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_every_member_has_one_row),
        cmocka_unit_test(test_rows_are_complete),
        cmocka_unit_test(test_standard),
        cmocka_unit_test(test_chosen_over_standard),
        cmocka_unit_test(test_pairs),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
