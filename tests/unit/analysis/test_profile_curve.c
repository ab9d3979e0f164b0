/* The numbers of one profile: noise, peaks, ends and levels, each beside a second computation. */
#include "support/assert_close.h"
#include "support/profile_case.h"

#include "analysis/measure.h"
#include "analysis/profile/profile_curve.h"
#include "analysis/profile/profile_noise.h"
#include "analysis/profile/profile_walk.h"
#include "analysis/signal/smooth.h"

#include <math.h>
#include <string.h>

enum { SAMPLES = 600 };

/* Alternating by this much gives fourth differences of 16 times it. */
static double alternating_for(double noise)
{
    return noise * 0.6744897501960817 * sqrt(70.0) / 16.0;
}

static void test_noise(void **state)
{
    double values[SAMPLES];
    double room[SAMPLES];
    const struct level_scratch scratch = {room, SAMPLES};

    (void)state;
    for (size_t i = 0; i < SAMPLES; i++) {
        const double x = (double)i / 100.0;

        values[i] = 3.0 * x * x * x - x + (i % 2 == 0 ? 1.0 : -1.0) * alternating_for(0.7);
    }
    assert_close(profile_noise(values, SAMPLES, scratch), 0.7, 1e-9);
    assert_close(profile_noise(values, 4, scratch), 0.0, 0.0);
    assert_close(profile_noise(values, SAMPLES, (struct level_scratch){room, 50}), 0.7, 1e-9);
}

static void test_parabola(void **state)
{
    double values[21];

    (void)state;
    for (int i = 0; i < 21; i++) {
        values[i] = 50.0 - 0.3 * (i - 11.4) * (i - 11.4);
    }
    const struct profile_parabola fit = profile_parabola(values, 21, 10, 8);

    assert_close(fit.value, values[10], 1e-9);
    assert_close(fit.vertex, 1.4, 1e-9);
    assert_true(isnan(profile_parabola(values, 21, 1, 8).vertex));
    values[12] = (double)NAN;
    assert_close(profile_parabola(values, 21, 10, 8).value, values[10], 0.0);
}

/* ---- A trace made by hand: 1 mm/s, pves 10 ---- */

struct bench {
    struct test_memory memory;
    struct study study;
    struct profile_trace trace;
    struct profile_measures measures;
    struct profile_extent extent;
    double room[8192];
    double position[SAMPLES];
    double pura[SAMPLES];
    double pves[SAMPLES];
    double closure[SAMPLES];
};

static void bench_open(struct bench *bench, double rate_hz, double mm_s, size_t count)
{
    *bench = (struct bench){.study = {.scratch = {bench->room, 8192}},
                            .trace = {.count = count,
                                      .rate_hz = rate_hz,
                                      .raw_rate_hz = rate_hz,
                                      .speed_known = PROFILE_SPEED_ENTERED,
                                      .speed_mm_s = mm_s,
                                      .bladder_closure = (double)NAN}};
    test_memory_open(&bench->memory, SIZE_MAX);
    bench->study.memory = &bench->memory.memory;
    bench->trace.position_mm = bench->position;
    bench->trace.pura = bench->pura;
    bench->trace.pves = bench->pves;
    bench->trace.closure = bench->closure;
}

/* An arch of 30 mm from 10 mm on; then below pves. */
static double arch(double mm)
{
    const double share = (mm - 10.0) / 30.0;

    if (share <= 0.0) {
        return 0.0;
    }
    return share < 1.0 ? 60.0 * sin(3.14159265358979 * share) : fmax(-10.0, (1.0 - share) * 90.0);
}

static void bench_fill(struct bench *bench, double noise)
{
    for (size_t i = 0; i < bench->trace.count; i++) {
        bench->position[i] = bench->trace.speed_mm_s * (double)i / bench->trace.rate_hz;
        bench->pves[i] = 10.0;
        bench->pura[i] =
            10.0 + arch(bench->position[i]) + (i % 2 == 0 ? 1.0 : -1.0) * alternating_for(noise);
        bench->closure[i] = bench->pura[i] - bench->pves[i];
    }
}

static void bench_run(struct bench *bench)
{
    assert_true(
        profile_curve_measure(&bench->study, &bench->trace, 0.0, &bench->measures, &bench->extent));
}

static void bench_close(struct bench *bench)
{
    test_memory_close(&bench->memory);
}

