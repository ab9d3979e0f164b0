/* Pelvic floor training: each rule at both of its edges, commands, abdominal use, what is absent
 * and why, quality. */
#include "support/assert_close.h"
#include "support/training_case.h"

#include "analysis/criteria_training.h"
#include "analysis/training/holds.h"
#include "analysis/training/training_quality.h"

#include <math.h>
#include <string.h>

/* ---- Finding contractions ---- */

static struct holds find(struct test_memory *memory, const double *samples, size_t count,
                         double rate_hz)
{
    const struct series signal = {rate_hz, 0.0, count, samples};
    struct holds holds;

    test_memory_open(memory, SIZE_MAX);
    assert_true(holds_find(&signal, &memory->memory, &holds));
    return holds;
}

/* At 1 Hz nothing is filtered: rest 0, a contraction of 100 for ten seconds, so that the line is at
 * 20, and further samples from 40 s on. */
static size_t count_of(const double *more, size_t more_count)
{
    double samples[100] = {0.0};
    struct test_memory memory;

    for (size_t i = 15; i < 25; i++) {
        samples[i] = 100.0;
    }
    memcpy(samples + 40, more, more_count * sizeof *more);
    const struct holds holds = find(&memory, samples, 100, 1.0);
    const size_t count = holds.count;

    assert_true(holds.rest.count > 0);
    assert_close(holds.line, 20.0, 1e-12);
    test_memory_close(&memory);
    return count - 1;
}

/* A triangle of height h is above 20 for 2 - 40 / h seconds. */
static void test_shortest(void **state)
{
    static const double shorter[] = {26.578}; /* 0.495 s */
    static const double longer[] = {26.756};  /* 0.505 s */

    (void)state;
    assert_int_equal(count_of(shorter, 1), 0);
    assert_int_equal(count_of(longer, 1), 1);
}

/* A dip to d between samples of 100 is below 20 for 2 * (20 - d) / (100 - d) seconds. */
static void test_longest_gap(void **state)
{
    double samples[13];

    (void)state;
    for (size_t i = 0; i < 13; i++) {
        samples[i] = 100.0;
    }
    samples[6] = 8.7019; /* 0.2475 s */
    assert_int_equal(count_of(samples, 13), 1);
    samples[6] = 8.4406; /* 0.2525 s */
    assert_int_equal(count_of(samples, 13), 2);
}

/* Two peaks of 100 with a dip in between, at 2 Hz: apart when the dip is below half of the peak. */
static void test_quick_ones_apart(void **state)
{
    static const double dips[] = {49.6, 50.4};

    (void)state;
    for (size_t i = 0; i < 2; i++) {
        double samples[100] = {0.0};
        struct test_memory memory;

        samples[40] = samples[43] = 100.0;
        samples[41] = samples[42] = dips[i];
        const struct holds holds = find(&memory, samples, 100, 2.0);

        assert_int_equal(holds.count, i == 0 ? 2 : 1);
        test_memory_close(&memory);
    }
}

/* A long contraction that sags below half and comes back stays one. */
static void test_sagging_hold_stays_one(void **state)
{
    double samples[100] = {0.0};
    struct test_memory memory;

    (void)state;
    for (size_t i = 40; i < 60; i++) {
        samples[i] = i >= 48 && i < 50 ? 40.0 : 100.0;
    }
    assert_int_equal(find(&memory, samples, 100, 2.0).count, 1);
    test_memory_close(&memory);
}

/* The line: three robust standard deviations, at least 0.3, at least a fifth of the best. */
static void test_line(void **state)
{
    static double samples[400];
    struct test_memory memory;

    (void)state;
    for (size_t i = 0; i < 400; i++) {
        samples[i] = 10.0 + (double)(i * 7 % 11) / 10.0;
        samples[i] += i >= 200 && i < 300 ? 5.0 : 0.0;
    }
    struct holds holds = find(&memory, samples, 400, 1.0);

    assert_true(3.0 * holds.rest.sd > 0.2 * holds.best);
    assert_close(holds.line, holds.rest.median + 3.0 * holds.rest.sd, 1e-12);
    test_memory_close(&memory);
    for (size_t i = 0; i < 400; i++) {
        samples[i] = 10.0 + (i >= 200 && i < 300 ? 1.0 : 0.0);
    }
    holds = find(&memory, samples, 400, 1.0);
    assert_close(holds.line, 10.3, 1e-12);
    assert_close(holds.best, 1.0, 1e-12);
    test_memory_close(&memory);
    for (size_t i = 0; i < 400; i++) {
        samples[i] = 10.0 + (i >= 200 && i < 300 ? 50.0 : 0.0);
    }
    holds = find(&memory, samples, 400, 1.0);
    assert_close(holds.line, 20.0, 1e-12);
    test_memory_close(&memory);
}

