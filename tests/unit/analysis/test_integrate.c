/* Volume from flow and flow from volume: ends, gaps, single samples. */
#include "support/assert_close.h"

#include "analysis/signal/integrate.h"

#include <math.h>

static void test_partial_steps(void **state)
{
    static const double ramp[] = {0.0, 2.0, 4.0, 6.0};
    const struct series series = {1.0, 5.0, 4, ramp}; /* 2*(t-5) over 5..8 s */
    double integral = -1.0;

    (void)state;
    assert_true(integrate_span(&series, (struct span){5.0, 8.0}, 1.0, &integral));
    assert_close(integral, 9.0, 1e-12);
    assert_true(integrate_span(&series, (struct span){5.5, 6.25}, 1.0, &integral));
    assert_close(integral, 1.25 * 1.25 - 0.25, 1e-12);
    assert_true(integrate_span(&series, (struct span){6.2, 6.4}, 1.0, &integral));
    assert_close(integral, 1.4 * 1.4 - 1.2 * 1.2, 1e-12);
    /* Outside the series there is nothing. */
    assert_true(integrate_span(&series, (struct span){-100.0, 100.0}, 1.0, &integral));
    assert_close(integral, 9.0, 1e-12);
    assert_true(integrate_span(&series, (struct span){20.0, 30.0}, 1.0, &integral));
    assert_close(integral, 0.0, 0.0);
    assert_true(integrate_span(&series, (struct span){7.0, 6.0}, 1.0, &integral));
    assert_close(integral, 0.0, 0.0);
}

static void test_gaps(void **state)
{
    static const double flow[] = {
        5.0, 5.0, SERIES_MISSING, 5.0, 5.0, SERIES_MISSING, SERIES_MISSING, 5.0, 5.0};
    const struct series series = {2.0, 0.0, 9, flow}; /* gaps of 1.0 s and of 1.5 s */
    double integral = -1.0;

    (void)state;
    assert_true(integrate_span(&series, (struct span){0.0, 2.0}, 1.0, &integral));
    assert_close(integral, 10.0, 1e-12);
    assert_false(integrate_span(&series, (struct span){0.0, 4.0}, 1.0, &integral));
    assert_close(integral, 10.0, 1e-12); /* untouched */
    assert_false(integrate_span(&series, (struct span){2.2, 2.8}, 1.0, &integral));
    assert_true(integrate_span(&series, (struct span){3.5, 4.0}, 1.0, &integral));
    assert_close(integral, 2.5, 1e-12);
    assert_true(integrate_span(&series, (struct span){0.75, 1.25}, 1.0, &integral));
    assert_close(integral, 2.5, 1e-12);
}

static void test_slow_sampling_is_no_gap(void **state)
{
    static const double flow[] = {5.0, 5.0, 5.0};
    const struct series series = {0.25, 0.0, 3, flow};
    double integral = -1.0;

    (void)state;
    assert_true(integrate_span(&series, (struct span){0.0, 8.0}, 1.0, &integral));
    assert_close(integral, 40.0, 1e-12);
}

static void test_slope(void **state)
{
    static const double ramp[] = {0.0, 3.0, 6.0, SERIES_MISSING, 12.0, 15.0};
    static const double one[] = {3.0};
    const struct series series = {10.0, 0.0, 6, ramp};
    const struct series single = {10.0, 0.0, 1, one};
    double slope[6];

    (void)state;
    integrate_slope(&series, 0.25, slope);
    for (size_t i = 0; i < 6; i++) {
        if (i == 3) {
            assert_true(isnan(slope[i]));
        } else {
            assert_close(slope[i], 30.0, 1e-9);
        }
    }
    integrate_slope(&single, 0.25, slope);
    assert_true(isnan(slope[0]));
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_partial_steps),
        cmocka_unit_test(test_gaps),
        cmocka_unit_test(test_slow_sampling_is_no_gap),
        cmocka_unit_test(test_slope),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
