/* Sliding windows: their width, their ends, and gaps. */
#include "support/assert_close.h"

#include "analysis/signal/smooth.h"

#include <math.h>

static void test_window_width(void **state)
{
    static const struct {
        double rate_hz;
        size_t window;
    } rows[] = {{0.5, 1},   {1.0, 3},     {10.0, 21},     {12.5, 25},
                {25.0, 51}, {100.0, 201}, {9.9999999, 21}};

    (void)state;
    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
        const struct series series = {rows[i].rate_hz, 0.0, 1000, NULL};

        assert_int_equal(smooth_window(&series, 1.0), rows[i].window);
    }
}

static void test_mean_ends(void **state)
{
    static const double ones[] = {1.0, 1.0, 1.0, 1.0, 1.0, 1.0};
    const struct series series = {1.0, 0.0, 6, ones};
    double output[6];

    (void)state;
    smooth_mean(&series, 5, SMOOTH_ENDS_ZERO, output);
    assert_close(output[0], 0.6, 1e-12);
    assert_close(output[1], 0.8, 1e-12);
    assert_close(output[2], 1.0, 1e-12);
    assert_close(output[5], 0.6, 1e-12);
    smooth_mean(&series, 5, SMOOTH_ENDS_SHORTEN, output);
    for (size_t i = 0; i < 6; i++) {
        assert_close(output[i], 1.0, 1e-12);
    }
    /* A window wider than the series. */
    smooth_mean(&series, 25, SMOOTH_ENDS_SHORTEN, output);
    assert_close(output[0], 1.0, 1e-12);
    smooth_mean(&series, 25, SMOOTH_ENDS_ZERO, output);
    assert_close(output[3], 6.0 / 25.0, 1e-12);
}

static void test_mean_gaps(void **state)
{
    static const double gap[] = {
        2.0, 2.0, 8.0, SERIES_MISSING, SERIES_MISSING, 4.0, SERIES_MISSING, SERIES_MISSING, 6.0};
    const struct series series = {1.0, 0.0, 9, gap};
    double output[9];

    (void)state;
    smooth_mean(&series, 3, SMOOTH_ENDS_SHORTEN, output);
    assert_close(output[1], 4.0, 1e-12);
    assert_close(output[2], 5.0, 1e-12); /* of the two that are there */
    assert_true(isnan(output[3]));       /* a gap is never filled */
    assert_true(isnan(output[5]));       /* one of three is too few */
    assert_true(isnan(output[6]));
    assert_close(output[8], 6.0, 1e-12);
}

static void test_median_keeps_edges(void **state)
{
    static const double step[] = {0.0, 0.0, 0.0, 0.0, 9.0, 9.0, 9.0, 9.0};
    static const double knock[] = {1.0, 1.0, 1.0, 50.0, 1.0, 1.0, SERIES_MISSING, 2.0};
    const struct series a = {1.0, 0.0, 8, step};
    const struct series b = {1.0, 0.0, 8, knock};
    double sorted[5];
    double output[8];

    (void)state;
    smooth_median(&a, 5, sorted, output);
    for (size_t i = 0; i < 8; i++) {
        assert_close(output[i], step[i], 0.0);
    }
    smooth_median(&b, 5, sorted, output);
    assert_close(output[3], 1.0, 0.0);
    assert_true(isnan(output[6]));
    assert_close(output[7], 1.5, 0.0); /* even number present: the mean of the middle two */
}

/* Where the median reaches the level it is exact, and elsewhere both stay below it: a threshold at
 * the level is crossed at the same places. */
static void test_median_beyond_level(void **state)
{
    enum { COUNT = 400, WINDOW = 25 };

    const double level_ml_s = 0.5;
    double samples[COUNT];
    double exact[COUNT];
    double quick[COUNT];
    double sorted[WINDOW];
    size_t reached = 0;

    (void)state;
    for (size_t i = 0; i < COUNT; i++) {
        const double phase = (double)(i % 130) - 60.0;

        samples[i] =
            0.3 * sin((double)i * 1.7) + (fabs(phase) < 25.0 ? (i < 200 ? 3.0 : -3.0) : 0.0);
        samples[i] = i % 37 == 5 ? SERIES_MISSING : samples[i];
    }
    const struct series series = {50.0, 0.0, COUNT, samples};

    smooth_median(&series, WINDOW, sorted, exact);
    smooth_median_beyond(&series, WINDOW, level_ml_s, sorted, quick);
    for (size_t i = 0; i < COUNT; i++) {
        if (isnan(exact[i])) {
            assert_true(isnan(quick[i]));
        } else if (fabs(exact[i]) >= level_ml_s) {
            assert_close(quick[i], exact[i], 0.0);
            reached++;
        } else {
            assert_true(fabs(quick[i]) < level_ml_s);
        }
    }
    assert_true(reached > 50 && reached < 350);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_window_width),        cmocka_unit_test(test_mean_ends),
        cmocka_unit_test(test_mean_gaps),           cmocka_unit_test(test_median_keeps_edges),
        cmocka_unit_test(test_median_beyond_level),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