/* The median over half a second takes away a pulse of 5 samples at 20 Hz, of 4 at 19.7 Hz. */
static void test_spikes_are_no_best(void **state)
{
    static const struct {
        double rate_hz;
        size_t length;
        double best;
    } rows[] = {{20.0, 5, 50.0}, {20.0, 6, 400.0}, {19.7, 4, 50.0}, {19.7, 5, 400.0}};

    (void)state;
    for (size_t i = 0; i < 4; i++) {
        static double samples[800];
        struct test_memory memory;

        for (size_t k = 0; k < 800; k++) {
            samples[k] = k >= 400 && k < 480 ? 50.0 : 0.0;
        }
        for (size_t k = 0; k < rows[i].length; k++) {
            samples[200 + k] = 400.0;
        }
        assert_close(find(&memory, samples, 800, rows[i].rate_hz).best, rows[i].best, 1e-12);
        test_memory_close(&memory);
    }
}

/* Rest begins a second beside a contraction, whose edges lie between samples 0.05 s apart: from 0
 * to 100, 20 is passed after a fifth of the way down from the edge's sample. */
static void test_rest_beside(void **state)
{
    double samples[400];
    struct test_memory memory;

    (void)state;
    for (size_t i = 0; i < 400; i++) {
        samples[i] = i >= 200 && i < 300 ? 100.0 : 0.0;
    }
    /* up at 9.96 s: 8.95 s is rest, 9 s is not; down at 14.99 s: 16 s is rest, 15.95 s is not */
    struct holds holds = find(&memory, samples, 400, 20.0);

    assert_close(holds.spans[0].from_s, 9.96, 1e-9);
    assert_close(holds.spans[0].to_s, 14.99, 1e-9);
    assert_int_equal(holds.rest.count, 180 + 80);
    test_memory_close(&memory);
    /* the line is 20 of 64: up at 9.965625 s; so 8.95 s is 1.0156 s before it */
    samples[299] = 20.5;
    samples[298] = 20.5;
    holds = find(&memory, samples, 400, 20.0);
    assert_int_equal(holds.rest.count, 180 + 80);
    test_memory_close(&memory);
}

/* Three seconds of rest are enough, less is none. */
static void test_least_rest(void **state)
{
    (void)state;
    for (size_t lead = 79; lead <= 80; lead++) {
        double samples[400];
        struct test_memory memory;

        for (size_t i = 0; i < 400; i++) {
            samples[i] = i < lead ? 0.0 : 100.0;
        }
        const struct holds holds = find(&memory, samples, 400, 20.0);

        /* the contraction begins 0.04 s before its first sample, so that 21 samples are beside it
         */
        if (lead == 79) {
            assert_int_equal(holds.rest.count, 0);
        } else {
            assert_int_equal(holds.rest.count, 60);
        }
        test_memory_close(&memory);
    }
}

static void test_constant_and_missing(void **state)
{
    static double samples[300];
    struct test_memory memory;

    (void)state;
    for (size_t i = 0; i < 300; i++) {
        samples[i] = 7.0;
    }
    struct holds holds = find(&memory, samples, 300, 20.0);

    assert_int_equal(holds.count, 0);
    assert_close(holds.rest.median, 7.0, 0.0);
    assert_close(holds_rest_before_s(&holds), 299.0 / 20.0, 1e-9);
    test_memory_close(&memory);
    for (size_t i = 0; i < 300; i++) {
        samples[i] = (double)NAN;
    }
    holds = find(&memory, samples, 300, 20.0);
    assert_int_equal(holds.count, 0);
    assert_int_equal(holds.rest.count, 0);
    test_memory_close(&memory);
}

