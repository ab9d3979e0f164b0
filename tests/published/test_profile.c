/* Urethral pressure profiles.
 *
 * Closure pressure, its maximum, functional length, length to the peak: Lose G et al. (ICS),
 * Neurourol Urodyn 2002;21:258-260 (from memory), and Hashim H, Ochoa DC, IUGA newsletter (read:
 * the length along which pura exceeds pves; maximum closure is maximum urethral minus vesical
 * pressure). The worked numbers are arithmetic on these definitions. */
#include "support/assert_close.h"
#include "support/profile_case.h"

#include "analysis/choices.h"
#include "analysis/profile/profile_expected.h"

#include <math.h>
#include <string.h>

/* Every 5 mm, pves 10. */
static const double worked[] = {10, 12, 30, 55, 75, 88, 70, 40, 15, 9, 6};

enum { WORKED = sizeof worked / sizeof worked[0] };

static const struct profile_measures *first_pull(const struct analysis_result *result)
{
    assert_true(result->profiles.count > 0);
    return &result->profiles.pulls[0];
}

/* ICS form of the functional length: closure above 0. */
static void test_worked_resting_profile(void **state)
{
    struct synth synth;

    (void)state;
    profile_case_samples(&synth, 5.0, WORKED, worked, 10.0);
    const struct profile_measures *pull = first_pull(synth_run(&synth));

    assert_string_equal(pull->kind.word, "rest");
    assert_close(pull->maximum_urethral_pressure.value, 88.0, 1e-9);
    assert_close(pull->maximum_closure_pressure.value, 78.0, 1e-9);
    assert_close(pull->maximum_closure_pressure.at_s, 25.0, 1e-9);
    assert_close(pull->functional_length.value, 44.1667, 1e-4);
    assert_close(pull->length_to_peak.value, 25.0, 1e-9);
    assert_close(pull->closure_area.value, 152.2917, 1e-4);
    assert_close(pull->area_to_peak.value, 85.5, 1e-9);
    assert_close(pull->area_to_peak.value / pull->closure_area.value, 0.561423, 1e-6);
    assert_close(pull->mean_closure_pressure.value, 34.4811, 1e-4);
    assert_close(pull->half_peak_width.value, 19.7, 1e-9);
    assert_close(pull->pves_mean.value, 10.0, 1e-9);
    assert_close(pull->speed.value, 1.0, 0.0);
    assert_int_equal(pull->speed.source, SOURCE_ENTERED);
    synth_close(&synth);
}

/* A threshold of 2 cmH2O shortens it by 15 %, and is told beside the value. */
static void test_worked_with_threshold(void **state)
{
    struct analysis_choices choices;
    struct synth synth;

    (void)state;
    choices_standard(&choices);
    choices.closure_threshold_cmh2o.value = 2.0;
    profile_case_samples(&synth, 5.0, WORKED, worked, 10.0);
    synth.choices = &choices;
    const struct profile_measures *pull = first_pull(synth_run(&synth));

    assert_close(pull->functional_length.value, 37.5, 1e-9);
    assert_close(pull->length_to_peak.value, 20.0, 1e-9);
    assert_string_equal(pull->functional_length.parts[0].code, "threshold_cmh2o");
    assert_close(pull->functional_length.parts[0].value, 2.0, 0.0);
    synth_close(&synth);
}

/* The same curve recorded ten times a second, and at another speed. */
static void test_worked_sampled_finely(void **state)
{
    double fine[501];
    struct synth synth;

    (void)state;
    for (size_t i = 0; i < 501; i++) {
        const size_t k = i / 50 < WORKED - 1 ? i / 50 : WORKED - 2;
        const double share = (double)(i - 50 * k) / 50.0;

        fine[i] = worked[k] * (1.0 - share) + worked[k + 1] * share;
    }
    profile_case_samples(&synth, 0.1, 501, fine, 10.0);
    const struct profile_measures *pull = first_pull(synth_run(&synth));

    assert_close(pull->maximum_closure_pressure.value, 78.0, 1e-9);
    assert_close(pull->functional_length.value, 44.1667, 1e-4);
    assert_close(pull->half_peak_width.value, 19.7, 1e-6);
    assert_close(pull->closure_area.value, 152.2917, 1e-4);
    synth.recording.conditions.puller_speed_mm_s.value = 2.0;
    pull = first_pull(synth_run(&synth));
    assert_close(pull->functional_length.value, 2.0 * 44.1667, 2e-4);
    assert_close(pull->closure_area.value, 2.0 * 152.2917, 2e-4);
    assert_close(pull->maximum_closure_pressure.value, 78.0, 1e-9);
    synth_close(&synth);
}

