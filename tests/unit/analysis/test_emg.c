/* Electromyogram of a study: levels, bursts and the detrusor contraction at the edges of their
 * rules, what is absent and why, quality. */
#include "support/assert_close.h"
#include "support/emg_case.h"

#include "analysis/criteria_emg.h"
#include "analysis/emg/bursts.h"
#include "analysis/emg/emg_quality.h"

#include <math.h>
#include <string.h>

/* ---- Parts on their own ---- */

/* A study that can take quality findings, and nothing else. */
struct bench {
    struct test_memory memory;
    struct analysis_result result;
    struct study study;
};

static void bench_open(struct bench *bench)
{
    memset(bench, 0, sizeof *bench);
    test_memory_open(&bench->memory, SIZE_MAX);
    bench->study.memory = &bench->memory.memory;
    assert_true(outcome_open(&bench->study.outcome, &bench->result, &bench->memory.memory));
}

static void bench_close(struct bench *bench)
{
    test_memory_close(&bench->memory);
}

/* Bursts of 20 over a ground of 0, line 10, at 10 Hz; each edge is placed between two samples. */
static size_t bursts_in(const double edges[][2], size_t count)
{
    static double samples[400];
    const struct series envelope = {10.0, 0.0, 400, samples};
    struct test_memory memory;
    struct burst_list bursts;

    memset(samples, 0, sizeof samples);
    for (size_t i = 0; i < count; i++) {
        /* the line from a sample of 20 at t1 to one of v before it passes 10 at the edge */
        for (size_t k = 0; k < 400; k++) {
            const double at_s = (double)k / 10.0;
            const double inside_s = fmin(at_s - edges[i][0], edges[i][1] - at_s);

            if (inside_s > -0.1 && inside_s < 0.1) {
                samples[k] = fmax(samples[k], 10.0 + 100.0 * inside_s);
            } else if (inside_s >= 0.1) {
                samples[k] = 20.0;
            }
        }
    }
    test_memory_open(&memory, SIZE_MAX);
    assert_true(bursts_find(&envelope, 10.0, (struct span){0.0, 40.0}, &memory.memory, &bursts));
    for (size_t i = 0; i < bursts.count; i++) {
        assert_true(bursts.items[i].peak_uv >= 10.0);
    }
    test_memory_close(&memory);
    return bursts.count;
}

static void test_shortest_burst_and_longest_gap(void **state)
{
    static const double shorter[][2] = {{5.0, 5.495}};
    static const double longer[][2] = {{5.0, 5.505}};
    static const double joined[][2] = {{5.0, 5.4}, {5.6475, 6.0}};
    static const double apart[][2] = {{5.0, 6.0}, {6.2525, 8.0}};
    static const double pieces[][2] = {{5.0, 5.4}, {5.655, 6.0}};

    (void)state;
    assert_int_equal(bursts_in(shorter, 1), 0);
    assert_int_equal(bursts_in(longer, 1), 1);
    assert_int_equal(bursts_in(joined, 2), 1);
    assert_int_equal(bursts_in(apart, 2), 2);
    assert_int_equal(bursts_in(pieces, 2), 0);
}

static struct detrusor_contraction contraction_in(const double *pdet, size_t count, double rate_hz,
                                                  struct span flow)
{
    struct bench bench;
    struct detrusor_contraction contraction;

    bench_open(&bench);
    bench.study.pdet = (struct series){rate_hz, 0.0, count, pdet};
    assert_true(bursts_contraction(&bench.study, 3.0, (struct span){0.0, 1e6}, flow, &contraction));
    bench_close(&bench);
    return contraction;
}