static void check_method(double rate_hz, double mm_s, double noise, const char *words)
{
    struct bench bench;

    bench_open(&bench, rate_hz, mm_s, SAMPLES);
    bench_fill(&bench, noise);
    bench_run(&bench);
    if (strncmp(bench.measures.maximum_closure_pressure.method, words, strlen(words)) != 0) {
        fail_msg("%g Hz, %g mm/s, noise %g: %s", rate_hz, mm_s, noise,
                 bench.measures.maximum_closure_pressure.method);
    }
    bench_close(&bench);
}

/* What the peak is read from: by sampling, noise and the distance of the samples. */
static void test_peak_methods(void **state)
{
    (void)state;
    check_method(49.5, 4.0, 0.0, "highest sample");
    check_method(50.5, 4.0, 0.0, "highest value of a 0.2 s mean");
    check_method(10.0, 1.0, 0.1485, "highest sample");
    check_method(10.0, 1.0, 0.1515, "peak of parabolas");
    check_method(10.0, 9.9, 1.0, "peak of parabolas");
    check_method(10.0, 10.1, 1.0, "highest sample");
}

static double largest(const double *values, size_t count)
{
    double most = values[0];

    for (size_t i = 1; i < count; i++) {
        most = fmax(most, values[i]);
    }
    return most;
}

/* The mean of 0.2 s: so many samples to both sides. */
static void check_mean(double rate_hz, size_t half)
{
    struct bench bench;
    double mean[SAMPLES];

    bench_open(&bench, rate_hz, 10.0, 200);
    bench.trace.raw_rate_hz = 100.0;
    bench_fill(&bench, 0.0);
    bench_run(&bench);
    const struct series closure = {rate_hz, 0.0, 200, bench.closure};

    smooth_mean(&closure, 2 * half + 1, SMOOTH_ENDS_SHORTEN, mean);
    assert_close(bench.measures.maximum_closure_pressure.value, largest(mean, 200), 1e-9);
    bench_close(&bench);
}

/* The parabola of 1.5 s. */
static void check_parabola(double rate_hz, size_t half)
{
    struct bench bench;
    double fitted[SAMPLES];

    bench_open(&bench, rate_hz, 4.0, 200);
    bench_fill(&bench, 1.0);
    bench_run(&bench);
    for (size_t i = 0; i < 200; i++) {
        fitted[i] = profile_parabola(bench.closure, 200, i, half).value;
    }
    assert_close(bench.measures.maximum_closure_pressure.value, largest(fitted, 200), 1e-9);
    bench_close(&bench);
}

static void test_peak_windows(void **state)
{
    (void)state;
    check_mean(50.0, 5);
    check_mean(29.45, 2);
    check_parabola(9.34, 7);
    check_parabola(10.6, 7);
}

/* The place of the peak: a parabola of 6 mm. */
static void check_place(double rate_hz, size_t half)
{
    struct bench bench;

    bench_open(&bench, rate_hz, 1.0, SAMPLES);
    bench_fill(&bench, 1.0);
    bench_run(&bench);
    const size_t peak = (size_t)(bench.measures.maximum_closure_pressure.at_s * rate_hz + 0.5);
    const double vertex = profile_parabola(bench.closure, SAMPLES, peak, half).vertex;

    assert_close(bench.extent.peak_mm, ((double)peak + vertex) / rate_hz, 1e-9);
    assert_close(bench.extent.peak_mm, 25.0, 0.2);
    bench_close(&bench);
}

static void test_peak_place(void **state)
{
    (void)state;
    check_place(10.01, 30);
    check_place(9.97, 29);
}

/* ---- Ends ---- */

static void test_guard(void **state)
{
    (void)state;
    assert_close(profile_walk_guard(1.0, 9), 1.0, 1e-12);
    assert_close(profile_walk_guard(0.4, 1), 1.2, 1e-12);
}

/* The mean on which ends are sought: as short as brings three deviations down to 0.5 cmH2O, and
 * over 0.5 mm to both sides at most. */
static void check_window(double rate_hz, double noise, size_t window)
{
    struct bench bench;
    double mean[SAMPLES];

    bench_open(&bench, rate_hz, 1.0, SAMPLES);
    bench_fill(&bench, noise);
    bench_run(&bench);
    const struct series closure = {rate_hz, 0.0, SAMPLES, bench.closure};
    const struct profile_walk walk = {SAMPLES, bench.position, mean, bench.closure};
    const size_t peak = (size_t)(25.0 * rate_hz);

    smooth_mean(&closure, window, SMOOTH_ENDS_SHORTEN, mean);
    const double guard = profile_walk_guard(noise, window);

    assert_close(bench.extent.start_mm,
                 profile_walk_to(&walk, peak, PROFILE_INWARD, 0.0, guard).at_mm, 1e-9);
    assert_close(bench.extent.end_mm,
                 profile_walk_to(&walk, peak, PROFILE_OUTWARD, 0.0, guard).at_mm, 1e-9);
    bench_close(&bench);
}

