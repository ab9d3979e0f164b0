/* Coughs during a pull: what is one, where its peaks, levels and edges are, and what is cut out. */
#include "support/assert_close.h"
#include "support/profile_case.h"

#include "analysis/profile/profile_coughs.h"
#include "analysis/study.h"

#include <math.h>
#include <string.h>

enum { SAMPLES = 1000, PEAK = 500 };

/* Two lines; pves 30 and pura 60 unless a test changes them. */
struct lines {
    struct study study;
    struct series pura;
    struct profile_coughs coughs;
    double room[4096];
    double pves_samples[SAMPLES];
    double pura_samples[SAMPLES];
    struct event marker;
};

static void lines_open(struct lines *lines, double rate_hz)
{
    *lines = (struct lines){.study = {.scratch = {lines->room, 4096}},
                            .pura = {rate_hz, 0.0, SAMPLES, lines->pura_samples},
                            .marker = {.code = EVENT_COUGH}};
    lines->study.pves = (struct series){rate_hz, 0.0, SAMPLES, lines->pves_samples};
    lines->study.timeline.events = &lines->marker;
    for (size_t i = 0; i < SAMPLES; i++) {
        lines->pves_samples[i] = 30.0;
        lines->pura_samples[i] = 60.0;
    }
}

/* A cough of so many samples to both sides of the peak. */
static void cough_in(double *samples, size_t peak, double rise, size_t half)
{
    for (size_t k = 0; k <= half; k++) {
        const double added = rise * (1.0 - (double)k / (double)(half + 1));

        samples[peak + k] += added;
        samples[peak - k] += k > 0 ? added : 0.0;
    }
}

static size_t find(struct lines *lines)
{
    profile_coughs_find(&lines->study, &lines->pura, (struct span){2.0, 18.0}, &lines->coughs);
    return lines->coughs.count;
}

static void test_smallest(void **state)
{
    struct lines lines;

    (void)state;
    lines_open(&lines, 50.0);
    cough_in(lines.pves_samples, PEAK, 15.1, 10);
    assert_int_equal(find(&lines), 1);
    assert_close(lines.coughs.items[0].at_s, 10.0, 1e-9);
    assert_close(lines.coughs.items[0].pves_rise_cmh2o, 15.1, 1e-9);
    lines_open(&lines, 50.0);
    cough_in(lines.pves_samples, PEAK, 14.9, 10);
    assert_int_equal(find(&lines), 0);
}

static void test_several(void **state)
{
    struct lines lines;

    (void)state;
    lines_open(&lines, 50.0);
    for (size_t i = 0; i < 5; i++) {
        cough_in(lines.pves_samples, 200 + 120 * i, 20.0 + 10.0 * (double)i, 8);
    }
    cough_in(lines.pves_samples, 50, 60.0, 8); /* before the span */
    assert_int_equal(find(&lines), 5);
    for (size_t i = 0; i < 5; i++) {
        assert_close(lines.coughs.items[i].at_s, 4.0 + 2.4 * (double)i, 1e-9);
        assert_close(lines.coughs.items[i].pves_rise_cmh2o, 20.0 + 10.0 * (double)i, 1e-9);
    }
}

/* From the peak on it rests at a share of its height from a moment on. */
static size_t with_plateau(size_t samples_high, double share_after, bool marked, double marker_s)
{
    struct lines lines;

    lines_open(&lines, 50.0);
    lines.pves_samples[PEAK] = 130.0;
    for (size_t i = PEAK + 1; i < SAMPLES; i++) {
        lines.pves_samples[i] = i < PEAK + samples_high ? 110.0 : 30.0 + 100.0 * share_after;
    }
    lines.study.timeline.count = marked ? 1 : 0;
    lines.marker.at_s = marker_s;
    return find(&lines);
}

/* It falls below half of its height within 2 s, unless a marker within 2 s says that it is a cough.
 */