/* At 1 Hz, where nothing is averaged: a peak that is above 8 for as long as its height makes it. */
static void test_smallest_contraction(void **state)
{
    static const struct span none = {1.0, 0.0};
    double pdet[20];

    (void)state;
    for (int above = 0; above <= 1; above++) {
        for (size_t i = 0; i < 20; i++) {
            pdet[i] = i >= 5 && i <= 12 ? 3.0 + (above == 1 ? 5.05 : 4.95) : 3.0;
        }
        assert_int_equal(contraction_in(pdet, 20, 1.0, none).found, above);
        for (size_t i = 0; i < 20; i++) {
            pdet[i] = i == 8 ? 3.0 + (above == 1 ? 10.101 : 9.9) : 3.0;
        }
        assert_int_equal(contraction_in(pdet, 20, 1.0, none).found, above);
    }
    assert_false(contraction_in(pdet, 0, 1.0, none).found);
}

/* Of several, the one in which most of the flow lies; without flow, the highest. */
static void test_which_contraction(void **state)
{
    static const struct span none = {1.0, 0.0};
    static const struct span flow = {12.0, 18.0};
    double pdet[40];

    (void)state;
    for (size_t i = 0; i < 40; i++) {
        pdet[i] = i >= 10 && i < 20 ? 23.0 : 3.0;
        pdet[i] = i >= 28 && i < 34 ? 43.0 : pdet[i];
    }
    assert_close(contraction_in(pdet, 40, 1.0, flow).span.from_s, 9.25, 1e-9);
    assert_close(contraction_in(pdet, 40, 1.0, none).peak_s, 28.0, 1e-9);
}

static bool told(const struct bench *bench, const char *code)
{
    return synth_quality(&bench->result, code) != NULL;
}

static void test_strain(void **state)
{
    static const double heights[] = {34.9, 35.1};

    (void)state;
    for (size_t i = 0; i < 2; i++) {
        struct emg_burst bursts[14];
        const struct burst_list list = {14, bursts};
        struct bench bench;
        double pabd[200];

        for (size_t k = 0; k < 14; k++) {
            bursts[k] = (struct emg_burst){(double)k, (double)k + 0.6, 20.0};
        }
        for (size_t k = 0; k < 200; k++) {
            pabd[k] = heights[i];
        }
        bench_open(&bench);
        bench.study.pabd = (struct series){10.0, 0.0, 200, pabd};
        emg_quality_of_strain(&bench.study, &list, 25.0);
        assert_int_equal(told(&bench, "emg_with_strain"), i == 1);
        assert_true(bench.result.quality_count <= 10);
        bench_close(&bench);
    }
}

/* A rise by `ratio` over `steps` samples that ends at `end`, around an onset of flow at `onset_s`.
 */
static bool is_wet(double rate_hz, double ratio, size_t steps, size_t end, double onset_s)
{
    double samples[200];
    const struct series envelope = {rate_hz, 0.0, 200, samples};
    struct bench bench;

    for (size_t i = 0; i < 200; i++) {
        const double done = i >= end           ? 1.0
                            : i + steps <= end ? 0.0
                                               : 1.0 - (double)(end - i) / (double)steps;

        samples[i] = 4.0 * pow(ratio, done);
    }
    bench_open(&bench);
    emg_quality_of_wetting(&bench.study, &envelope, onset_s);
    const bool wet = told(&bench, "emg_wet");

    bench_close(&bench);
    return wet;
}

static void test_wetting(void **state)
{
    (void)state;
    assert_true(is_wet(20.0, 5.05, 1, 100, 5.0));
    assert_false(is_wet(20.0, 4.95, 1, 100, 5.0));
    assert_true(is_wet(20.0, 1.0 / 5.05, 1, 100, 5.0));
    /* within a second: 20 samples at 20 Hz, 19 at 19.7 Hz */
    assert_true(is_wet(20.0, 5.05, 20, 115, 5.0));
    assert_false(is_wet(20.0, 5.05, 21, 115, 5.0));
    assert_true(is_wet(19.7, 5.05, 19, 115, 5.0));
    assert_false(is_wet(19.7, 5.05, 20, 115, 5.0));
    /* from half a second before the onset: the last low sample is at 4.95 s */
    assert_true(is_wet(20.0, 9.0, 1, 100, 4.95 + 0.495));
    assert_false(is_wet(20.0, 9.0, 1, 100, 4.95 + 0.505));
    /* to two seconds after it: the first high sample is at 5 s */
    assert_true(is_wet(20.0, 9.0, 1, 100, 5.0 - 1.99));
    assert_false(is_wet(20.0, 9.0, 1, 100, 5.0 - 2.01));
}