/* ---- Quality of the session ---- */

static bool told(const struct holds *holds, const char *code)
{
    struct test_memory memory;
    struct analysis_result result = {.type = RECORDING_PELVIC_FLOOR_TRAINING};
    struct study study = {.memory = &memory.memory};

    test_memory_open(&memory, SIZE_MAX);
    assert_true(outcome_open(&study.outcome, &result, &memory.memory));
    training_quality_of_session(&study, SIGNAL_EMG, holds);
    const bool found = synth_quality(&result, code) != NULL;

    test_memory_close(&memory);
    return found;
}

static void test_session_quality(void **state)
{
    static const double sample = 5.0;
    struct span spans[] = {{10.1, 15.0}};
    struct holds holds = {.signal = {20.0, 0.0, 1, &sample},
                          .rest = {5.0, 1.0, 100},
                          .rest_drift = 0.0,
                          .best = 100.0,
                          .count = 1,
                          .spans = spans};

    (void)state;
    assert_false(told(&holds, "training_short_rest"));
    spans[0].from_s = 9.9;
    assert_true(told(&holds, "training_short_rest"));
    assert_false(told(&holds, "training_drift"));
    holds.rest_drift = 9.85;
    assert_false(told(&holds, "training_drift"));
    holds.rest_drift = -10.15;
    assert_true(told(&holds, "training_drift"));
    assert_false(told(&holds, "training_no_contraction"));
    holds.count = 0;
    assert_true(told(&holds, "training_no_contraction"));
    holds.rest.count = 0;
    assert_true(told(&holds, "training_no_rest"));
}

/* The level at rest rises by 8 over the session, of a best of 40: told; contractions are found. */
static void test_drift(void **state)
{
    struct training_case how = {
        .signal = SIGNAL_PVAG,
        .rate_hz = 20.0,
        .rest = 12.0,
        .noise = 0.5,
        .drift = 6.0,
        .end_s = 200.0,
        .seed = 2,
        .count = 2,
        .efforts = {{60.0, 0.5, 8.0, 0.5, 40.0}, {120.0, 0.5, 8.0, 0.5, 40.0}}};
    struct synth synth;

    (void)state;
    training_case_open(&synth, &how);
    const struct analysis_result *result = synth_run(&synth);

    assert_non_null(synth_quality(result, "training_drift"));
    assert_int_equal(result->training.contractions.count, 2);
    synth_close(&synth);
}

/* ---- Numbers of a session ---- */

/* An envelope of 20 Hz without noise: rest 5, and what `efforts` add. */
static struct training_case plain(double rate_hz)
{
    return (struct training_case){.signal = SIGNAL_EMG,
                                  .rate_hz = rate_hz,
                                  .form = EMG_FORM_ENVELOPE,
                                  .rest = 5.0,
                                  .end_s = 120.0,
                                  .seed = 1};
}

static const struct training_measures *run(struct synth *synth, const struct training_case *how)
{
    training_case_open(synth, how);
    return &synth_run(synth)->training;
}

/* A rise of 5 s to 60 over rest, 10 s there, a release of 4 s. */
static void test_edges_and_hold(void **state)
{
    struct training_case how = plain(20.0);
    struct synth synth;

    (void)state;
    how.count = 1;
    how.efforts[0] = (struct training_effort){30.0, 5.0, 10.0, 4.0, 60.0};
    const struct training_measures *training = run(&synth, &how);
    const struct training_contraction *item = training->contractions.items;

    assert_close(item->start_s, 31.0, 0.01);
    assert_close(item->end_s, 48.2, 0.01);
    assert_close(item->rise_time_s, 4.0, 0.003);
    assert_close(item->release_time_s, 3.2, 0.003);
    assert_close(item->hold_s, 14.5, 0.003);
    assert_close(item->peak_uv, 65.0, 1e-9);
    assert_string_equal(item->kind, "long");
    assert_close(training->hold_mean_time.value, 14.5, 0.003);
    assert_close(training->rest_tone.value, 5.0, 1e-9);
    assert_close(training->rest_variability.value, 0.0, 1e-9);
    synth_close(&synth);
}