/* pves 12, pura 72 at its peak 14 mm from the start, above pves over 30 mm. */
static void test_worked_triangle(void **state)
{
    static const double pura[] = {12,
                                  12 + 60.0 / 7,
                                  12 + 120.0 / 7,
                                  12 + 180.0 / 7,
                                  12 + 240.0 / 7,
                                  12 + 300.0 / 7,
                                  12 + 360.0 / 7,
                                  72,
                                  64.5,
                                  57,
                                  49.5,
                                  42,
                                  34.5,
                                  27,
                                  19.5,
                                  12,
                                  4.5};
    struct synth synth;

    (void)state;
    profile_case_samples(&synth, 2.0, sizeof pura / sizeof pura[0], pura, 12.0);
    const struct profile_measures *pull = first_pull(synth_run(&synth));

    assert_close(pull->maximum_urethral_pressure.value, 72.0, 1e-9);
    assert_close(pull->maximum_closure_pressure.value, 60.0, 1e-9);
    assert_close(pull->functional_length.value, 30.0, 1e-9);
    assert_close(pull->length_to_peak.value, 14.0, 1e-9);
    synth_close(&synth);
}

/* Closure is the difference at the same instant, not the peak minus the mean of pves (from memory).
 * pves is 30 at the peak of pura and 10 elsewhere: 88 - 30 = 58, and the highest difference is 65
 * beside it. A height error of one transducer shifts closure by as much. */
static void test_closure_is_pointwise(void **state)
{
    struct synth synth;

    (void)state;
    profile_case_samples(&synth, 5.0, WORKED, worked, 10.0);
    synth_writable(&synth, SIGNAL_PVES)[5] = 30.0;
    const struct profile_measures *pull = first_pull(synth_run(&synth));

    assert_close(pull->maximum_urethral_pressure.value, 88.0, 1e-9);
    assert_close(pull->maximum_closure_pressure.value, 65.0, 1e-9);
    assert_close(pull->maximum_closure_pressure.at_s, 20.0, 1e-9);
    synth_writable(&synth, SIGNAL_PVES)[5] = 10.0;
    for (size_t i = 0; i < WORKED; i++) {
        synth_writable(&synth, SIGNAL_PURA)[i] += 4.0;
    }
    assert_close(first_pull(synth_run(&synth))->maximum_closure_pressure.value, 82.0, 1e-9);
    synth_close(&synth);
}

/* ---- Stress ---- */

static const double cough_s = 30.0;

static double tent(double at_s, double peak)
{
    return peak * fmax(1.0 - fabs(at_s - cough_s) / 0.2, 0.0);
}

/* Rises: of pves, of pura. */
static double stress_pves(double at_s, const void *context)
{
    return 35.0 + tent(at_s, ((const double *)context)[0]);
}

static double stress_pura(double at_s, const void *context)
{
    static const double points[][2] = {{10, 35}, {15, 70}, {45, 70}, {54.16667, 35}, {63.33334, 0}};
    static const struct polyline rest = {5, points};

    return polyline_value(at_s, &rest) + tent(at_s, ((const double *)context)[1]);
}

static const struct analysis_result *run_stress(struct synth *synth, const double rises[2])
{
    const struct synth_sampling sampling = {.rate_hz = 50.0, .end_s = 70.0};

    synth_open(synth, RECORDING_URETHRAL_PRESSURE_PROFILE);
    synth->recording.sex = SEX_FEMALE;
    synth->recording.conditions.puller_speed_mm_s = (struct optional_number){true, 1.0};
    synth_channel(synth, SIGNAL_PVES, sampling, stress_pves, rises);
    synth_channel(synth, SIGNAL_PURA, sampling, stress_pura, rises);
    synth_event(synth, EVENT_PULL_START, 10.0);
    synth_event(synth, EVENT_PULL_END, 68.0);
    return synth_run(synth);
}

/* Rest 70 and 35, at the cough 118 and 95: ratio 80 %, closure 35 -> 23. Formula of the
 * transmission ratio: Constantinou and Govan 1982 (from memory). */