static struct analysis_result signal_quality(struct bench *bench, const double *samples,
                                             size_t count, double rate_hz, enum emg_form form)
{
    const struct series input = {rate_hz, 0.0, count, samples};
    struct envelope envelope;

    bench_open(bench);
    assert_true(envelope_make(&input, form, &bench->memory.memory, &envelope));
    emg_quality_of_signal(&bench->study, &input, &envelope);
    return bench->result;
}

static void assert_told(const double *samples, size_t count, double rate_hz, enum emg_form form,
                        const char *code, bool expected)
{
    struct bench bench;
    const struct analysis_result result = signal_quality(&bench, samples, count, rate_hz, form);

    if ((synth_quality(&result, code) != NULL) != expected) {
        fail_msg("%s at %g Hz, form %d", code, rate_hz, (int)form);
    }
    bench_close(&bench);
}

static void test_sampling_rates(void **state)
{
    static const double samples[] = {1.0, 2.0, 3.0, 4.0, 3.0, 2.0};

    (void)state;
    assert_told(samples, 6, 1000.0, EMG_FORM_RAW, "emg_low_sampling", false);
    assert_told(samples, 6, 990.0, EMG_FORM_RAW, "emg_low_sampling", true);
    assert_told(samples, 6, 990.0, EMG_FORM_RECTIFIED, "emg_low_sampling", true);
    assert_told(samples, 6, 10.0, EMG_FORM_ENVELOPE, "emg_low_sampling", false);
    assert_told(samples, 6, 9.9, EMG_FORM_ENVELOPE, "emg_low_sampling", true);
    assert_told(samples, 6, 10.0, EMG_FORM_UNKNOWN, "emg_form_unknown", true);
    assert_told(samples, 6, 10.0, EMG_FORM_ENVELOPE, "emg_form_unknown", false);
}

static void test_missing_and_mismatch(void **state)
{
    double samples[100];

    (void)state;
    for (size_t i = 0; i < 100; i++) {
        samples[i] = 5.0 + (double)(i % 7);
    }
    assert_told(samples, 100, 10.0, EMG_FORM_ENVELOPE, "missing_samples", false);
    assert_told(samples, 100, 10.0, EMG_FORM_ENVELOPE, "emg_form_mismatch", false);
    samples[40] = (double)NAN;
    assert_told(samples, 100, 10.0, EMG_FORM_ENVELOPE, "missing_samples", true);
    for (size_t i = 0; i < 10; i++) {
        samples[i] = -1.0;
    }
    assert_told(samples, 100, 10.0, EMG_FORM_ENVELOPE, "emg_form_mismatch", true);
    assert_told(samples, 100, 1000.0, EMG_FORM_RECTIFIED, "emg_form_mismatch", true);
    assert_told(samples, 100, 1000.0, EMG_FORM_RAW, "emg_form_mismatch", false);
}

/* Three equal samples at either end of the range of a raw signal, half a second at the upper end of
 * a smooth one. */