/* At 1 Hz, 100 being the best: 0, h, h, 0 is above 20 for 3 - 40 / h seconds. */
static void test_kinds(void **state)
{
    static const double heights[] = {39.604, 40.404}; /* 1.99 s, 2.01 s */

    (void)state;
    for (size_t i = 0; i < 2; i++) {
        double samples[100] = {0.0};
        struct synth synth;

        for (size_t k = 15; k < 25; k++) {
            samples[k] = 100.0;
        }
        samples[50] = samples[51] = heights[i];
        synth_open(&synth, RECORDING_PELVIC_FLOOR_TRAINING);
        synth.recording.conditions.emg_form = EMG_FORM_ENVELOPE;
        synth_samples(&synth, SIGNAL_EMG, 1.0, 100, samples);
        const struct training_measures *training = &synth_run(&synth)->training;
        const struct training_contraction *items = training->contractions.items;

        assert_int_equal(training->contractions.count, 2);
        assert_string_equal(items[1].kind, i == 0 ? "quick" : "long");
        assert_close(training->long_count.value, i == 0 ? 1.0 : 2.0, 0.0);
        synth_close(&synth);
    }
}

/* The peak is a mean of three samples at 20 Hz, and one sample at 19.7 Hz. */
static void test_peak_window(void **state)
{
    static const double rates_hz[] = {20.0, 19.7};

    (void)state;
    for (size_t i = 0; i < 2; i++) {
        struct training_case how = plain(rates_hz[i]);
        struct synth synth;

        how.count = 1;
        how.efforts[0] = (struct training_effort){30.0, 0.5, 8.0, 0.5, 60.0};
        training_case_open(&synth, &how);
        synth_writable(&synth, SIGNAL_EMG)[700] = 95.0;
        assert_close(synth_run(&synth)->training.peak_best.value, i == 0 ? 75.0 : 95.0, 1e-9);
        synth_close(&synth);
    }
}

/* Two quick contractions count together when they start less than 10 s apart. */
static void test_count_window(void **state)
{
    static const double apart_s[] = {9.9, 10.1};

    (void)state;
    for (size_t i = 0; i < 2; i++) {
        struct training_case how = plain(20.0);
        struct synth synth;

        how.count = 3;
        how.efforts[0] = (struct training_effort){30.0, 0.2, 0.6, 0.2, 60.0};
        how.efforts[1] = (struct training_effort){30.0 + apart_s[i], 0.2, 0.6, 0.2, 60.0};
        how.efforts[2] = (struct training_effort){80.0, 0.5, 8.0, 0.5, 60.0};
        const struct training_measures *training = run(&synth, &how);

        assert_close(training->quick_count_10s.value, i == 0 ? 2.0 : 1.0, 0.0);
        assert_close(training->long_count.value, 1.0, 0.0);
        synth_close(&synth);
    }
}

/* The hold is read from 2 s after the command on. It falls by 2 a second; samples 0.05 s apart lie
 * at 2.015 and 1.965 s after a command at 29.985 s. */
static void test_hold_from(void **state)
{
    struct training_case how = plain(20.0);
    struct synth synth;
    double sum = 0.0;
    double count = 0.0;

    (void)state;
    how.count = 1;
    how.efforts[0] = (struct training_effort){30.0, 0.4, 0.0, 30.0, 60.0};
    training_case_open(&synth, &how);
    synth_event(&synth, EVENT_WORK, 29.985);
    synth_event(&synth, EVENT_REST, 40.0);
    for (size_t i = 640; i <= 800; i++) {
        sum += synth_writable(&synth, SIGNAL_EMG)[i];
        count += 1.0;
    }
    assert_close(synth_run(&synth)->training.hold_mean.value, sum / count, 1e-9);
    synth_close(&synth);
}

