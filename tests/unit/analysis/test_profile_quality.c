/* What is said of pulls: each flag on both sides of its limit. */
#include "support/assert_close.h"
#include "support/profile_case.h"

#include "analysis/choices.h"

#include <math.h>
#include <string.h>

static struct profile_case_truth open_plain(struct synth *synth, const struct profile_case *how)
{
    struct profile_case_truth truth;

    profile_case_open(synth, how, &truth);
    return truth;
}

static bool flagged(struct synth *synth, const char *code)
{
    return synth_quality(synth_run(synth), code) != NULL;
}

static size_t sample_at(double at_s)
{
    return (size_t)(at_s * 10.0 + 0.5);
}

static void test_a_clean_pull_says_little(void **state)
{
    struct profile_case how = profile_case_plain();
    struct synth synth;

    (void)state;
    how.noise = 0.1; /* a line that does not move at all is told */
    (void)open_plain(&synth, &how);
    const struct analysis_result *result = synth_run(&synth);

    for (size_t i = 0; i < result->quality_count; i++) {
        if (result->quality[i].severity != QUALITY_INFO) {
            fail_msg("%s", result->quality[i].code);
        }
    }
    assert_non_null(synth_quality(result, "single_pull"));
    synth_close(&synth);
}

/* pves jumps up for a second during a resting pull, both lines alike. */
static void test_cough_in_rest(void **state)
{
    const struct profile_case how = profile_case_plain();

    (void)state;
    for (int i = 0; i < 2; i++) {
        struct synth synth;
        const struct profile_case_truth truth = open_plain(&synth, &how);
        const double rise = i == 0 ? 9.9 : 10.1;

        for (size_t k = sample_at(truth.start_s[0] + 20); k < sample_at(truth.start_s[0] + 21);
             k++) {
            synth_writable(&synth, SIGNAL_PVES)[k] += rise;
            synth_writable(&synth, SIGNAL_PURA)[k] += rise;
        }
        assert_int_equal(flagged(&synth, "cough_in_rest"), i == 1);
        assert_false(flagged(&synth, "pves_moving"));
        assert_string_equal(synth_run(&synth)->profiles.pulls[0].kind.word, "rest");
        synth_close(&synth);
    }
}

/* A pull of 1001 samples, a share of which has another pves. */
static bool moving(size_t low, size_t high, double by)
{
    double pura[1001];
    double pves[1001];
    struct synth synth;

    for (size_t i = 0; i < 1001; i++) {
        pves[i] = 50.0 - (i < low ? by : 0.0) + (i >= 1001 - high ? by : 0.0);
        pura[i] = pves[i] + (i > 300 && i < 700 ? 40.0 : 0.0);
    }
    synth_open(&synth, RECORDING_URETHRAL_PRESSURE_PROFILE);
    synth_samples(&synth, SIGNAL_PURA, 10.0, 1001, pura);
    synth_samples(&synth, SIGNAL_PVES, 10.0, 1001, pves);
    synth_event(&synth, EVENT_PULL_START, 0.0);
    synth_event(&synth, EVENT_PULL_END, 100.0);
    const bool told = flagged(&synth, "pves_moving");

    synth_close(&synth);
    return told;
}

static void test_pves_moving(void **state)
{
    (void)state;
    assert_false(moving(400, 0, 9.9));
    assert_true(moving(400, 0, 10.1));
    assert_false(moving(50, 0, 20.0));
    assert_true(moving(51, 0, 20.0));
    assert_false(moving(0, 50, 20.0));
    assert_true(moving(0, 51, 20.0));
}

/* Near zero, within 5 cmH2O, for 3 s on the bladder's side. */
static bool no_baseline(size_t samples, double level)
{
    double pura[400];
    static const double pves = 10.0;
    struct synth synth;

    for (size_t i = 0; i < 400; i++) {
        pura[i] = i < samples ? 10.0 + level : (i < 300 ? 60.0 : 0.0);
    }
    synth_open(&synth, RECORDING_URETHRAL_PRESSURE_PROFILE);
    synth_samples(&synth, SIGNAL_PURA, 20.0, 400, pura);
    synth_channel(&synth, SIGNAL_PVES, (struct synth_sampling){.rate_hz = 20.0, .end_s = 20.0},
                  constant_value, &pves);
    synth_event(&synth, EVENT_PULL_START, 0.0);
    synth_event(&synth, EVENT_PULL_END, 19.95);
    const bool told = flagged(&synth, "no_baseline");

    synth_close(&synth);
    return told;
}

static void test_no_baseline(void **state)
{
    (void)state;
    assert_false(no_baseline(100, 4.95));
    assert_true(no_baseline(100, 5.05));
    assert_false(no_baseline(60, 0.0));
    assert_true(no_baseline(59, 0.0));
}

static void test_truncated(void **state)
{
    struct profile_case how = profile_case_plain();
    struct synth synth;

    (void)state;
    how.found = PROFILE_CASE_MARKERS;
    const struct profile_case_truth truth = open_plain(&synth, &how);

    assert_false(flagged(&synth, "profile_truncated"));
    synth.events[1].at_s = truth.start_s[0] + truth.bladder_mm + 20.0;
    const struct analysis_result *result = synth_run(&synth);

    assert_non_null(synth_quality(result, "profile_truncated"));
    assert_close(result->profiles.pulls[0].functional_length.value, 20.0, 0.11);
    /* A lower bound does not enter the mean. */
    assert_int_equal(result->profiles_summary.functional_length.state, MEASURE_ABSENT);
    assert_close(result->profiles_summary.maximum_closure_pressure.value, 60.0, 0.1);
    synth_close(&synth);
}

