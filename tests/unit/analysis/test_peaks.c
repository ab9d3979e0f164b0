/* Peaks by prominence. */
#include "support/assert_close.h"

#include "analysis/signal/peaks.h"

#include <math.h>

enum { ROOM = 64 };

static size_t find(const double *samples, size_t count, double least, struct peak *peaks)
{
    const struct series series = {1.0, 0.0, count, samples};
    size_t stack[ROOM];

    assert_true(peaks_capacity(&series) <= ROOM);
    return peaks_find(&series, least, peaks, stack);
}

static void test_prominence(void **state)
{
    static const double samples[] = {0.0, 5.0, 3.0, 9.0, 2.0, 4.0, 1.0, 7.0, 0.5};
    struct peak peaks[ROOM];

    (void)state;
    assert_int_equal(find(samples, 9, 0.1, peaks), 4);
    assert_int_equal(peaks[0].index, 1);
    assert_close(peaks[0].prominence, 2.0, 0.0); /* over the valley towards higher ground */
    assert_int_equal(peaks[0].left, 0);
    assert_int_equal(peaks[0].right, 2);
    assert_int_equal(peaks[1].index, 3);
    assert_close(peaks[1].prominence, 8.5, 0.0); /* over the higher of both ends */
    assert_int_equal(peaks[1].left, 0);
    assert_int_equal(peaks[1].right, 8);
    assert_close(peaks[2].prominence, 2.0, 0.0);
    assert_int_equal(peaks[2].left, 4);
    assert_int_equal(peaks[2].right, 6);
    assert_close(peaks[3].height, 7.0, 0.0);
    assert_close(peaks[3].prominence, 6.0, 0.0);
    assert_int_equal(peaks[3].left, 6);
    assert_int_equal(find(samples, 9, 2.01, peaks), 2);
    assert_int_equal(find(samples, 9, 8.5, peaks), 1);
    assert_int_equal(find(samples, 9, 8.51, peaks), 0);
}

static void test_ends_and_plateaus(void **state)
{
    static const double falling[] = {5.0, 3.0, 1.0};
    static const double rising[] = {1.0, 3.0, 5.0, 5.0};
    static const double plateau[] = {1.0, 4.0, 4.0, 4.0, 2.0};
    static const double constant[] = {2.0, 2.0, 2.0};
    static const double equal[] = {0.0, 4.0, 1.0, 4.0, 0.0};
    struct peak peaks[ROOM];

    (void)state;
    assert_int_equal(find(falling, 3, 1.0, peaks), 1);
    assert_int_equal(peaks[0].index, 0);
    assert_close(peaks[0].prominence, 4.0, 0.0);
    assert_int_equal(find(rising, 4, 1.0, peaks), 1);
    assert_int_equal(peaks[0].index, 2);
    assert_close(peaks[0].prominence, 4.0, 0.0);
    assert_int_equal(find(plateau, 5, 1.0, peaks), 1);
    assert_int_equal(peaks[0].index, 1);
    assert_close(peaks[0].prominence, 2.0, 0.0);
    assert_int_equal(find(constant, 3, 1e-9, peaks), 0);
    assert_int_equal(find(equal, 5, 3.5, peaks), 1); /* one of two alike stands for both */
}

static void test_missing(void **state)
{
    static const double gap[] = {SERIES_MISSING, 1.0, 6.0, SERIES_MISSING, 2.0, 5.0,
                                 SERIES_MISSING, 3.0};
    static const double none[] = {SERIES_MISSING, SERIES_MISSING};
    struct peak peaks[ROOM];

    (void)state;
    assert_int_equal(find(gap, 8, 1.0, peaks), 2);
    assert_int_equal(peaks[0].index, 2);
    assert_close(peaks[0].prominence, 4.0, 0.0);
    assert_int_equal(peaks[1].index, 5);
    assert_close(peaks[1].prominence, 2.0, 0.0);
    assert_int_equal(find(none, 2, 1.0, peaks), 0);
    assert_int_equal(find(none, 0, 1.0, peaks), 0);
    assert_int_equal(find(&gap[1], 1, 1.0, peaks), 0);
}

/* Against the definition itself: from each local maximum outwards to higher ground. */
static void test_against_the_definition(void **state)
{
    enum { COUNT = 100 };

    double samples[COUNT];
    struct peak peaks[ROOM];
    unsigned random = 7;
    size_t next = 0;

    (void)state;
    for (size_t i = 0; i < COUNT; i++) {
        random = random * 1664525u + 1013904223u;
        samples[i] = (double)(random >> 16) + (double)i * 1e-6;
    }
    const size_t found = find(samples, COUNT, 1e-9, peaks);

    for (size_t i = 1; i + 1 < COUNT; i++) {
        if (!(samples[i] > samples[i - 1] && samples[i] > samples[i + 1])) {
            continue;
        }
        double left = samples[i];
        double right = samples[i];

        for (size_t k = i; k > 0 && samples[k - 1] <= samples[i]; k--) {
            left = fmin(left, samples[k - 1]);
        }
        for (size_t k = i + 1; k < COUNT && samples[k] <= samples[i]; k++) {
            right = fmin(right, samples[k]);
        }
        while (next < found && peaks[next].index < i) {
            next++;
        }
        assert_true(next < found);
        assert_int_equal(peaks[next].index, i);
        assert_close(peaks[next].prominence, samples[i] - fmax(left, right), 1e-9);
    }
    assert_true(next > 20);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_prominence),
        cmocka_unit_test(test_ends_and_plateaus),
        cmocka_unit_test(test_missing),
        cmocka_unit_test(test_against_the_definition),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
