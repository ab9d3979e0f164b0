/* Electromyogram. No rule of it is published in numbers: the definitions are this project's
 * reference page, sections 2.2 to 2.4 ("other studies"), and its worked examples, computed by hand;
 * facts that are published carry their source. */
#include "support/assert_close.h"
#include "support/emg_case.h"

#include "analysis/emg/bursts.h"
#include "analysis/emg/emg_pattern.h"
#include "analysis/signal/envelope.h"
#include "analysis/signal/robust.h"

#include <gsl/gsl_cdf.h>
#include <gsl/gsl_statistics.h>
#include <math.h>
#include <string.h>

/* Worked example 3, vector emg_rms: 3, -4, 12, -5, 2, -6, 8, -2 uV have the mean 1 and, about it,
 * the root mean square 6.062178 (ARV 5.25; without taking the mean off, 6.144103). */
static void test_worked_3_root_mean_square(void **state)
{
    static const double samples[] = {3.0, -4.0, 12.0, -5.0, 2.0, -6.0, 8.0, -2.0};
    const struct series emg = {1000.0, 0.0, 8, samples};
    struct test_memory memory;
    struct envelope envelope;

    (void)state;
    test_memory_open(&memory, SIZE_MAX);
    assert_true(envelope_make(&emg, EMG_FORM_RAW, &memory.memory, &envelope));
    assert_int_equal(envelope.series.count, 1);
    assert_close(envelope.series.samples[0], 6.062178, 1e-6);
    test_memory_close(&memory);
}

/* The same numbers, rectified about their mean: 2, 5, 11, 6, 1, 7, 7, 3. Vector emg_arv. */
static void test_worked_3_average_rectified(void **state)
{
    static const double samples[] = {2.0, 5.0, 11.0, 6.0, 1.0, 7.0, 7.0, 3.0};
    const struct series emg = {1000.0, 0.0, 8, samples};
    struct test_memory memory;
    struct envelope envelope;

    (void)state;
    test_memory_open(&memory, SIZE_MAX);
    assert_true(envelope_make(&emg, EMG_FORM_RECTIFIED, &memory.memory, &envelope));
    assert_close(envelope.series.samples[0], 5.25, 1e-12);
    test_memory_close(&memory);
}

/* Root mean square over average rectified value: a sine 1.11072, normal noise 1.25331 (derived;
 * pi / (2 sqrt 2) and sqrt(pi / 2)). A raw signal whose RMS is known has that envelope. */
static void test_ratio_of_averages(void **state)
{
    static double sine[20000];
    static double rectified[20000];
    static double noise[20000];
    static double rectified_noise[20000];
    unsigned seed = 7;

    (void)state;
    for (size_t i = 0; i < 20000; i++) {
        sine[i] = 10.0 * sin(2.0 * 3.14159265358979323846 * 50.0 * (double)i / 2000.0);
        rectified[i] = fabs(sine[i]);
        noise[i] = 10.0 * emg_case_normal(&seed);
        rectified_noise[i] = fabs(noise[i]);
    }
    const double *const pairs[][2] = {{sine, rectified}, {noise, rectified_noise}};
    static const double expected[] = {1.11072, 1.25331};
    static const double tolerance[] = {0.004, 0.02};

    for (size_t p = 0; p < 2; p++) {
        double means[2];

        for (size_t k = 0; k < 2; k++) {
            const struct series emg = {2000.0, 0.0, 20000, pairs[p][k]};
            struct test_memory memory;
            struct envelope envelope;

            test_memory_open(&memory, SIZE_MAX);
            assert_true(envelope_make(&emg, k == 0 ? EMG_FORM_RAW : EMG_FORM_RECTIFIED,
                                      &memory.memory, &envelope));
            means[k] = gsl_stats_mean(envelope.series.samples, 1, envelope.series.count);
            test_memory_close(&memory);
        }
        assert_close(means[0] / means[1], expected[p], tolerance[p]);
    }
}