static void test_end_windows(void **state)
{
    (void)state;
    check_window(12.0, 0.495, 9);
    check_window(12.0, 0.505, 11);
    check_window(10.0, 3.0, 11);
    check_window(11.9, 3.0, 11);
}

/* Through 2 mm of flank, samples 0.02 mm apart: a line of least squares, made again here. */
static void test_line_down(void **state)
{
    double position[SAMPLES];
    double values[SAMPLES];
    double n = 0.0;
    double sx = 0.0;
    double sy = 0.0;
    double sxx = 0.0;
    double sxy = 0.0;

    (void)state;
    for (size_t i = 0; i < SAMPLES; i++) {
        const double mm = 0.02 * (double)i;

        position[i] = mm;
        values[i] = 3.0 * mm + 0.5 * mm * mm - 5.0;
    }
    const struct profile_walk walk = {SAMPLES, position, values, values};
    /* 3x + 0.5x^2 - 5 = 1 at x = sqrt(21) - 3 = 1.5826: between samples 79 and 80. */
    const double share = (values[80] - 1.0) / (values[80] - values[79]);
    const double at = position[80] - share * 0.02;

    for (size_t i = 80; position[i] - at <= 2.0; i++) {
        const double x = position[i] - at;

        n += 1.0;
        sx += x;
        sy += values[i];
        sxx += x * x;
        sxy += x * values[i];
    }
    const double slope = (n * sxy - sx * sy) / (n * sxx - sx * sx);
    const struct profile_end end = profile_walk_to(&walk, 500, PROFILE_INWARD, 0.0, 1.0);

    assert_close(end.at_mm, at - 1.0 / slope, 1e-9);
    assert_false(end.cut || end.gap);
    /* A flank that is almost flat leads no further than the line is long. */
    for (size_t i = 0; i < SAMPLES; i++) {
        values[i] = 1.0 + (i > 300 ? 0.1 * (position[i] - position[300]) : -0.01);
    }
    assert_close(profile_walk_to(&walk, 590, PROFILE_INWARD, 0.0, 1.0).at_mm, position[300] - 2.0,
                 0.03);
}

static void test_cut_and_gaps(void **state)
{
    struct bench bench;

    (void)state;
    bench_open(&bench, 10.0, 1.0, SAMPLES);
    bench_fill(&bench, 0.0);
    bench.trace.count = 350; /* ends at 34.9 mm, within the arch */
    bench_run(&bench);
    assert_true(bench.extent.end_cut && !bench.extent.start_cut);
    assert_close(bench.measures.functional_length.value, 24.9, 0.01);
    assert_string_equal(bench.measures.functional_length.parts[0].code, "at_least");
    assert_int_equal(bench.measures.total_length.state, MEASURE_ABSENT);
    assert_int_equal(bench.measures.length_to_peak.part_count, 0);
    bench.trace.count = SAMPLES;
    bench.closure[150] = (double)NAN;
    bench_run(&bench);
    assert_int_equal(bench.measures.functional_length.state, MEASURE_ABSENT);
    assert_non_null(strstr(bench.measures.functional_length.reason, "missing"));
    assert_true(measure_known(&bench.measures.maximum_closure_pressure));
    bench_close(&bench);
}

/* Closure in the bladder above the threshold by 5 cmH2O at most moves its end there. */
static void test_bladder_level(void **state)
{
    static const struct {
        double level;
        bool cut;
    } rows[] = {{4.95, false}, {5.05, true}, {-1.0, true}};
    struct bench bench;

    (void)state;
    for (size_t i = 0; i < 3; i++) {
        bench_open(&bench, 10.0, 1.0, SAMPLES);
        bench_fill(&bench, 0.0);
        for (size_t k = 0; k < SAMPLES; k++) {
            bench.closure[k] = fmax(bench.closure[k], k < 200 ? 4.95 : -10.0);
        }
        bench.trace.bladder_closure = rows[i].level;
        bench_run(&bench);
        assert_int_equal(bench.extent.start_cut, rows[i].cut);
        if (!rows[i].cut) {
            assert_close(bench.extent.start_mm, 10.79, 0.1);
        }
        bench_close(&bench);
    }
}

