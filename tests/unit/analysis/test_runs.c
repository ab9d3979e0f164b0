/* Runs above a threshold: sustained starts, gaps that count, missing samples, unseen ends. */
#include "support/assert_close.h"

#include "analysis/signal/runs.h"

static const struct run_rule rule = {
    .threshold = 0.5, .min_run_s = 0.5, .min_gap_s = 1.0, .bridge_s = 1.0, .step_per_s = 100.0};

enum { COUNT = 100, ROOM = 64 };

/* 10 s at 10 Hz in which [from, to) of each pair is at `level`. */
static size_t find(const size_t pairs[][2], size_t count, double level, struct run runs[ROOM])
{
    double samples[COUNT] = {0.0};
    const struct series series = {10.0, 0.0, COUNT, samples};

    for (size_t p = 0; p < count; p++) {
        for (size_t i = pairs[p][0]; i < pairs[p][1]; i++) {
            samples[i] = level;
        }
    }
    assert_true(runs_capacity(&series, &rule) <= ROOM);
    return runs_find(&series, &rule, runs);
}

static void test_sustained(void **state)
{
    static const size_t brief[][2] = {{20, 24}};
    static const size_t longer[][2] = {{20, 26}};
    struct run runs[ROOM];

    (void)state;
    assert_int_equal(find(brief, 1, 0.5, runs), 0);
    assert_int_equal(find(longer, 1, 1.0, runs), 1);
    assert_close(runs[0].span.from_s, 1.95, 1e-9);
    assert_close(runs[0].span.to_s, 2.55, 1e-9);
    assert_false(runs[0].start_unseen || runs[0].end_unseen);
}

static void test_gaps_that_count(void **state)
{
    static const size_t near[][2] = {{20, 30}, {38, 50}};
    static const size_t apart[][2] = {{20, 30}, {41, 50}};
    static const size_t bridge[][2] = {{20, 30}, {38, 40}, {47, 49}, {56, 63}};
    static const size_t flicker[][2] = {{20, 30}, {38, 40}, {47, 49}, {70, 73}};
    struct run runs[ROOM];

    (void)state;
    assert_int_equal(find(near, 2, 1.0, runs), 1);
    assert_close(runs[0].span.to_s, 4.95, 1e-9);
    assert_int_equal(find(apart, 2, 1.0, runs), 2);
    /* Short returns neither start a run nor prolong one; they bridge to a longer one. */
    assert_int_equal(find(flicker, 4, 1.0, runs), 1);
    assert_close(runs[0].span.to_s, 2.95, 1e-9);
    assert_int_equal(find(bridge, 4, 1.0, runs), 1);
    assert_close(runs[0].span.to_s, 6.25, 1e-9);
}

static void test_step_or_ramp(void **state)
{
    static const double samples[] = {0.0, 0.0, 20.0, 20.0, 20.0, 20.0, 20.0, 20.0, 1.0, 0.0};
    const struct series series = {10.0, 0.0, 10, samples};
    struct run runs[ROOM];

    (void)state;
    assert_int_equal(runs_find(&series, &rule, runs), 1);
    assert_close(runs[0].span.from_s, 0.15, 1e-9); /* a step: midway */
    assert_close(runs[0].span.to_s, 0.85, 1e-9);   /* slow enough to be a line */
}

static void test_missing_samples(void **state)
{
    double samples[COUNT];
    const struct series series = {10.0, 0.0, COUNT, samples};
    struct run runs[ROOM];

    (void)state;
    for (size_t i = 0; i < COUNT; i++) {
        samples[i] = i >= 20 && i < 80 ? 5.0 : 0.0;
    }
    for (size_t i = 40; i < 49; i++) {
        samples[i] = SERIES_MISSING; /* 1.0 s from sample to sample: bridged */
    }
    assert_int_equal(runs_find(&series, &rule, runs), 1);
    samples[49] = SERIES_MISSING; /* 1.1 s: cut */
    assert_int_equal(runs_find(&series, &rule, runs), 2);
    assert_close(runs[0].span.to_s, 3.9, 1e-9);
    assert_true(runs[0].end_unseen && !runs[0].start_unseen);
    assert_close(runs[1].span.from_s, 5.0, 1e-9);
    assert_true(runs[1].start_unseen && !runs[1].end_unseen);
}

static void test_unseen_ends(void **state)
{
    static const size_t whole[][2] = {{0, COUNT}};
    static const double none[] = {SERIES_MISSING, SERIES_MISSING};
    const struct series missing = {10.0, 0.0, 2, none};
    const struct series empty = {.rate_hz = 10.0};
    struct run runs[ROOM];

    (void)state;
    assert_int_equal(find(whole, 1, 3.0, runs), 1);
    assert_true(runs[0].start_unseen && runs[0].end_unseen);
    assert_close(runs[0].span.from_s, 0.0, 0.0);
    assert_close(runs[0].span.to_s, 9.9, 1e-9);
    assert_int_equal(runs_find(&missing, &rule, runs), 0);
    assert_int_equal(runs_find(&empty, &rule, runs), 0);
}

/* At 1 Hz one sample above the threshold is a run, and one below is no gap. */
static void test_slow_sampling(void **state)
{
    static const double samples[] = {0.0, 0.0, 1.0, 0.0, 0.0, 8.0, 0.0, 8.0, 8.0, 0.0};
    const struct series series = {1.0, 0.0, 10, samples};
    struct run runs[ROOM];

    (void)state;
    assert_int_equal(runs_find(&series, &rule, runs), 2);
    assert_close(runs[0].span.from_s, 1.5, 1e-9);
    assert_close(runs[0].span.to_s, 2.5, 1e-9);
    assert_close(runs[1].span.to_s, 9.0 - 0.0625, 1e-9);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_sustained),    cmocka_unit_test(test_gaps_that_count),
        cmocka_unit_test(test_step_or_ramp), cmocka_unit_test(test_missing_samples),
        cmocka_unit_test(test_unseen_ends),  cmocka_unit_test(test_slow_sampling),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