/* Without a command, from 2 s after the contraction's start to where it last is above half. */
static void test_hold_without_command(void **state)
{
    struct training_case how = plain(20.0);
    struct synth synth;

    (void)state;
    how.count = 1;
    how.efforts[0] = (struct training_effort){30.0, 1.0, 10.0, 1.0, 60.0};
    const struct training_measures *training = run(&synth, &how);

    /* 32.2 to 41.5 s: plateau but for the last half second */
    assert_close(training->hold_mean.value, 65.0 - 0.5 * 15.0 / 9.3, 0.1);
    synth_close(&synth);
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

/* From 100 to 50 over rest 8 s after the start: the 2 s mean passes 60 another 0.6 s later, with a
 * window of 41 samples at 20 Hz and of 39 at 19.7 Hz. */
static void test_endurance(void **state)
{
    static const double rates_hz[] = {20.0, 19.7};
    static const size_t halves[] = {20, 19};

    (void)state;
    for (size_t i = 0; i < 2; i++) {
        struct training_case how = plain(rates_hz[i]);
        struct synth synth;
        double drop_s = 0.0;

        how.count = 1;
        how.efforts[0] = (struct training_effort){30.0, 0.0, 30.0, 0.5, 100.0};
        training_case_open(&synth, &how);
        double *samples = synth_writable(&synth, SIGNAL_EMG);

        for (size_t k = 0; k < recording_channel(&synth.recording, SIGNAL_EMG)->sample_count; k++) {
            const double at_s = (double)k / rates_hz[i];

            drop_s = at_s >= 38.0 && drop_s <= 0.0 ? at_s : drop_s;
            samples[k] = at_s >= 38.0 && samples[k] > 55.0 ? 55.0 : samples[k];
        }
        const struct measure *endurance = &synth_run(&synth)->training.endurance;
        const double window = 2.0 * (double)halves[i] + 1.0;
        /* the sample at which 0.2 of the window is still before the drop */
        const double at_s = drop_s + (0.8 * window - (double)halves[i] - 1.0) / rates_hz[i];

        assert_close(endurance->value, at_s - endurance->at_s, 0.01);
        synth_close(&synth);
    }
}

/* The largest level of the first 2 s sets the line: it rises by 20 a second throughout them. The
 * contraction starts at 29.97 s, so that samples lie 1.98 and 2.03 s after that. */
static void test_endurance_first(void **state)
{
    struct training_case how = plain(20.0);
    struct synth synth;

    (void)state;
    how.count = 1;
    how.efforts[0] = (struct training_effort){30.0, 0.0, 30.0, 0.5, 100.0};
    training_case_open(&synth, &how);
    double *samples = synth_writable(&synth, SIGNAL_EMG);

    for (size_t k = 600; k < 1200; k++) {
        const double at_s = (double)k / 20.0 - 30.0;

        samples[k] = 5.0 + (at_s < 2.5 ? 50.0 + 20.0 * at_s : 100.0 - 5.0 * (at_s - 2.5));
    }
    const struct measure *endurance = &synth_run(&synth)->training.endurance;
    const double step = 20.0 / (0.05 * 20.0); /* the line at a fifth of the best, 20 of 50 */
    const double start_s = 29.95 + 0.05 * step / 50.0;
    /* 0.1 s mean of the last sample of the first 2 s: 50 + 20 * 1.95 */
    const double first = 50.0 + 20.0 * (floor((start_s + 2.0) * 20.0) / 20.0 - 30.0);

    assert_close(endurance->at_s, start_s, 1e-3);
    /* 100 - 5 * (t - 2.5) = 0.6 * first */
    assert_close(endurance->value, 32.5 + (100.0 - 0.6 * first) / 5.0 - start_s, 0.03);
    synth_close(&synth);
}

/* Endurance ends with the command, and is told when it is less than three quarters of it. */
static void test_endurance_and_command(void **state)
{
    static const struct {
        double hold_s;
        double command_s;
        bool told;
    } rows[] = {{20.0, 10.0, false},
                {7.36, 10.0, true},
                {7.52, 10.0, false},
                {3.0, 5.05, true},
                {3.0, 4.95, false}};

    (void)state;
    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
        struct training_case how = plain(20.0);
        struct synth synth;

        how.count = 1;
        how.efforts[0] = (struct training_effort){30.0, 0.2, rows[i].hold_s, 0.2, 60.0};
        training_case_open(&synth, &how);
        synth_event(&synth, EVENT_WORK, 29.9);
        synth_event(&synth, EVENT_REST, 29.9 + rows[i].command_s);
        const struct analysis_result *result = synth_run(&synth);
        const struct measure *endurance = &result->training.endurance;

        assert_close(part_of(endurance, "commanded_s"), rows[i].command_s, 1e-9);
        if (i == 0) {
            assert_close(endurance->value, 10.0, 1e-9);
        }
        assert_int_equal(synth_finding(result, "endurance_below_command") != NULL, rows[i].told);
        synth_close(&synth);
    }
}