static void test_strain_or_cough(void **state)
{
    (void)state;
    assert_int_equal(with_plateau(10, 0.495, false, 0.0), 1);
    assert_int_equal(with_plateau(10, 0.505, false, 0.0), 0);
    assert_int_equal(with_plateau(100, 0.0, false, 0.0), 1);
    assert_int_equal(with_plateau(101, 0.0, false, 0.0), 0);
    assert_int_equal(with_plateau(101, 0.0, true, 8.02), 1);
    assert_int_equal(with_plateau(101, 0.0, true, 7.98), 0);
    assert_int_equal(with_plateau(101, 0.0, true, 11.98), 1);
    assert_int_equal(with_plateau(101, 0.0, true, 12.02), 0);
}

/* Where the abdomen is recorded, a cough is one of the study's events, or marked. */
static void test_with_abdomen(void **state)
{
    const struct pressure_event near = {.kind = PRESSURE_EVENT_COUGH, .span = {9.8, 10.2}};
    struct lines lines;

    (void)state;
    lines_open(&lines, 50.0);
    cough_in(lines.pves_samples, PEAK, 40.0, 10);
    lines.study.pabd = lines.pura;
    assert_int_equal(find(&lines), 0);
    lines.study.pressure_events = (struct pressure_events){1, &near};
    assert_int_equal(find(&lines), 1);
    lines.study.pressure_events.count = 0;
    lines.study.timeline.count = 1;
    lines.marker.at_s = 10.5;
    assert_int_equal(find(&lines), 1);
}

/* Level: the median of the second that ends 0.3 s before the peak, 51 samples at 50 Hz. */
static void test_level_before(void **state)
{
    struct lines lines;

    (void)state;
    lines_open(&lines, 50.0);
    cough_in(lines.pves_samples, PEAK, 60.0, 5);
    /* Samples 435 to 485: 26 at 28 and 25 at 30, then one less. */
    for (size_t i = 0; i <= 460; i++) {
        lines.pves_samples[i] = 28.0;
    }
    assert_int_equal(find(&lines), 1);
    assert_close(lines.coughs.items[0].pves_rise_cmh2o, 62.0, 1e-9);
    lines.pves_samples[460] = 30.0;
    assert_int_equal(find(&lines), 1);
    assert_close(lines.coughs.items[0].pves_rise_cmh2o, 60.0, 1e-9);
    assert_close(lines.coughs.items[0].before_s, 9.2, 1e-9);
    assert_close(lines.coughs.items[0].pura_before_cmh2o, 60.0, 1e-9);
}

/* The urethra's own peak lies within 0.3 s. */
static void check_own_peak(double rate_hz, size_t early, bool seen)
{
    struct lines lines;

    lines_open(&lines, rate_hz);
    cough_in(lines.pves_samples, PEAK, 60.0, 5);
    lines.pura_samples[PEAK - early] = 100.0;
    assert_int_equal(find(&lines), 1);
    assert_close(lines.coughs.items[0].pura_peak_cmh2o, seen ? 100.0 : 60.0, 1e-9);
}

static void test_own_peak(void **state)
{
    (void)state;
    check_own_peak(50.0, 15, true);
    check_own_peak(50.0, 16, false);
    check_own_peak(49.2, 14, true);
    check_own_peak(49.2, 15, false);
}

/* What is cut out: where pves is above a tenth of the rise, and 0.3 s more to both sides. */
static void test_cut(void **state)
{
    struct lines lines;

    (void)state;
    lines_open(&lines, 50.0);
    cough_in(lines.pves_samples, PEAK, 50.0, 20);
    lines.pves_samples[PEAK - 15] = 34.95; /* below a tenth of 50 */
    lines.pves_samples[PEAK + 10] = 35.05; /* above it */
    lines.pves_samples[PEAK + 11] = 34.95;
    assert_int_equal(find(&lines), 1);
    assert_close(lines.coughs.items[0].span.from_s, 10.0 - 0.3 - 0.3, 1e-9);
    assert_close(lines.coughs.items[0].span.to_s, 10.0 + 0.22 + 0.3, 1e-9);
    /* Never further than 1.5 s after the peak. */
    lines_open(&lines, 50.0);
    cough_in(lines.pves_samples, PEAK, 50.0, 5);
    for (size_t i = PEAK + 1; i < PEAK + 90; i++) {
        lines.pves_samples[i] = fmax(lines.pves_samples[i], 40.0);
    }
    assert_int_equal(find(&lines), 1);
    assert_close(lines.coughs.items[0].span.to_s, 10.0 + 1.5 + 0.3, 1e-9);
}