/* ---- Total length ---- */

/* The outer flank ends in a curve; the level is the median of the last 2 s. */
static void bench_tail(struct bench *bench, size_t last_samples, double last_level, double tau_mm)
{
    bench_fill(bench, 0.0);
    for (size_t i = 0; i < SAMPLES; i++) {
        const double mm = bench->position[i];

        if (mm > 35.0) {
            bench->pura[i] = 40.0 * exp(-(mm - 35.0) / tau_mm);
        }
        if (i + last_samples >= SAMPLES) {
            bench->pura[i] = last_level;
        }
        bench->closure[i] = bench->pura[i] - 10.0;
    }
}

static double total_by_hand(const struct bench *bench, double level)
{
    const struct profile_walk walk = {SAMPLES, bench->position, bench->pura, bench->pura};

    return profile_walk_to(&walk, 250, PROFILE_OUTWARD, level, 1.0).at_mm - bench->extent.start_mm;
}

static void test_total(void **state)
{
    struct bench bench;

    (void)state;
    bench_open(&bench, 10.0, 1.0, SAMPLES);
    bench_tail(&bench, 100, 0.5, 3.0);
    bench_run(&bench);
    assert_close(bench.measures.total_length.value, total_by_hand(&bench, 0.5), 1e-9);
    /* 11 of the last 21 samples are 1.5, 10 are 0.5; then one less. */
    bench_tail(&bench, 100, 0.5, 3.0);
    for (size_t i = SAMPLES - 11; i < SAMPLES; i++) {
        bench.pura[i] = 1.5;
    }
    bench_run(&bench);
    assert_close(bench.measures.total_length.value, total_by_hand(&bench, 1.5), 1e-9);
    bench.pura[SAMPLES - 11] = 0.5;
    bench_run(&bench);
    assert_close(bench.measures.total_length.value, total_by_hand(&bench, 0.5), 1e-9);
    bench_close(&bench);
}

/* At 9.9 Hz the last 2 s hold 20 samples; 11 of them at another level. */
static void test_total_window(void **state)
{
    struct bench bench;

    (void)state;
    bench_open(&bench, 9.9, 1.0, SAMPLES);
    bench_tail(&bench, 100, 0.5, 3.0);
    for (size_t i = SAMPLES - 10; i < SAMPLES; i++) {
        bench.pura[i] = 1.5;
    }
    bench_run(&bench);
    assert_close(bench.measures.total_length.value, total_by_hand(&bench, 1.0), 1e-9);
    bench_close(&bench);
}

/* Its two halves differ by 2 cmH2O at most. */
static void test_unsettled(void **state)
{
    struct bench bench;

    (void)state;
    for (int i = 0; i < 2; i++) {
        bench_open(&bench, 10.0, 1.0, SAMPLES);
        bench_tail(&bench, 100, 0.5, 3.0);
        for (size_t k = SAMPLES - 10; k < SAMPLES; k++) {
            bench.pura[k] = 0.5 - (i == 0 ? 1.98 : 2.02);
        }
        bench_run(&bench);
        assert_int_equal(bench.measures.total_length.state,
                         i == 0 ? MEASURE_PRESENT : MEASURE_ABSENT);
        bench_close(&bench);
    }
}

/* ---- The bladder's side of whole recordings ---- */

static void assert_shift(struct synth *synth, const char *what, double expected)
{
    const struct profile_measures *pull = &synth_run(synth)->profiles.pulls[0];
    const double value =
        strcmp(what, "pves_mean") == 0 ? pull->pves_mean.value : pull->functional_length.value;

    assert_close(value, expected, 0.05);
}

/* One lumen: vesical pressure is the median of pura over the 5 s before. */
static void test_single_lumen(void **state)
{
    struct profile_case how = profile_case_plain();
    struct profile_case_truth truth;
    struct synth synth;

    (void)state;
    how.without_pves = true;
    profile_case_open(&synth, &how, &truth);
    double *pura = synth_writable(&synth, SIGNAL_PURA);
    const struct analysis_result *result = synth_run(&synth);
    const size_t start = (size_t)(result->profiles.pulls[0].start.value * 10.0 + 0.5);

    assert_non_null(synth_quality(result, "pves_not_simultaneous"));
    assert_close(result->profiles.pulls[0].maximum_closure_pressure.value, 60.0, 0.05);
    assert_close(result->profiles.pulls[0].functional_length.value, truth.length_mm, 0.2);
    assert_int_equal(result->profiles.pulls[0].transmission_ratios.state, MEASURE_ABSENT);
    assert_null(synth_quality(result, "no_baseline"));
    /* 51 samples: 25 at 8 and 26 at 10; then 26 and 25. */
    for (size_t i = 0; i + 26 <= start; i++) {
        pura[i] = 8.0;
    }
    assert_shift(&synth, "pves_mean", 10.0);
    pura[start - 25] = 8.0;
    assert_shift(&synth, "pves_mean", 8.0);
    synth_close(&synth);
}

