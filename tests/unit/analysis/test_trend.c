/* Trend of a value over visits. The slope is checked against GSL in tests/published. */
#include "support/assert_close.h"

#include "analysis/trend.h"

#include <math.h>

static const struct optional_number unknown = {false, 0.0};

static struct optional_number cv(double percent)
{
    return (struct optional_number){true, percent};
}

static void test_change_and_slope(void **state)
{
    static const double days[] = {14.0, 0.0, 7.0}; /* any order */
    static const double values[] = {30.0, 24.0, 27.0};
    const struct trend trend = trend_of(3, days, values, unknown);

    (void)state;
    assert_int_equal(trend.count, 3);
    assert_close(trend.first, 24.0, 0.0);
    assert_close(trend.last, 30.0, 0.0);
    assert_close(trend.change, 6.0, 1e-12);
    assert_close(trend.change_percent, 25.0, 1e-12);
    assert_close(trend.slope_per_week, 3.0, 1e-12);
    assert_int_equal(trend.verdict, TREND_NOT_KNOWN);
}

/* Smaller than twice the coefficient of variation is within it; as large is not. */
static void test_verdict(void **state)
{
    static const double days[] = {0.0, 7.0};

    static const struct {
        double last;
        enum trend_verdict verdict;
    } rows[] = {{109.9, TREND_WITHIN_VARIATION}, {110.1, TREND_BEYOND_VARIATION},
                {90.1, TREND_WITHIN_VARIATION},  {89.9, TREND_BEYOND_VARIATION},
                {110.0, TREND_BEYOND_VARIATION}, {100.0, TREND_WITHIN_VARIATION}};

    (void)state;
    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
        const double values[] = {100.0, rows[i].last};

        assert_int_equal(trend_of(2, days, values, cv(5.0)).verdict, rows[i].verdict);
        assert_int_equal(trend_of(2, days, values, unknown).verdict, TREND_NOT_KNOWN);
        assert_int_equal(trend_of(2, days, values, cv((double)NAN)).verdict, TREND_NOT_KNOWN);
    }
}

static void test_few_and_missing(void **state)
{
    static const double days[] = {0.0, 7.0, 14.0, (double)NAN};
    static const double values[] = {(double)NAN, 20.0, 30.0, 90.0};
    const struct trend trend = trend_of(4, days, values, cv(5.0));
    const struct trend one = trend_of(2, days, values, cv(5.0));
    const struct trend none = trend_of(0, days, values, cv(5.0));

    (void)state;
    assert_int_equal(trend.count, 2);
    assert_close(trend.change_percent, 50.0, 1e-12);
    assert_int_equal(one.count, 1);
    assert_close(one.first, 20.0, 0.0);
    assert_true(isnan(one.change) && isnan(one.change_percent) && isnan(one.slope_per_week));
    assert_int_equal(one.verdict, TREND_NOT_KNOWN);
    assert_int_equal(none.count, 0);
    assert_true(isnan(none.first) && isnan(none.last));
}

/* From zero there is no percentage, at one time no slope, and from below zero up is still up. */
static void test_odd_values(void **state)
{
    static const double days[] = {5.0, 5.0};
    static const double later[] = {0.0, 1.0};
    static const double from_zero[] = {0.0, 3.0};
    static const double from_below[] = {-4.0, -2.0};
    static const double huge[] = {1e308, -1e308};

    (void)state;
    assert_true(isnan(trend_of(2, days, from_zero, cv(5.0)).slope_per_week));
    assert_close(trend_of(2, days, from_zero, cv(5.0)).last, 3.0, 0.0);
    assert_true(isnan(trend_of(2, later, from_zero, cv(5.0)).change_percent));
    assert_int_equal(trend_of(2, later, from_zero, cv(5.0)).verdict, TREND_NOT_KNOWN);
    assert_close(trend_of(2, later, from_zero, cv(5.0)).slope_per_week, 21.0, 1e-12);
    assert_close(trend_of(2, later, from_below, cv(5.0)).change_percent, 50.0, 1e-12);
    assert_true(isnan(trend_of(2, later, huge, cv(5.0)).change));
    assert_true(isnan(trend_of(2, huge, later, cv(5.0)).slope_per_week));
}

static void test_repeats(void **state)
{
    static const double same[] = {5.0, 5.0, 5.0};
    static const double around_zero[] = {-1.0, 1.0};

    (void)state;
    assert_close(trend_cv(3, same), 0.0, 1e-12);
    assert_true(isnan(trend_cv(1, same)));
    assert_true(isnan(trend_cv(0, same)));
    assert_true(isnan(trend_cv(2, around_zero)));
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_change_and_slope), cmocka_unit_test(test_verdict),
        cmocka_unit_test(test_few_and_missing),  cmocka_unit_test(test_odd_values),
        cmocka_unit_test(test_repeats),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