static void test_speeds(void **state)
{
    static const struct {
        double entered;
        bool mismatch;
    } with_puller[] = {{1.0, false}, {1.099, false}, {1.101, true}, {0.901, false}, {0.899, true}};

    static const struct {
        double entered;
        bool fast;
    } alone[] = {{6.95, false}, {7.05, true}};
    struct profile_case how = profile_case_plain();
    struct synth synth;

    (void)state;
    (void)open_plain(&synth, &how);
    for (size_t i = 0; i < 5; i++) {
        synth.recording.conditions.puller_speed_mm_s =
            (struct optional_number){true, with_puller[i].entered};
        assert_int_equal(flagged(&synth, "puller_speed_mismatch"), with_puller[i].mismatch);
        assert_close(synth_run(&synth)->profiles.pulls[0].speed.value, 1.0, 0.01);
    }
    synth_close(&synth);
    how.found = PROFILE_CASE_MARKERS;
    (void)open_plain(&synth, &how);
    for (size_t i = 0; i < 2; i++) {
        synth.recording.conditions.puller_speed_mm_s.value = alone[i].entered;
        assert_int_equal(flagged(&synth, "pull_fast"), alone[i].fast);
        assert_false(flagged(&synth, "puller_speed_mismatch"));
    }
    synth_close(&synth);
}

static void test_stress_sampling(void **state)
{
    struct profile_case how = profile_case_plain();

    (void)state;
    how.coughs_every_s = 7.0;
    for (int i = 0; i < 2; i++) {
        struct synth synth;

        how.rate_hz = i == 0 ? 49.5 : 50.0;
        (void)open_plain(&synth, &how);
        assert_int_equal(flagged(&synth, "stress_sampling_slow"), i == 0);
        synth_close(&synth);
    }
    how.rate_hz = 50.5;
    struct synth synth;

    (void)open_plain(&synth, &how);
    assert_false(flagged(&synth, "stress_sampling_slow"));
    synth_close(&synth);
}

/* Two pulls with closures 100 - d and 100 + d: the standard deviation is d times the root of 2. */
static void test_repeat_spread(void **state)
{
    (void)state;
    for (int i = 0; i < 2; i++) {
        const double off = (i == 0 ? 14.9 : 15.1) / sqrt(2.0);
        const double pura[] = {10, 10, 110 - off, 10, 5, 5, 10, 10, 110 + off, 10, 5, 5};
        struct synth synth;

        profile_case_samples(&synth, 5.0, 12, pura, 10.0);
        synth.recording.event_count = 0;
        synth_event(&synth, EVENT_PULL_START, 0.0);
        synth_event(&synth, EVENT_PULL_END, 25.0);
        synth_event(&synth, EVENT_PULL_START, 30.0);
        synth_event(&synth, EVENT_PULL_END, 55.0);
        assert_int_equal(flagged(&synth, "repeat_spread"), i == 1);
        assert_false(flagged(&synth, "single_pull"));
        synth_close(&synth);
    }
}

static void test_stall_is_told(void **state)
{
    const double points[][2] = {{10, 0}, {30, 20}, {34, 20}, {60, 46}};
    const struct polyline line = {4, points};
    const struct profile_case how = profile_case_plain();
    struct synth synth;

    (void)state;
    (void)open_plain(&synth, &how);
    for (size_t i = 0; i < synth.channels[2].sample_count; i++) {
        synth_writable(&synth, SIGNAL_PULLER)[i] = polyline_value((double)i / 10.0, &line);
    }
    assert_true(flagged(&synth, "puller_stalled"));
    synth_close(&synth);
}

static void test_nothing_to_measure(void **state)
{
    static const double level = 10.0;
    struct synth synth;

    (void)state;
    synth_open(&synth, RECORDING_URETHRAL_PRESSURE_PROFILE);
    const struct analysis_result *result = synth_run(&synth);

    assert_true(result->has_profiles && result->profiles.count == 0);
    assert_non_null(synth_quality(result, "no_urethral_pressure"));
    synth_channel(&synth, SIGNAL_PURA, (struct synth_sampling){.rate_hz = 10.0, .end_s = 60.0},
                  constant_value, &level);
    result = synth_run(&synth);
    assert_non_null(synth_quality(result, "no_pull_found"));
    assert_close(result->profiles_summary.pulls.value, 0.0, 0.0);
    assert_int_equal(result->profiles_summary.maximum_closure_pressure.state, MEASURE_ABSENT);
    assert_int_equal(result->profiles_summary.transmission_ratio.state, MEASURE_ABSENT);
    synth_close(&synth);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_a_clean_pull_says_little),
        cmocka_unit_test(test_cough_in_rest),
        cmocka_unit_test(test_pves_moving),
        cmocka_unit_test(test_no_baseline),
        cmocka_unit_test(test_truncated),
        cmocka_unit_test(test_speeds),
        cmocka_unit_test(test_stress_sampling),
        cmocka_unit_test(test_repeat_spread),
        cmocka_unit_test(test_stall_is_told),
        cmocka_unit_test(test_nothing_to_measure),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