static void test_worked_cough(void **state)
{
    static const double rises[2] = {60.0, 48.0};
    struct synth synth;

    (void)state;
    const struct profile_measures *pull = first_pull(run_stress(&synth, rises));
    const struct transmission_ratio *ratio = pull->transmission_ratios.items;

    assert_string_equal(pull->kind.word, "stress");
    assert_int_equal(pull->transmission_ratios.count, 1);
    assert_close(ratio->at_s, 30.0, 1e-9);
    assert_close(ratio->pves_rise_cmh2o, 60.0, 1e-9);
    assert_close(ratio->pura_rise_cmh2o, 48.0, 1e-9);
    assert_close(ratio->ratio_percent, 80.0, 1e-9);
    assert_close(ratio->stress_closure_cmh2o, 23.0, 1e-9);
    /* Identity: closure at rest less what was not transmitted. */
    assert_close(ratio->stress_closure_cmh2o, 35.0 - 0.2 * 60.0, 1e-9);
    assert_close(pull->functional_length.value, 44.16667, 1e-4);
    assert_close(ratio->position_mm, 20.0, 1e-6);
    assert_close(ratio->position_percent, 45.283, 1e-3);
    /* The resting profile is read without the cough. */
    assert_close(pull->maximum_urethral_pressure.value, 70.0, 1e-6);
    assert_close(pull->maximum_closure_pressure.value, 35.0, 1e-6);
    assert_close(pull->pves_mean.value, 35.0, 1e-6);
    synth_close(&synth);
}

/* Closure at a cough at or below 20 cmH2O: Pizzoferrato 2017, Int Neurourol J 21:121-127 (read:
 * abstract). 35 + pura's rise - pves' rise. */
static void test_stress_closure_limit(void **state)
{
    static const struct {
        double rises[2];
        const char *finding;
    } rows[] = {{{60.0, 45.0}, "low_stress_closure"},
                {{60.0, 45.1}, NULL},
                {{60.0, 25.0}, "low_stress_closure"},
                {{60.0, 24.9}, "negative_stress_closure"}};

    (void)state;
    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
        struct synth synth;
        const struct analysis_result *result = run_stress(&synth, rows[i].rises);

        assert_int_equal(synth_finding(result, "low_stress_closure") != NULL,
                         rows[i].finding != NULL &&
                             strcmp(rows[i].finding, "low_stress_closure") == 0);
        assert_int_equal(synth_finding(result, "negative_stress_closure") != NULL,
                         rows[i].finding != NULL &&
                             strcmp(rows[i].finding, "negative_stress_closure") == 0);
        synth_close(&synth);
    }
}

/* ---- Limits and orientation ---- */

static const struct analysis_result *run_triangle(struct synth *synth, double closure)
{
    const double pura[] = {10, 10 + 0.5 * closure, 10 + closure, 10 + 0.5 * closure, 10, 0};

    profile_case_samples(synth, 5.0, 6, pura, 10.0);
    return synth_run(synth);
}

/* "<= 20": Bump 1997, Am J Obstet Gynecol 177:303-310 (read: abstract). 20 itself is low. */
static void test_low_closure_limit(void **state)
{
    static const struct {
        double closure;
        bool low;
    } rows[] = {{19.99, true}, {20.0, true}, {20.01, false}};
    struct analysis_choices choices;

    (void)state;
    for (size_t i = 0; i < 3; i++) {
        struct synth synth;
        const struct analysis_result *result = run_triangle(&synth, rows[i].closure);
        const struct classification *class = synth_class(result, "urethral_closure_pressure");

        assert_int_equal(synth_finding(result, "low_closure_pressure") != NULL, rows[i].low);
        assert_non_null(class);
        assert_string_equal(class->class, rows[i].low ? "low" : "not_low");
        assert_non_null(strstr(class->method, "Bump 1997"));
        assert_close(class->limits[0].value, 20.0, 0.0);
        synth_close(&synth);
    }
    choices_standard(&choices);
    choices.closure_pressure_low_cmh2o.value = 30.0;
    struct synth synth;

    (void)run_triangle(&synth, 30.0);
    synth.choices = &choices;
    assert_non_null(synth_finding(synth_run(&synth), "low_closure_pressure"));
    choices.closure_pressure_low_cmh2o.value = 29.9;
    assert_null(synth_finding(synth_run(&synth), "low_closure_pressure"));
    synth_close(&synth);
}