static void test_clipping(void **state)
{
    static double samples[3000];

    (void)state;
    for (size_t i = 0; i < 3000; i++) {
        samples[i] = 10.0 + (double)(i % 5);
    }
    assert_told(samples, 3000, 1000.0, EMG_FORM_RAW, "signal_clipped", false);
    samples[7] = samples[8] = 40.0;
    assert_told(samples, 3000, 1000.0, EMG_FORM_RAW, "signal_clipped", false);
    samples[9] = 40.0;
    assert_told(samples, 3000, 1000.0, EMG_FORM_RAW, "signal_clipped", true);
    samples[8] = 12.0;
    samples[2997] = samples[2998] = samples[2999] = -40.0;
    assert_told(samples, 3000, 1000.0, EMG_FORM_RAW, "signal_clipped", true);
    assert_told(samples, 3000, 1000.0, EMG_FORM_ENVELOPE, "signal_clipped", false);
    for (size_t i = 0; i < 500; i++) {
        samples[1000 + i] = 50.0;
    }
    assert_told(samples, 3000, 1000.0, EMG_FORM_ENVELOPE, "signal_clipped", false);
    samples[1500] = 50.0;
    assert_told(samples, 3000, 1000.0, EMG_FORM_ENVELOPE, "signal_clipped", true);
    for (size_t i = 0; i < 3000; i++) {
        samples[i] = 5.0;
    }
    assert_told(samples, 3000, 1000.0, EMG_FORM_ENVELOPE, "signal_clipped", false);
}

/* Of 10000 windows, 1000 with a spike are told and 999 are not: a spike lies in five windows, one
 * near the start in four. */
static void test_spikes(void **state)
{
    static double samples[500000];

    (void)state;
    for (size_t i = 0; i < 500000; i++) {
        samples[i] = i % 2 == 0 ? 1.0 : -1.0;
    }
    for (size_t i = 1; i < 200; i++) {
        samples[2000 * i] = 50.0;
    }
    samples[75] = 50.0; /* windows around 0, 50, 100 and 150 */
    assert_told(samples, 500000, 1000.0, EMG_FORM_RAW, "emg_spikes", false);
    samples[75] = 1.0;
    samples[1000] = 50.0;
    assert_told(samples, 500000, 1000.0, EMG_FORM_RAW, "emg_spikes", true);
}

/* ---- Within a study ---- */

/* A study whose envelope, sampled at `rate_hz`, is a polyline without noise. */
static const struct analysis_result *run_line(struct synth *synth, double rate_hz,
                                              const struct polyline *line)
{
    struct emg_case how = emg_case_usual(rate_hz, EMG_FORM_ENVELOPE);

    emg_case_open(synth, &how);
    double *samples = synth_writable(synth, SIGNAL_EMG);

    for (size_t i = 0; i < recording_channel(&synth->recording, SIGNAL_EMG)->sample_count; i++) {
        samples[i] = polyline_value((double)i / rate_hz, line);
    }
    return synth_run(synth);
}

static double part_of(const struct measure *measure, const char *code)
{
    for (size_t i = 0; i < measure->part_count; i++) {
        if (strcmp(measure->parts[i].code, code) == 0) {
            return measure->parts[i].value;
        }
    }
    fail_msg("no part %s", code);
    return 0.0;
}

/* Filling from 20 to 340 s; the EMG rises from 4 at 20 s by a tenth of a uV a second. */
static void test_windows_of_filling(void **state)
{
    static const double points[][2] = {{20.0, 4.0}, {340.0, 36.0}, {341.0, 2.0}, {410.0, 2.0}};
    static const struct polyline line = {4, points};
    struct synth synth;
    const struct emg_measures *emg = &run_line(&synth, 20.0, &line)->emg;

    (void)state;
    assert_close(emg->resting_mean.value, 4.5, 1e-6);
    assert_close(emg->resting_mean.at_s, 25.0, 1e-9);
    assert_close(emg->filling_mean.value, 20.0, 1e-6);
    assert_close(emg->filling_slope.value, 6.0, 1e-6);
    assert_close(part_of(&emg->guarding, "end_of_filling"), 36.0 - 1.6, 0.004);
    assert_close(emg->guarding.value, 100.0 * (34.4 / 4.5 - 1.0), 0.1);
    assert_close(part_of(&emg->voiding_to_filling, "end_of_filling"), 35.5, 1e-6);
    assert_close(emg->voiding_to_filling.value, 2.0 / 35.5, 1e-6);
    synth_close(&synth);
}

/* Medians of 32 segments of 10 s of a parabola: the line through them has the slope in the middle
 * of what they cover. */