/* The ratio follows levels that move along the resting curve. */
static void test_ratio(void **state)
{
    static const double rest_pura[] = {60, 61, 62, 63, 64};
    static const double rest_pves[] = {30, 30, 30, 32, 32};
    const struct series pura = {1.0, 6.0, 5, rest_pura};
    const struct series pves = {1.0, 6.0, 5, rest_pves};
    const struct profile_cough cough = {.at_s = 9.0,
                                        .pves_peak_cmh2o = 82.0,
                                        .pves_before_cmh2o = 30.0,
                                        .pura_peak_s = 8.0,
                                        .pura_peak_cmh2o = 102.0,
                                        .pura_before_cmh2o = 60.0,
                                        .before_s = 6.0};
    struct profile_cough small = cough;
    struct transmission_ratio ratio;

    (void)state;
    assert_true(profile_coughs_ratio(&cough, &pura, &pves, &ratio));
    assert_close(ratio.pves_rise_cmh2o, 50.0, 1e-9);
    assert_close(ratio.pura_rise_cmh2o, 40.0, 1e-9);
    assert_close(ratio.ratio_percent, 80.0, 1e-9);
    assert_close(ratio.stress_closure_cmh2o, 20.0, 1e-9);
    small.pves_peak_cmh2o = 46.9;
    assert_false(profile_coughs_ratio(&small, &pura, &pves, &ratio));
    small.pves_peak_cmh2o = 47.1;
    assert_true(profile_coughs_ratio(&small, &pura, &pves, &ratio));
    small.pura_before_cmh2o = (double)NAN;
    assert_false(profile_coughs_ratio(&small, &pura, &pves, &ratio));
}

/* A stress pull: coughs do not enter the resting values, the kind says so, and its coughs count in
 * the summary, its resting values do not. */
static void test_stress_recording(void **state)
{
    struct profile_case how = profile_case_plain();
    struct profile_case_truth truth;
    struct synth synth;

    (void)state;
    how.rate_hz = 50.0;
    how.coughs_every_s = 7.0;
    how.pulls = 2;
    profile_case_open(&synth, &how, &truth);
    const struct analysis_result *result = synth_run(&synth);
    const struct profiles_summary_measures *summary = &result->profiles_summary;

    for (size_t i = 0; i < 2; i++) {
        const struct profile_measures *pull = &result->profiles.pulls[i];

        assert_string_equal(pull->kind.word, "stress");
        assert_close(pull->maximum_closure_pressure.value, 60.0, 1.0);
        /* A cough at the foot of a flank hides where it begins. */
        assert_close(pull->functional_length.value, 30.0, 1.5);
    }
    assert_close(summary->pulls.value, 0.0, 0.0);
    assert_int_equal(summary->maximum_closure_pressure.state, MEASURE_ABSENT);
    assert_close(summary->transmission_ratio.value, 80.0, 3.0);
    assert_true(summary->stress_closure_pressure.value < 0.0);
    assert_null(synth_quality(result, "cough_in_rest"));
    synth_close(&synth);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_smallest),
        cmocka_unit_test(test_several),
        cmocka_unit_test(test_strain_or_cough),
        cmocka_unit_test(test_with_abdomen),
        cmocka_unit_test(test_level_before),
        cmocka_unit_test(test_own_peak),
        cmocka_unit_test(test_cut),
        cmocka_unit_test(test_ratio),
        cmocka_unit_test(test_stress_recording),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