/* 110 - age, plus or minus 20 %, or 92 - age: IUGA newsletter (read). */
static void test_expected_for_age(void **state)
{
    static const double rows[][5] = {
        {25, 85, 68, 102, 67}, {50, 60, 48, 72, 42}, {75, 35, 28, 42, 17}};
    struct profile_expected expected;

    (void)state;
    for (size_t i = 0; i < 3; i++) {
        assert_true(profile_expected_for_age(rows[i][0], &expected));
        assert_close(expected.cmh2o, rows[i][1], 1e-9);
        assert_close(expected.least_cmh2o, rows[i][2], 1e-9);
        assert_close(expected.most_cmh2o, rows[i][3], 1e-9);
        assert_close(expected.lower_rule_cmh2o, rows[i][4], 1e-9);
    }
    assert_false(profile_expected_for_age(92.0, &expected));
    assert_false(profile_expected_for_age(-1.0, &expected));
}

/* The hint for a woman of 50: both sides of 48, 72 and 42. */
static void test_hint_for_age(void **state)
{
    static const struct {
        double closure;
        const char *words;
    } rows[] = {{41.9, "below both"},        {42.1, "not below another rule"},
                {47.9, "not below another"}, {48.1, "within the band"},
                {71.9, "within the band"},   {72.1, "above the band"}};

    (void)state;
    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
        struct synth synth;
        const struct finding *hint =
            synth_finding(run_triangle(&synth, rows[i].closure), "closure_pressure_for_age");

        assert_non_null(hint);
        assert_non_null(strstr(hint->text, rows[i].words));
        assert_close(hint->limits[1].value, 48.0, 1e-9);
        synth.recording.sex = SEX_MALE;
        assert_null(synth_finding(synth_run(&synth), "closure_pressure_for_age"));
        synth_close(&synth);
    }
}

/* ---- Repeats ---- */

static double part(const struct measure *measure, const char *code)
{
    for (size_t i = 0; i < measure->part_count; i++) {
        if (strcmp(measure->parts[i].code, code) == 0) {
            return measure->parts[i].value;
        }
    }
    return (double)NAN;
}

/* Three pulls with a maximum closure of 78, 74 and 82: mean 78, SD 4 (n-1), CV 5.1282 %. */
static void test_worked_repeats(void **state)
{
    static const double closures[] = {78, 74, 82};
    double pura[30];
    double pves[30];
    struct synth synth;

    (void)state;
    synth_open(&synth, RECORDING_URETHRAL_PRESSURE_PROFILE);
    synth.recording.conditions.puller_speed_mm_s = (struct optional_number){true, 1.0};
    for (size_t i = 0; i < 3; i++) {
        const double shape[] = {0, 0.25, 0.75, 1, 0.75, 0.5, 0.25, 0, -0.1, -0.1};

        for (size_t k = 0; k < 10; k++) {
            pves[10 * i + k] = 10.0;
            pura[10 * i + k] = 10.0 + shape[k] * closures[i];
        }
        synth_event(&synth, EVENT_PULL_START, 50.0 * (double)i);
        synth_event(&synth, EVENT_PULL_END, 50.0 * (double)i + 45.0);
    }
    synth_samples(&synth, SIGNAL_PURA, 0.2, 30, pura);
    synth_samples(&synth, SIGNAL_PVES, 0.2, 30, pves);
    const struct analysis_result *result = synth_run(&synth);
    const struct measure *mean = &result->profiles_summary.maximum_closure_pressure;

    assert_int_equal(result->profiles.count, 3);
    assert_close(result->profiles_summary.pulls.value, 3.0, 0.0);
    assert_close(mean->value, 78.0, 1e-9);
    assert_close(part(mean, "count"), 3.0, 0.0);
    assert_close(part(mean, "spread"), 4.0, 1e-9);
    assert_close(part(mean, "cv_percent"), 5.1282, 1e-4);
    assert_close(result->profiles_summary.maximum_urethral_pressure.value, 88.0, 1e-9);
    assert_close(result->profiles_summary.functional_length.value, 35.0, 1e-9);
    assert_close(part(&result->profiles_summary.functional_length, "spread"), 0.0, 1e-9);
    synth_close(&synth);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_worked_resting_profile), cmocka_unit_test(test_worked_with_threshold),
        cmocka_unit_test(test_worked_sampled_finely),  cmocka_unit_test(test_worked_triangle),
        cmocka_unit_test(test_closure_is_pointwise),   cmocka_unit_test(test_worked_cough),
        cmocka_unit_test(test_stress_closure_limit),   cmocka_unit_test(test_low_closure_limit),
        cmocka_unit_test(test_expected_for_age),       cmocka_unit_test(test_hint_for_age),
        cmocka_unit_test(test_worked_repeats),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