static void test_slope_segments(void **state)
{
    struct emg_case how = emg_case_usual(20.0, EMG_FORM_ENVELOPE);
    struct synth synth;

    (void)state;
    emg_case_open(&synth, &how);
    double *samples = synth_writable(&synth, SIGNAL_EMG);

    for (size_t i = 0; i < recording_channel(&synth.recording, SIGNAL_EMG)->sample_count; i++) {
        const double at_s = (double)i / 20.0 - 20.0;

        samples[i] = 5.0 + (at_s > 0.0 ? 0.001 * at_s * at_s : 0.0);
    }
    synth.events[2].at_s = 335.0; /* permission: 31 whole segments of 315 s */
    assert_close(synth_run(&synth)->emg.filling_slope.value, 60.0 * 0.001 * 310.0, 1e-6);
    synth_close(&synth);
}

/* Coughs every 5 s: the first undisturbed 10 s may begin a minute after the start of filling. */
static void test_undisturbed_rest(void **state)
{
    static const double lasts[] = {57.5, 58.5};
    static const double points[][2] = {{20.0, 4.0}, {340.0, 36.0}};
    static const struct polyline line = {2, points};

    (void)state;
    for (size_t i = 0; i < 2; i++) {
        struct emg_case how = emg_case_usual(20.0, EMG_FORM_ENVELOPE);
        struct synth synth;

        emg_case_open(&synth, &how);
        double *samples = synth_writable(&synth, SIGNAL_EMG);

        for (size_t k = 0; k < recording_channel(&synth.recording, SIGNAL_EMG)->sample_count; k++) {
            samples[k] = polyline_value((double)k / 20.0, &line);
        }
        for (size_t k = 1; k <= 11; k++) {
            synth_event(&synth, EVENT_COUGH, 20.0 + 5.0 * (double)k);
        }
        synth_event(&synth, EVENT_COUGH, 20.0 + lasts[i]);
        const struct measure *rest = &synth_run(&synth)->emg.resting_mean;

        assert_close(rest->at_s, i == 0 ? 85.0 : 25.0, 1e-9);
        assert_int_equal(strstr(rest->method, "no undisturbed") != NULL, i == 1);
        synth_close(&synth);
    }
}

/* Without spread at rest, the line for bursts is 3 times 0.1 uV above it. */
static void test_burst_line(void **state)
{
    static const double points[][2] = {{0.0, 6.0}, {410.0, 6.0}};
    static const struct polyline line = {2, points};
    struct synth synth;
    const struct emg_measures *emg = &run_line(&synth, 20.0, &line)->emg;

    (void)state;
    assert_close(part_of(&emg->bursts_during_voiding, "burst_line"), 6.3, 1e-9);
    assert_close(emg->bursts_during_voiding.value, 0.0, 0.0);
    assert_close(emg->burst_overlap.value, 0.0, 0.0);
    assert_close(emg->voiding_to_filling.value, 1.0, 0.0);
    assert_string_equal(emg->relaxation_lag.reason, "the EMG does not relax for voiding");
    synth_close(&synth);
}

/* A clinic's own count of standard deviations is used, and stated. */
static void test_chosen_line(void **state)
{
    static const double points[][2] = {{0.0, 6.0}, {410.0, 6.0}};
    static const struct polyline line = {2, points};
    struct analysis_choices choices;
    struct synth synth;

    (void)state;
    choices_standard(&choices);
    choices.emg_burst_sd.value = 5.0;
    run_line(&synth, 20.0, &line);
    synth.choices = &choices;
    const struct analysis_result *result = synth_run(&synth);

    assert_close(part_of(&result->emg.bursts_during_voiding, "burst_line"), 6.5, 1e-9);
    assert_close(synth_class(result, "emg_voiding_pattern")->limits[0].value, 5.0, 0.0);
    synth_close(&synth);
}

