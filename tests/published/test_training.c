/* Pelvic floor training, and the trend over visits. The definitions are this project's reference
 * page, section 4.3 ("other studies"), with its worked example 6, computed by hand; the trend's
 * slope is checked against GSL. */
#include "support/assert_close.h"
#include "support/emg_case.h"

#include "analysis/trend.h"

#include <gsl/gsl_fit.h>
#include <gsl/gsl_statistics.h>
#include <math.h>
#include <string.h>

/* Worked example 6: rest 6, then one value a second 6, 20, 30, 34, 36, 35, 34, 33, 31, 30, 28, 14,
 * 7; work commanded for the ten seconds from the first on. */
static const struct training_contraction *worked_6(struct synth *synth, enum signal_kind signal,
                                                   double factor,
                                                   const struct analysis_result **ret_result)
{
    static const double contraction[] = {6.0,  20.0, 30.0, 34.0, 36.0, 35.0, 34.0,
                                         33.0, 31.0, 30.0, 28.0, 14.0, 7.0};
    double samples[60];

    for (size_t i = 0; i < 60; i++) {
        samples[i] = factor * (i >= 20 && i < 33 ? contraction[i - 20] : 6.0);
    }
    synth_open(synth, RECORDING_PELVIC_FLOOR_TRAINING);
    synth->recording.conditions.emg_form = EMG_FORM_ENVELOPE;
    synth_samples(synth, signal, 1.0, 60, samples);
    synth_event(synth, EVENT_WORK, 20.0);
    synth_event(synth, EVENT_REST, 30.0);
    *ret_result = synth_run(synth);
    assert_int_equal((*ret_result)->training.contractions.count, 1);
    return (*ret_result)->training.contractions.items;
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

/* Peak 36; mean of the nine values 30 to 28 = 32.3333, net 26.3333, ratio to rest 5.38889,
 * CV 8.3276
 * %. Vector bfb_hold. Hold time above half of the net peak (21): from 21.1 to 30.5 s. */
static void test_worked_6(void **state)
{
    struct synth synth;
    const struct analysis_result *result = NULL;
    const struct training_contraction *contraction = worked_6(&synth, SIGNAL_EMG, 1.0, &result);
    const struct training_measures *training = &result->training;

    (void)state;
    assert_string_equal(training->signal.word, "emg");
    assert_close(training->rest_tone.value, 6.0, 1e-12);
    assert_int_equal(training->rest_pressure.state, MEASURE_NOT_APPLICABLE);
    assert_close(training->peak_best.value, 36.0, 1e-12);
    assert_close(training->peak_best.at_s, 24.0, 1e-12);
    assert_close(part_of(&training->peak_best, "over_rest"), 30.0, 1e-12);
    assert_close(training->hold_mean.value, 32.33333, 1e-4);
    assert_close(part_of(&training->hold_mean, "over_rest"), 26.33333, 1e-4);
    assert_close(part_of(&training->hold_mean, "ratio_to_rest"), 5.38889, 1e-4);
    assert_close(training->hold_variability.value, 8.32757, 1e-4);
    assert_close(training->hold_mean_time.value, 9.4, 1e-9);
    assert_string_equal(contraction->kind, "long");
    assert_close(contraction->peak_uv, 36.0, 1e-12);
    assert_close(contraction->mean_uv, 32.33333, 1e-4);
    assert_true(isnan(contraction->peak_cmh2o) && isnan(contraction->mean_cmh2o));
    assert_close(training->commands_followed.value, 100.0, 0.0);
    synth_close(&synth);
}

/* The same in a pressure: in cmH2O, in rows of its own; an anal pressure is converted (1 mm[Hg] =
 * 1.35951 cm[H2O]). */
static void test_worked_6_in_pressures(void **state)
{
    static const struct {
        enum signal_kind signal;
        double factor;
        const char *name;
    } rows[] = {{SIGNAL_PURA, 1.0, "pura"},
                {SIGNAL_PVAG, 1.0, "pvag"},
                {SIGNAL_PANAL, 1.0 / 1.35951, "panal"}};

    (void)state;
    for (size_t i = 0; i < 3; i++) {
        struct synth synth;
        const struct analysis_result *result = NULL;
        const struct training_contraction *contraction =
            worked_6(&synth, rows[i].signal, rows[i].factor, &result);
        const struct training_measures *training = &result->training;

        assert_string_equal(training->signal.word, rows[i].name);
        assert_close(training->rest_pressure.value, 6.0, 1e-5);
        assert_close(training->peak_pressure.value, 36.0, 1e-4);
        assert_close(training->hold_pressure.value, 32.33333, 1e-4);
        assert_close(training->hold_variability.value, 8.32757, 1e-4);
        assert_int_equal(training->rest_tone.state, MEASURE_NOT_APPLICABLE);
        assert_int_equal(training->peak_best.state, MEASURE_NOT_APPLICABLE);
        assert_int_equal(training->hold_mean.state, MEASURE_NOT_APPLICABLE);
        assert_close(contraction->peak_cmh2o, 36.0, 1e-4);
        assert_true(isnan(contraction->peak_uv) && isnan(contraction->mean_uv));
        synth_close(&synth);
    }
}

/* Vector bfb_progress: 24 -> 32.33333 is +34.72222 %. */
static void test_worked_6_progress(void **state)
{
    static const double days[] = {0.0, 28.0};
    static const double means[] = {24.0, 32.33333};
    const struct trend trend = trend_of(2, days, means, (struct optional_number){true, 8.0});

    (void)state;
    assert_close(trend.change_percent, 34.72222, 1e-4);
    assert_close(trend.slope_per_week, 8.33333 / 4.0, 1e-5);
    assert_int_equal(trend.verdict, TREND_BEYOND_VARIATION);
}

/* Vector upp_cv: 78, 74, 82 have the mean 78, SD 4, CV 5.1282 %. */
static void test_variation_of_repeats(void **state)
{
    static const double repeats[] = {78.0, 74.0, 82.0};
    static const double more[] = {12.0, 15.5, 11.2, 13.7, 12.9, 14.1};

    (void)state;
    assert_close(trend_cv(3, repeats), 5.1282, 1e-4);
    assert_close(trend_cv(6, more), 100.0 * gsl_stats_sd(more, 1, 6) / gsl_stats_mean(more, 1, 6),
                 1e-9);
}

/* Work over rest: 10 s of work and 10 s of rest make 1.0, 10 and 20 make 0.5. */
static void test_work_rest_ratio(void **state)
{
    static const double rows[][2] = {{10.0, 1.0}, {20.0, 0.5}};

    (void)state;
    for (size_t i = 0; i < 2; i++) {
        static const double level = 5.0;
        const struct synth_sampling sampling = {.rate_hz = 20.0, .end_s = 200.0, .noise = 0.2};
        struct synth synth;

        synth_open(&synth, RECORDING_PELVIC_FLOOR_TRAINING);
        synth.recording.conditions.emg_form = EMG_FORM_ENVELOPE;
        synth_channel(&synth, SIGNAL_EMG, sampling, constant_value, &level);
        for (size_t k = 0; k < 5; k++) {
            synth_event(&synth, EVENT_WORK, 20.0 + (double)k * (10.0 + rows[i][0]));
            synth_event(&synth, EVENT_REST, 30.0 + (double)k * (10.0 + rows[i][0]));
        }
        assert_close(synth_run(&synth)->training.work_rest_ratio.value, rows[i][1], 1e-12);
        synth_close(&synth);
    }
}

/* GSL's straight line of least squares, over visits a year apart and days since long ago. */
static void test_slope_as_gsl(void **state)
{
    static const double origins[] = {0.0, 20000.0, -7e5};
    unsigned seed = 3;

    (void)state;
    for (size_t o = 0; o < 3; o++) {
        for (size_t count = 2; count <= 40; count++) {
            double days[40];
            double values[40];
            double c0 = 0.0;
            double c1 = 0.0;
            double rest[4];

            for (size_t i = 0; i < count; i++) {
                days[i] = origins[o] + 365.0 * emg_case_even(&seed);
                values[i] = 30.0 + 10.0 * emg_case_normal(&seed);
            }
            gsl_fit_linear(days, 1, values, 1, count, &c0, &c1, &rest[0], &rest[1], &rest[2],
                           &rest[3]);
            const double slope =
                trend_of(count, days, values, (struct optional_number){false, 0.0}).slope_per_week;

            assert_close(slope, 7.0 * c1, 1e-6 * (1.0 + fabs(slope)));
        }
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_worked_6),          cmocka_unit_test(test_worked_6_in_pressures),
        cmocka_unit_test(test_worked_6_progress), cmocka_unit_test(test_variation_of_repeats),
        cmocka_unit_test(test_work_rest_ratio),   cmocka_unit_test(test_slope_as_gsl),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
