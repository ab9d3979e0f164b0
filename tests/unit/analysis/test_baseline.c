/* What is left of a signal without its peaks. */
#include "support/assert_close.h"

#include "analysis/signal/baseline.h"

#include <math.h>

enum { COUNT = 1200 };

static const double pi = 3.14159265358979323846;
static const struct baseline_rule rule = {.period_s = 300.0, .noise_least = 0.3, .rounds = 25};

static void take_off_peaks(const double *samples, size_t count, size_t window, double *output)
{
    const struct series series = {1.0, 0.0, count, samples};
    double scratch[16];
    size_t queue[16];

    assert_true(count <= 16);
    baseline_open(&series, window, scratch, queue, output);
}

static void test_opening(void **state)
{
    static const double samples[] = {1.0, 1.0, 5.0, 5.0, 1.0, 7.0, 7.0, 7.0, 2.0, 0.0};
    static const double expected[] = {1.0, 1.0, 1.0, 1.0, 1.0, 7.0, 7.0, 7.0, 2.0, 0.0};
    static const double gap[] = {1.0, SERIES_MISSING, 5.0, 5.0, 5.0, SERIES_MISSING, 1.0};
    double output[16];

    (void)state;
    take_off_peaks(samples, 10, 3, output);
    for (size_t i = 0; i < 10; i++) {
        assert_close(output[i], expected[i], 0.0); /* two wide is a peak, three wide is not */
    }
    take_off_peaks(samples, 10, 1, output);
    assert_close(output[2], 5.0, 0.0);
    take_off_peaks(samples, 10, 99, output);
    assert_close(output[5], 0.0, 0.0);
    take_off_peaks(gap, 7, 3, output);
    assert_true(isnan(output[1]) && isnan(output[5]));
    assert_close(output[3], 5.0, 0.0);
    take_off_peaks(gap, 0, 3, output);
}

/* The definition: the largest of all the smallest values over windows that hold the sample. */
static void test_opening_against_the_definition(void **state)
{
    double samples[16];
    double output[16];
    unsigned random = 3;

    (void)state;
    for (size_t i = 0; i < 16; i++) {
        random = random * 1664525u + 1013904223u;
        samples[i] = (double)(random >> 20);
    }
    take_off_peaks(samples, 16, 5, output);
    for (size_t i = 2; i + 2 < 16; i++) {
        double best = -SERIES_ENDLESS;

        for (size_t centre = i - 2; centre <= i + 2; centre++) {
            double least = SERIES_ENDLESS;

            for (size_t k = centre >= 2 ? centre - 2 : 0; k <= centre + 2 && k < 16; k++) {
                least = fmin(least, samples[k]);
            }
            best = fmax(best, least);
        }
        assert_close(output[i], best, 0.0);
    }
}

static void follow(const double *samples, size_t count, const bool *breaks, double *output)
{
    static double scratch[BASELINE_SCRATCH * COUNT];
    const struct series series = {1.0, 0.0, count, samples};

    baseline_follow(&series, breaks, rule, scratch, output);
}

/* Contractions of any width on a slope: the curve passes below them, also through a gap. */
static void test_slope_under_peaks(void **state)
{
    static double samples[COUNT];
    static double output[COUNT];
    static bool breaks[COUNT];

    (void)state;
    for (size_t i = 0; i < COUNT; i++) {
        const double off = fmod((double)i, 150.0) - 75.0;

        samples[i] =
            3.0 + 0.03 * (double)i + (fabs(off) < 40.0 ? 30.0 * cos(off * pi / 80.0) : 0.0);
        if (i >= 500 && i < 560) {
            samples[i] = SERIES_MISSING;
        }
    }
    follow(samples, COUNT, breaks, output);
    for (size_t i = 0; i < COUNT; i++) {
        assert_close(output[i], 3.0 + 0.03 * (double)i, 0.5);
    }
}

/* A wave of the rule's period is halved where all weights are equal, i.e. by a wave within the
 * noise that is reckoned with. */
static void test_period(void **state)
{
    static double samples[COUNT];
    static double output[COUNT];
    static bool breaks[COUNT];
    double product = 0.0;
    double squares = 0.0;

    (void)state;
    for (size_t i = 0; i < COUNT; i++) {
        samples[i] = 0.01 * sin(2.0 * pi * (double)i / 300.0);
    }
    follow(samples, COUNT, breaks, output);
    for (size_t i = 300; i < 900; i++) {
        product += samples[i] * output[i];
        squares += samples[i] * samples[i];
    }
    assert_close(product / squares, 0.5, 0.01);
}

/* Noise: the curve passes through its middle, not along its lower edge. */
static void test_noise(void **state)
{
    static double samples[COUNT];
    static double output[COUNT];
    static bool breaks[COUNT];
    unsigned random = 5;
    double sum = 0.0;

    (void)state;
    for (size_t i = 0; i < COUNT; i++) {
        random = random * 1664525u + 1013904223u;
        samples[i] = 10.0 + 2.0 * ((double)random / 4294967296.0 - 0.5);
    }
    follow(samples, COUNT, breaks, output);
    for (size_t i = 0; i < COUNT; i++) {
        sum += output[i];
    }
    assert_close(sum / COUNT, 10.0, 0.05);
}

static void test_breaks(void **state)
{
    static double samples[COUNT];
    static double output[COUNT];
    static bool breaks[COUNT];

    (void)state;
    for (size_t i = 0; i < COUNT; i++) {
        samples[i] = i < 600 ? 5.0 : 12.0;
        breaks[i] = i == 600;
    }
    follow(samples, COUNT, breaks, output);
    assert_close(output[0], 5.0, 0.05);
    assert_close(output[599], 5.0, 0.05);
    assert_close(output[600], 12.0, 0.05);
    assert_close(output[COUNT - 1], 12.0, 0.05);
}

static void test_little(void **state)
{
    static const double none[] = {SERIES_MISSING, SERIES_MISSING, SERIES_MISSING};
    static const double one[] = {SERIES_MISSING, 4.0, SERIES_MISSING};
    static const double two[] = {4.0, 6.0};
    static const bool breaks[3] = {false, true, true};
    double output[3];

    (void)state;
    follow(none, 3, breaks, output);
    assert_true(isnan(output[0]) && isnan(output[1]) && isnan(output[2]));
    follow(one, 3, breaks, output);
    for (size_t i = 0; i < 3; i++) {
        assert_close(output[i], 4.0, 1e-6);
    }
    follow(two, 2, breaks, output);
    assert_true(isfinite(output[0]) && isfinite(output[1]));
    follow(one + 1, 1, breaks, output);
    assert_close(output[0], 4.0, 1e-6);
    follow(none, 0, breaks, output);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_opening),
        cmocka_unit_test(test_opening_against_the_definition),
        cmocka_unit_test(test_slope_under_peaks),
        cmocka_unit_test(test_period),
        cmocka_unit_test(test_noise),
        cmocka_unit_test(test_breaks),
        cmocka_unit_test(test_little),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