/* Seven commands of 10 s every 20 s; the last rest has no end, and contractions answer five. */
static void test_commands(void **state)
{
    struct training_case how = plain(20.0);
    struct synth synth;

    (void)state;
    how.end_s = 180.0;
    how.count = 5;
    for (size_t i = 0; i < 5; i++) {
        how.efforts[i] = (struct training_effort){20.5 + 20.0 * (double)i, 0.0, 8.0, 0.0, 60.0};
    }
    training_case_open(&synth, &how);
    for (size_t i = 0; i < 7; i++) {
        synth_event(&synth, EVENT_WORK, 20.0 + 20.0 * (double)i);
        synth_event(&synth, EVENT_REST, 30.0 + 20.0 * (double)i);
    }
    const struct training_measures *training = &synth_run(&synth)->training;

    assert_close(training->commands_followed.value, 500.0 / 7.0, 1e-9);
    assert_close(part_of(&training->commands_followed, "followed"), 5.0, 0.0);
    assert_close(part_of(&training->commands_followed, "commanded"), 7.0, 0.0);
    assert_close(training->work_rest_ratio.value, 1.0, 1e-12);
    assert_close(training->work_rest_achieved.value, 8.05 / 11.95, 0.005);
    synth_close(&synth);
}

static void assert_absent(const struct measure *measure, const char *reason)
{
    assert_int_equal(measure->state, MEASURE_ABSENT);
    assert_non_null(strstr(measure->reason, reason));
}

static void test_without_commands(void **state)
{
    struct training_case how = plain(20.0);
    struct synth synth;

    (void)state;
    const struct training_measures *training = run(&synth, &how);

    assert_absent(&training->work_rest_ratio, "no work marker");
    assert_absent(&training->commands_followed, "no work markers");
    assert_absent(&training->work_rest_achieved, "fewer than two");
    assert_absent(&training->peak_best, "no contraction");
    assert_absent(&training->hold_mean, "no contraction longer");
    assert_absent(&training->endurance, "no contraction longer");
    assert_absent(&training->abdominal_use, "no abdominal");
    assert_close(training->quick_count_10s.value, 0.0, 0.0);
    assert_int_equal(training->contractions.state, MEASURE_PRESENT);
    synth_close(&synth);
}

/* Two work markers without rest between them: two commands, no ratio. */
static void test_work_without_rest(void **state)
{
    struct training_case how = plain(20.0);
    struct synth synth;

    (void)state;
    how.count = 2;
    how.efforts[0] = (struct training_effort){30.0, 0.2, 5.0, 0.2, 60.0};
    how.efforts[1] = (struct training_effort){50.0, 0.2, 5.0, 0.2, 60.0};
    training_case_open(&synth, &how);
    synth_event(&synth, EVENT_REST, 5.0);
    synth_event(&synth, EVENT_WORK, 30.0);
    synth_event(&synth, EVENT_WORK, 50.0);
    const struct training_measures *training = &synth_run(&synth)->training;

    assert_close(training->commands_followed.value, 100.0, 0.0);
    assert_absent(&training->work_rest_ratio, "no work marker");
    synth_close(&synth);
}

/* pabd of 10 at rest, and more while the pelvic floor contracts. */
static const struct analysis_result *run_abdomen(struct synth *synth, double rest, double during)
{
    static const double nothing = 0.0;
    const struct synth_sampling sampling = {.rate_hz = 20.0, .end_s = 120.0};
    struct training_case how = plain(20.0);

    how.count = 1;
    how.efforts[0] = (struct training_effort){30.0, 0.2, 20.0, 0.2, 60.0};
    training_case_open(synth, &how);
    double *pabd = synth_channel(synth, SIGNAL_PABD, sampling, constant_value, &nothing);

    for (size_t i = 0; i <= 2400; i++) {
        pabd[i] = i >= 600 && i <= 1008 ? during : rest;
    }
    return synth_run(synth);
}