/* The EMG falls from 18 to 6 between 343 and 347 s: half-way at 345. */
static void test_lag(void **state)
{
    static const double points[][2] = {{0.0, 4.0}, {200.0, 18.0}, {343.0, 18.0}, {347.0, 6.0}};
    static const struct polyline line = {4, points};
    const struct emg_case_times times = emg_case_times();
    struct synth synth;
    const struct measure *lag = &run_line(&synth, 20.0, &line)->emg.relaxation_lag;

    (void)state;
    assert_close(lag->at_s, 345.0, 0.01);
    assert_close(lag->value, times.flow_start - times.delay - 345.0, 0.02);
    assert_close(part_of(lag, "without_delay_correction"), times.flow_start - 345.0, 0.02);
    synth_close(&synth);
}

/* A dip of 0.99 s from 342 s on is no relaxation, one of 1.01 s is. Samples stand 0.05 s apart; the
 * one before the dip sets where the line at 12 uV is passed: 0.04 or 0.01 s before its first. */
static void test_relaxation_lasts(void **state)
{
    static const struct {
        double before_uv;
        size_t samples;
        double relaxed_s;
    } rows[] = {{13.5, 20, 350.05}, {36.0, 21, 341.99}};

    static const double points[][2] = {
        {0.0, 4.0}, {200.0, 18.0}, {350.0, 18.0}, {350.1, 6.0}, {410.0, 6.0}};
    static const struct polyline line = {5, points};

    (void)state;
    for (size_t i = 0; i < 2; i++) {
        struct synth synth;

        run_line(&synth, 20.0, &line);
        double *samples = synth_writable(&synth, SIGNAL_EMG);

        samples[6839] = rows[i].before_uv;
        for (size_t k = 0; k < rows[i].samples; k++) {
            samples[6840 + k] = 6.0;
        }
        assert_close(synth_run(&synth)->emg.relaxation_lag.at_s, rows[i].relaxed_s, 0.03);
        synth_close(&synth);
    }
}

/* The contraction is followed to 10 s after the end of flow, and the EMG to 2 s after its peak. */
static void test_contraction_and_fall(void **state)
{
    static const double points[][2] = {{0.0, 6.0},    {340.0, 6.0}, {361.0, 6.0},
                                       {364.0, 40.0}, {368.0, 0.0}, {410.0, 0.0}};
    static const struct polyline line = {6, points};
    static const double rate_hz = 19.7;
    const struct emg_case_times times = emg_case_times();
    struct emg_case how = emg_case_usual(rate_hz, EMG_FORM_ENVELOPE);
    struct synth synth;

    (void)state;
    emg_case_open(&synth, &how);
    double *samples = synth_writable(&synth, SIGNAL_EMG);
    double *pves = synth_writable(&synth, SIGNAL_PVES);

    for (size_t i = 0; i < recording_channel(&synth.recording, SIGNAL_EMG)->sample_count; i++) {
        samples[i] = polyline_value((double)i / rate_hz, &line);
    }
    for (size_t i = 0; i <= 8200; i++) {
        pves[i] = i >= 7300 ? 90.0 : pves[i];
    }
    const struct measure *overlap = &synth_run(&synth)->emg.burst_overlap;
    const double end_s = times.flow_end - times.delay + 10.0;

    assert_close(part_of(overlap, "contraction_start_s"), times.contraction_start, 0.03);
    assert_close(part_of(overlap, "contraction_end_s"), end_s, 0.06);
    /* the peak is a sample at most 1/19.7 s beside 364 s; 39 samples later 1.9797 s have passed */
    const double peak_s = part_of(overlap, "emg_peak_after_pdet_peak_s") + overlap->at_s;
    const double peak = polyline_value(peak_s, &line);
    const double later = polyline_value(peak_s + 39.0 / rate_hz, &line);

    assert_close(peak_s, 364.0, 1.0 / rate_hz);
    assert_close(part_of(overlap, "emg_after_its_peak_percent"), 100.0 * later / peak, 1e-6);
    synth_close(&synth);
}

