/* Views of samples on a time axis: indices, reading between samples, common axes, levels. */
#include "support/assert_close.h"

#include "analysis/signal/level.h"
#include "analysis/signal/resample.h"
#include "analysis/signal/series.h"

#include <math.h>

static const double samples[] = {0.0, 1.0, 4.0, SERIES_MISSING, 16.0, 25.0};
static const struct series squares = {2.0, 10.0, 6, samples}; /* 10.0, 10.5, ... 12.5 s */

static void test_indices(void **state)
{
    (void)state;
    assert_close(series_time(&squares, 3), 11.5, 0.0);
    assert_int_equal(series_first_at(&squares, 9.0), 0);
    assert_int_equal(series_first_at(&squares, 10.5), 1);
    assert_int_equal(series_first_at(&squares, 10.6), 2);
    assert_int_equal(series_first_at(&squares, 12.5), 5);
    assert_int_equal(series_first_at(&squares, 12.6), 6);
    assert_int_equal(series_end_at(&squares, 9.9), 0);
    assert_int_equal(series_end_at(&squares, 10.0), 1);
    assert_int_equal(series_end_at(&squares, 10.9), 2);
    assert_int_equal(series_end_at(&squares, 1e300), 6);
    assert_int_equal(series_first_at(&squares, SERIES_MISSING), 0);
    assert_int_equal(series_end_at(&squares, SERIES_MISSING), 0);
    assert_int_equal(series_first_at(&squares, -SERIES_ENDLESS), 0);
    assert_int_equal(series_end_at(&squares, SERIES_ENDLESS), 6);
}

static void test_value_between_samples(void **state)
{
    static const double one[] = {7.0};
    const struct series single = {10.0, 3.0, 1, one};
    const struct series none = {.rate_hz = 10.0};

    (void)state;
    assert_close(series_value(&squares, 10.0), 0.0, 0.0);
    assert_close(series_value(&squares, 10.25), 0.5, 1e-12);
    assert_close(series_value(&squares, 10.75), 2.5, 1e-12);
    assert_close(series_value(&squares, 12.5), 25.0, 0.0);
    assert_close(series_value(&squares, 11.0), 4.0, 0.0);
    /* Not across the gap, not outside. */
    assert_true(isnan(series_value(&squares, 11.2)));
    assert_true(isnan(series_value(&squares, 11.5)));
    assert_true(isnan(series_value(&squares, 11.9)));
    assert_true(isnan(series_value(&squares, 9.9)));
    assert_true(isnan(series_value(&squares, 12.6)));
    assert_true(isnan(series_value(&squares, SERIES_MISSING)));
    assert_true(isnan(series_value(&squares, 1e300)));
    assert_close(series_value(&single, 3.0), 7.0, 0.0);
    assert_true(isnan(series_value(&single, 3.05)));
    assert_true(isnan(series_value(&none, 0.0)));
}

static void test_part(void **state)
{
    const struct series part = series_part(&squares, (struct span){10.4, 11.1});
    const struct series empty = series_part(&squares, (struct span){10.1, 10.2});
    const struct series backwards = series_part(&squares, (struct span){12.0, 11.0});

    (void)state;
    assert_int_equal(part.count, 2);
    assert_close(part.start_s, 10.5, 0.0);
    assert_close(part.samples[1], 4.0, 0.0);
    assert_int_equal(empty.count, 0);
    assert_int_equal(backwards.count, 0);
}

static void test_maximum(void **state)
{
    static const double plateau[] = {SERIES_MISSING, 1.0, 5.0, 5.0 + 1e-12, 5.0, 2.0};
    static const double missing[] = {SERIES_MISSING, SERIES_MISSING};
    const struct series flat_top = {10.0, 0.0, 6, plateau};
    const struct series absent = {10.0, 0.0, 2, missing};
    size_t index = 99;

    (void)state;
    assert_true(series_maximum(&flat_top, &index));
    assert_int_equal(index, 2);
    assert_false(series_maximum(&absent, &index));
}