static void test_abdominal_use(void **state)
{
    static const double levels[] = {19.8, 20.2};
    struct synth synth;

    (void)state;
    for (size_t i = 0; i < 2; i++) {
        const struct analysis_result *result = run_abdomen(&synth, 10.0, levels[i]);

        assert_close(result->training.abdominal_use.value, levels[i] / 10.0, 1e-9);
        assert_close(part_of(&result->training.abdominal_use, "rise_cmh2o"), levels[i] - 10.0,
                     1e-9);
        assert_int_equal(synth_finding(result, "abdominal_muscles_used") != NULL, i == 1);
        synth_close(&synth);
    }
    assert_absent(&run_abdomen(&synth, 0.0, 10.0)->training.abdominal_use, "not above zero");
    synth_close(&synth);
}

static void test_pressure_quality(void **state)
{
    static const double rates_hz[] = {10.0, 9.9};

    (void)state;
    for (size_t i = 0; i < 2; i++) {
        struct training_case how = plain(rates_hz[i]);
        struct synth synth;

        how.signal = SIGNAL_PVAG;
        how.count = 1;
        how.efforts[0] = (struct training_effort){30.0, 0.5, 8.0, 0.5, 60.0};
        training_case_open(&synth, &how);
        const struct analysis_result *result = synth_run(&synth);

        assert_int_equal(synth_quality(result, "low_sampling_rate") != NULL, i == 1);
        assert_non_null(synth_quality(result, "signal_clipped"));
        assert_null(synth_quality(result, "missing_samples"));
        synth_lose(&synth, SIGNAL_PVAG, 32.0, 33.0);
        assert_non_null(synth_quality(synth_run(&synth), "missing_samples"));
        synth_close(&synth);
    }
}

static void test_without_signal(void **state)
{
    struct synth synth;

    (void)state;
    synth_open(&synth, RECORDING_PELVIC_FLOOR_TRAINING);
    const struct analysis_result *result = synth_run(&synth);

    assert_true(result->has_training);
    assert_absent(&result->training.signal, "no usable EMG");
    assert_absent(&result->training.rest_tone, "no usable EMG");
    assert_int_equal(result->training.contractions.state, MEASURE_ABSENT);
    synth_close(&synth);
}

static void test_without_rest(void **state)
{
    struct training_case how = plain(20.0);
    struct synth synth;

    (void)state;
    how.end_s = 20.0;
    how.count = 1;
    how.efforts[0] = (struct training_effort){1.0, 0.2, 30.0, 0.2, 60.0};
    training_case_open(&synth, &how);
    const struct analysis_result *result = synth_run(&synth);

    assert_non_null(synth_quality(result, "training_no_rest"));
    assert_string_equal(result->training.signal.word, "emg");
    assert_absent(&result->training.rest_tone, "hardly any rest");
    assert_absent(&result->training.endurance, "hardly any rest");
    synth_close(&synth);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_shortest),
        cmocka_unit_test(test_longest_gap),
        cmocka_unit_test(test_quick_ones_apart),
        cmocka_unit_test(test_sagging_hold_stays_one),
        cmocka_unit_test(test_line),
        cmocka_unit_test(test_spikes_are_no_best),
        cmocka_unit_test(test_rest_beside),
        cmocka_unit_test(test_least_rest),
        cmocka_unit_test(test_constant_and_missing),
        cmocka_unit_test(test_session_quality),
        cmocka_unit_test(test_drift),
        cmocka_unit_test(test_edges_and_hold),
        cmocka_unit_test(test_kinds),
        cmocka_unit_test(test_peak_window),
        cmocka_unit_test(test_count_window),
        cmocka_unit_test(test_hold_from),
        cmocka_unit_test(test_hold_without_command),
        cmocka_unit_test(test_endurance),
        cmocka_unit_test(test_endurance_first),
        cmocka_unit_test(test_endurance_and_command),
        cmocka_unit_test(test_commands),
        cmocka_unit_test(test_without_commands),
        cmocka_unit_test(test_work_without_rest),
        cmocka_unit_test(test_abdominal_use),
        cmocka_unit_test(test_pressure_quality),
        cmocka_unit_test(test_without_signal),
        cmocka_unit_test(test_without_rest),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