/* The robust standard deviation of a normal distribution is its standard deviation: the factor is
 * the inverse of the upper quartile of the normal distribution (GSL). */
static void test_robust_factor(void **state)
{
    double values[] = {-1.0, 0.0, 1.0};

    (void)state;
    assert_close(robust_of(values, 3).sd, 1.0 / gsl_cdf_ugaussian_Pinv(0.75), 1e-4);
}

/* Worked example 4, vectors emg_guard and emg_void_ratio: rest 6, end of filling 18: +200 %;
 * voiding 5 and 24: ratio 0.2778 and 1.3333. Noise-free, with an envelope as it is recorded. */
static void test_worked_4_ratios(void **state)
{
    static const double rows[][2] = {{5.0, 0.277778}, {24.0, 1.333333}};

    (void)state;
    for (size_t i = 0; i < 2; i++) {
        struct emg_case how = emg_case_usual(10.0, EMG_FORM_ENVELOPE);
        struct synth synth;

        how.void_uv = rows[i][0];
        emg_case_open(&synth, &how);
        double *samples = synth_writable(&synth, SIGNAL_EMG);

        for (size_t k = 0; k < recording_channel(&synth.recording, SIGNAL_EMG)->sample_count; k++) {
            const double at_s = (double)k / 10.0;

            /* 18 all through the last tenth of filling */
            samples[k] = at_s > 300.0 && at_s < 344.0 ? 18.0 : emg_case_envelope(&how, at_s);
        }
        const struct analysis_result *result = synth_run(&synth);

        assert_close(result->emg.resting_mean.value, 6.0, 1e-9);
        assert_close(result->emg.guarding.value, 200.0, 0.2);
        assert_close(result->emg.voiding_mean.value, rows[i][0], 1e-9);
        assert_close(result->emg.voiding_to_filling.value, rows[i][1], 1e-3 * rows[i][1]);
        synth_close(&synth);
    }
}

/* Worked example 4: rest 6 and SD 1.2 make the line 9.6; a burst of 17 s within a contraction of
 * 25 s overlaps 68 %. */
static void test_worked_4_bursts(void **state)
{
    double samples[600];
    const struct series envelope = {10.0, 0.0, 600, samples};
    struct test_memory memory;
    struct burst_list bursts;

    (void)state;
    for (size_t i = 0; i < 600; i++) {
        samples[i] = i >= 150 && i <= 320 ? 9.61 : 9.59;
    }
    test_memory_open(&memory, SIZE_MAX);
    assert_true(bursts_find(&envelope, 6.0 + 3.0 * 1.2, (struct span){10.0, 35.0}, &memory.memory,
                            &bursts));
    assert_int_equal(bursts.count, 1);
    assert_close(bursts.items[0].start_s, 15.0, 0.06);
    assert_close(bursts.items[0].end_s, 32.0, 0.06);
    assert_close(bursts.items[0].peak_uv, 9.61, 1e-12);
    bursts.items[0] = (struct emg_burst){15.0, 32.0, 10.0};
    assert_close(bursts_overlap(&bursts, (struct span){10.0, 35.0}), 68.0, 1e-9);
    test_memory_close(&memory);
}

/* Hints after Blaivas JG et al. J Urol 1981;125:545-548 (abstract): type 1 crescendo to the peak of
 * the contraction and then relaxation, type 2 clonic bursts, type 3 sustained. Their numbers are
 * this project's. */