/* Only what flows counts: bursts that stop the flow do not raise the level during it. */
static void test_level_during_flow(void **state)
{
    static const double points[][2] = {
        {0.0, 6.0}, {360.0, 6.0}, {360.1, 50.0}, {378.0, 50.0}, {378.1, 6.0}};
    static const struct polyline line = {5, points};
    struct synth synth;

    (void)state;
    run_line(&synth, 20.0, &line);
    double *flow = synth_writable(&synth, SIGNAL_FLOW);

    for (size_t i = 0; i <= 8200; i++) {
        const double at_s = (double)i / 20.0;

        flow[i] = at_s > 360.8 && at_s < 379.0 ? 0.4 : flow[i];
    }
    assert_close(synth_run(&synth)->emg.voiding_mean.value, 6.0, 1e-9);
    synth_close(&synth);
}

static void assert_absent(const struct measure *measure, const char *reason)
{
    assert_int_equal(measure->state, MEASURE_ABSENT);
    assert_non_null(strstr(measure->reason, reason));
}

static void test_without_flow(void **state)
{
    struct emg_case how = emg_case_usual(20.0, EMG_FORM_ENVELOPE);
    struct synth synth;

    (void)state;
    how.without_flow = true;
    how.void_uv = 30.0;
    emg_case_open(&synth, &how);
    const struct analysis_result *result = synth_run(&synth);

    assert_absent(&result->emg.voiding_mean, "no flow");
    assert_absent(&result->emg.voiding_to_filling, "no flow");
    assert_absent(&result->emg.relaxation_lag, "no flow");
    assert_true(result->emg.burst_overlap.value > 95.0);
    assert_string_equal(synth_class(result, "emg_voiding_pattern")->class, "type_3");
    synth_close(&synth);
}

static void test_without_pressure(void **state)
{
    struct emg_case how = emg_case_usual(20.0, EMG_FORM_ENVELOPE);
    struct synth synth;

    (void)state;
    how.without_pdet = true;
    how.void_uv = 30.0;
    emg_case_open(&synth, &how);
    const struct analysis_result *result = synth_run(&synth);

    assert_absent(&result->emg.burst_overlap, "no detrusor pressure");
    assert_true(result->emg.bursts_during_voiding.value > 0.5);
    assert_string_equal(synth_class(result, "emg_voiding_pattern")->class, "higher");
    assert_non_null(synth_finding(result, "emg_active_during_voiding"));
    synth_close(&synth);
}

static void test_without_samples(void **state)
{
    struct emg_case how = emg_case_usual(20.0, EMG_FORM_ENVELOPE);
    struct synth synth;

    (void)state;
    emg_case_open(&synth, &how);
    synth_lose(&synth, SIGNAL_EMG, 0.0, 1e6);
    const struct analysis_result *result = synth_run(&synth);

    assert_true(result->has_emg);
    assert_absent(&result->emg.envelope, "no usable EMG");
    assert_absent(&result->emg.bursts_during_voiding, "no usable EMG");
    assert_int_equal(result->emg.bursts.state, MEASURE_ABSENT);
    assert_null(synth_class(result, "emg_voiding_pattern"));
    synth_close(&synth);
}

/* What is missing at rest, at the end of filling or during flow is absent, never zero. */
static void test_partly_missing(void **state)
{
    static const struct {
        double from_s;
        double to_s;
    } gaps[] = {{0.0, 110.0}, {329.0, 341.0}, {346.0, 392.0}};

    (void)state;
    for (size_t i = 0; i < 3; i++) {
        struct emg_case how = emg_case_usual(20.0, EMG_FORM_ENVELOPE);
        struct synth synth;

        emg_case_open(&synth, &how);
        synth_lose(&synth, SIGNAL_EMG, gaps[i].from_s, gaps[i].to_s);
        const struct emg_measures *emg = &synth_run(&synth)->emg;

        assert_int_equal(emg->resting_mean.state, i == 0 ? MEASURE_ABSENT : MEASURE_PRESENT);
        assert_int_equal(emg->guarding.state, i == 0 ? MEASURE_ABSENT : MEASURE_PRESENT);
        assert_int_equal(emg->bursts.state, i == 0 ? MEASURE_ABSENT : MEASURE_PRESENT);
        assert_int_equal(emg->voiding_mean.state, i == 2 ? MEASURE_ABSENT : MEASURE_PRESENT);
        assert_int_equal(emg->voiding_to_filling.state, i == 0 ? MEASURE_PRESENT : MEASURE_ABSENT);
        assert_int_equal(emg->relaxation_lag.state, i == 0 ? MEASURE_PRESENT : MEASURE_ABSENT);
        synth_close(&synth);
    }
}