/* pves stops before the pull: its own level of the 5 s before is used. */
static void test_vesical_lost(void **state)
{
    struct profile_case how = profile_case_plain();
    struct profile_case_truth truth;
    struct synth synth;

    (void)state;
    profile_case_open(&synth, &how, &truth);
    synth_lose(&synth, SIGNAL_PVES, truth.start_s[0] + 1.0, truth.end_s[0] + 1.0);
    const struct analysis_result *result = synth_run(&synth);

    assert_non_null(synth_quality(result, "pves_not_simultaneous"));
    assert_close(result->profiles.pulls[0].pves_mean.value, 10.0, 1e-6);
    assert_int_equal(result->profiles.pulls[0].transmission_ratios.state, MEASURE_ABSENT);
    synth_lose(&synth, SIGNAL_PVES, 0.0, truth.end_s[0] + 1.0);
    result = synth_run(&synth);
    assert_int_equal(result->profiles.pulls[0].maximum_closure_pressure.state, MEASURE_ABSENT);
    assert_close(result->profiles.pulls[0].maximum_urethral_pressure.value, 70.0, 0.1);
    assert_close(result->profiles_summary.pulls.value, 0.0, 0.0);
    synth_close(&synth);
}

/* Without a speed, pressures are measured and lengths withheld. */
static void test_speed_unknown(void **state)
{
    struct profile_case how = profile_case_plain();
    struct profile_case_truth truth;
    struct synth synth;

    (void)state;
    how.found = PROFILE_CASE_MARKERS;
    profile_case_open(&synth, &how, &truth);
    synth.recording.conditions.puller_speed_mm_s.known = false;
    const struct analysis_result *result = synth_run(&synth);
    const struct profile_measures *pull = &result->profiles.pulls[0];

    assert_non_null(synth_quality(result, "speed_unknown"));
    assert_close(pull->maximum_closure_pressure.value, 60.0, 0.1);
    assert_close(pull->mean_closure_pressure.value, truth.area_cmh2o_cm * 10.0 / truth.length_mm,
                 0.3);
    assert_int_equal(pull->speed.state, MEASURE_ABSENT);
    assert_int_equal(pull->functional_length.state, MEASURE_ABSENT);
    assert_non_null(strstr(pull->functional_length.reason, "speed"));
    assert_int_equal(pull->closure_area.state, MEASURE_ABSENT);
    synth_close(&synth);
}

/* Fewer than five samples are no profile. */
static void test_fewest_samples(void **state)
{
    static const double pura[] = {10, 40, 60, 10, 5};
    struct synth synth;

    (void)state;
    profile_case_samples(&synth, 5.0, 5, pura, 10.0);
    assert_true(measure_known(&synth_run(&synth)->profiles.pulls[0].maximum_urethral_pressure));
    synth_close(&synth);
    profile_case_samples(&synth, 5.0, 4, pura, 10.0);
    const struct analysis_result *result = synth_run(&synth);

    assert_false(measure_known(&result->profiles.pulls[0].maximum_urethral_pressure));
    assert_non_null(synth_quality(result, "pull_without_pressure"));
    synth_close(&synth);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_noise),          cmocka_unit_test(test_parabola),
        cmocka_unit_test(test_peak_methods),   cmocka_unit_test(test_peak_windows),
        cmocka_unit_test(test_peak_place),     cmocka_unit_test(test_guard),
        cmocka_unit_test(test_end_windows),    cmocka_unit_test(test_line_down),
        cmocka_unit_test(test_cut_and_gaps),   cmocka_unit_test(test_bladder_level),
        cmocka_unit_test(test_total),          cmocka_unit_test(test_total_window),
        cmocka_unit_test(test_unsettled),      cmocka_unit_test(test_single_lumen),
        cmocka_unit_test(test_vesical_lost),   cmocka_unit_test(test_speed_unknown),
        cmocka_unit_test(test_fewest_samples),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