static void test_types(void **state)
{
    const double unknown = (double)NAN;

    const struct {
        struct emg_pattern pattern;
        const char *class;
    } rows[] = {
        {{true, 1, 20.0, 80.1, 0.0, 10.0, 1.5}, "type_3"},
        {{true, 1, 20.0, 79.9, 9.0, 10.0, 1.5}, "higher"},
        {{true, 1, 20.0, 80.0, 0.0, 10.0, 0.5}, "type_3"},
        {{true, 3, 2.97, 40.0, 0.0, 10.0, 1.5}, "type_2"},
        {{true, 3, 3.03, 40.0, 9.0, 10.0, 1.5}, "higher"},
        {{true, 3, 2.0, 20.2, 9.0, 90.0, 1.5}, "type_2"},
        {{true, 3, 2.0, 19.8, 9.0, 90.0, 1.5}, "higher"},
        {{true, 2, 2.0, 40.0, 9.0, 90.0, 1.5}, "higher"},
        {{true, 1, 8.0, 50.0, 1.98, 49.5, 1.5}, "type_1"},
        {{true, 1, 8.0, 50.0, -1.98, 49.5, 1.5}, "type_1"},
        {{true, 1, 8.0, 50.0, 2.02, 49.5, 1.5}, "higher"},
        {{true, 1, 8.0, 50.0, -2.02, 49.5, 1.5}, "higher"},
        {{true, 1, 8.0, 50.0, 0.0, 50.5, 0.8}, "lower"},
        {{true, 0, 0.0, 0.0, 0.0, 10.0, 0.3}, "quiet"},
        {{true, 0, 0.0, unknown, unknown, unknown, 0.3}, "quiet"},
        {{false, 0, 0.0, unknown, unknown, unknown, 0.999}, "lower"},
        {{false, 0, 0.0, unknown, unknown, unknown, 1.001}, "higher"},
        {{false, 0, 0.0, unknown, unknown, unknown, 1.0}, "unchanged"},
        {{false, 0, 0.0, unknown, unknown, unknown, unknown}, NULL},
        {{true, 2, 2.0, unknown, unknown, unknown, unknown}, NULL},
    };

    (void)state;
    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
        const char *class = emg_pattern_class(&rows[i].pattern);

        if (rows[i].class == NULL) {
            assert_null(class);
        } else {
            assert_non_null(class);
            assert_string_equal(class, rows[i].class);
        }
    }
}

/* ICS (Abrams 2002, read as quoted): detrusor-sphincter dyssynergia is a contraction of the
 * detrusor concurrent with an involuntary one of the sphincter, and, from memory, its name needs a
 * neurological lesion. So the words follow what is known of one, and never conclude. */
static void test_words_follow_the_lesion(void **state)
{
    static const struct {
        enum patient_answer answer;
        const char *says;
        const char *never;
    } rows[] = {{ANSWER_YES, "compatible with detrusor-sphincter dyssynergia", "dysfunctional"},
                {ANSWER_NO, "dysfunctional voiding", "dyssynergia"},
                {ANSWER_UNKNOWN, "enter it", "dyssynergia"}};

    (void)state;
    for (size_t i = 0; i < 3; i++) {
        struct emg_case how = emg_case_usual(20.0, EMG_FORM_ENVELOPE);
        struct synth synth;

        how.void_uv = 25.0;
        emg_case_open(&synth, &how);
        synth.recording.conditions.neurological_lesion = rows[i].answer;
        const struct analysis_result *result = synth_run(&synth);
        const struct finding *finding = synth_finding(result, "emg_active_during_voiding");
        const struct classification *class = synth_class(result, "emg_voiding_pattern");

        assert_non_null(finding);
        assert_non_null(strstr(finding->text, rows[i].says));
        assert_null(strstr(finding->text, rows[i].never));
        assert_string_equal(finding->basis[0], "emg.bursts_during_voiding");
        assert_string_equal(finding->basis[1], "emg.burst_overlap");
        assert_string_equal(finding->basis[2], "emg.voiding_to_filling");
        assert_non_null(class);
        assert_string_equal(class->class, "type_3");
        assert_non_null(strstr(class->method, "1981;125:545-548"));
        synth_close(&synth);
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_worked_3_root_mean_square),
        cmocka_unit_test(test_worked_3_average_rectified),
        cmocka_unit_test(test_ratio_of_averages),
        cmocka_unit_test(test_robust_factor),
        cmocka_unit_test(test_worked_4_ratios),
        cmocka_unit_test(test_worked_4_bursts),
        cmocka_unit_test(test_types),
        cmocka_unit_test(test_words_follow_the_lesion),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