static void test_quiet_study(void **state)
{
    struct emg_case how = emg_case_usual(1000.0, EMG_FORM_RAW);
    struct synth synth;

    (void)state;
    emg_case_open(&synth, &how);
    const struct analysis_result *result = synth_run(&synth);

    assert_string_equal(result->emg.envelope.word, "moving_rms_of_raw");
    assert_close(part_of(&result->emg.envelope, "window_s"), 0.2, 1e-12);
    assert_close(part_of(&result->emg.envelope, "rate_hz"), 20.0, 1e-12);
    assert_close(part_of(&result->emg.envelope, "recorded_rate_hz"), 1000.0, 1e-12);
    assert_close(part_of(&result->emg.envelope, "negative_percent"), 50.0, 1.0);
    assert_string_equal(synth_class(result, "emg_voiding_pattern")->class, "quiet");
    assert_null(synth_finding(result, "emg_active_during_voiding"));
    assert_null(synth_quality(result, "emg_low_sampling"));
    assert_null(synth_quality(result, "emg_wet"));
    assert_null(synth_quality(result, "emg_with_strain"));
    assert_null(synth_quality(result, "emg_spikes"));
    assert_null(synth_quality(result, "signal_clipped"));
    synth_close(&synth);
}

/* Straining while urine flows is told on the burst, and the count rests on it. */
static void test_straining_study(void **state)
{
    struct emg_case how = emg_case_usual(20.0, EMG_FORM_ENVELOPE);
    struct synth synth;

    (void)state;
    how.void_uv = 30.0;
    how.pabd_strain = 40.0;
    emg_case_open(&synth, &how);
    const struct analysis_result *result = synth_run(&synth);
    const struct quality_finding *strain = synth_quality(result, "emg_with_strain");

    assert_non_null(strain);
    assert_int_equal(strain->signal, SIGNAL_EMG);
    assert_true(result->emg.burst_overlap.doubt_count > 0);
    assert_string_equal(result->emg.voiding_mean.doubts[0], "emg_with_strain");
    synth_close(&synth);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_shortest_burst_and_longest_gap),
        cmocka_unit_test(test_smallest_contraction),
        cmocka_unit_test(test_which_contraction),
        cmocka_unit_test(test_strain),
        cmocka_unit_test(test_wetting),
        cmocka_unit_test(test_sampling_rates),
        cmocka_unit_test(test_missing_and_mismatch),
        cmocka_unit_test(test_clipping),
        cmocka_unit_test(test_spikes),
        cmocka_unit_test(test_windows_of_filling),
        cmocka_unit_test(test_slope_segments),
        cmocka_unit_test(test_undisturbed_rest),
        cmocka_unit_test(test_burst_line),
        cmocka_unit_test(test_chosen_line),
        cmocka_unit_test(test_lag),
        cmocka_unit_test(test_relaxation_lasts),
        cmocka_unit_test(test_contraction_and_fall),
        cmocka_unit_test(test_level_during_flow),
        cmocka_unit_test(test_without_flow),
        cmocka_unit_test(test_without_pressure),
        cmocka_unit_test(test_without_samples),
        cmocka_unit_test(test_partly_missing),
        cmocka_unit_test(test_quiet_study),
        cmocka_unit_test(test_straining_study),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