static void test_difference_on_other_axes(void **state)
{
    static const double fast[] = {10.0, 11.0, 12.0, 13.0, 14.0, 15.0, 16.0, 17.0, 18.0, 19.0};
    static const double slow[] = {1.0, 2.0, 3.0};
    const struct series a = {10.0, 0.0, 10, fast};
    const struct series b = {4.0, 0.1, 3, slow}; /* 0.1, 0.35, 0.6 s */
    const struct series same = {10.0, 0.0, 4, fast};
    double difference[10];

    (void)state;
    resample_difference(&a, &b, difference);
    assert_true(isnan(difference[0])); /* b has not begun */
    assert_close(difference[1], 11.0 - 1.0, 1e-12);
    assert_close(difference[2], 12.0 - 1.4, 1e-12);
    assert_close(difference[6], 16.0 - 3.0, 1e-12);
    assert_true(isnan(difference[7]));
    resample_difference(&a, &same, difference);
    assert_close(difference[3], 0.0, 0.0);
    assert_true(isnan(difference[4]));
}

static void test_reduction(void **state)
{
    static const double fast[] = {1.0, 2.0, 3.0, SERIES_MISSING, SERIES_MISSING, 9.0, 7.0};
    const struct series series = {600.0, 1.0, 7, fast};
    double reduced[2];

    (void)state;
    assert_int_equal(resample_block(&series, 200.0), 3);
    assert_int_equal(resample_block(&squares, 200.0), 1);
    const struct series means = resample_means(&series, 3, reduced);

    assert_int_equal(means.count, 2);
    assert_close(means.rate_hz, 200.0, 1e-9);
    assert_close(means.start_s, 1.0 + 1.0 / 600.0, 1e-12);
    assert_close(means.samples[0], 2.0, 1e-12);
    assert_true(isnan(means.samples[1])); /* one of three is too few */
}

/* Blocks of two have a loop of their own. */
static void test_reduction_of_pairs(void **state)
{
    static const double fast[] = {
        1.0, 2.0, SERIES_MISSING, 5.0, SERIES_MISSING, SERIES_MISSING, -0.0, -0.0, -3.0, 1.0, 8.0};
    const struct series series = {100.0, 0.0, 11, fast};
    double reduced[5];

    (void)state;
    const struct series means = resample_means(&series, 2, reduced);

    assert_int_equal(means.count, 5);
    assert_close(means.rate_hz, 50.0, 1e-12);
    assert_close(means.start_s, 0.005, 1e-12);
    assert_close(means.samples[0], 1.5, 0.0);
    assert_close(means.samples[1], 5.0, 0.0); /* one of two is enough */
    assert_true(isnan(means.samples[2]));
    assert_false(signbit(means.samples[3])); /* as of any other block */
    assert_close(means.samples[4], -1.0, 0.0);
}

static void test_levels(void **state)
{
    static const double resting[] = {5.0, 5.2, 60.0, 5.1, 4.9, SERIES_MISSING, 5.0, 4.8};
    const struct series series = {1.0, 0.0, 8, resting};
    double room[4];
    const struct level_scratch small = {room, 4};
    double even[] = {4.0, 1.0, 3.0, 2.0};

    (void)state;
    assert_close(level_median_of(even, 4), 2.5, 0.0);
    assert_true(isnan(level_median_of(even, 0)));
    /* The cough at 2 s does not move the level; a window that is mostly missing has none. */
    assert_close(level_median(&series, (struct span){0.0, 3.0}, small), 5.15, 0.1);
    assert_true(isnan(level_median(&series, (struct span){5.0, 5.5}, small)));
    assert_true(isnan(level_median(&series, (struct span){50.0, 60.0}, small)));
    assert_close(level_median(&series, (struct span){0.0, 7.0}, small), 5.0, 0.2);
    assert_close(level_spread(&series, (struct span){3.0, 7.0}), 0.3, 1e-12);
    assert_true(isnan(level_spread(&series, (struct span){50.0, 60.0})));
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_indices),
        cmocka_unit_test(test_value_between_samples),
        cmocka_unit_test(test_part),
        cmocka_unit_test(test_maximum),
        cmocka_unit_test(test_reduction),
        cmocka_unit_test(test_difference_on_other_axes),
        cmocka_unit_test(test_reduction_of_pairs),
        cmocka_unit_test(test_levels),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
