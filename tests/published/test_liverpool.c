/* Liverpool nomogram: Haylen BT et al. Br J Urol 1989;64:30-38. The coefficients are from memory
 * and unconfirmed, so these tables, worked from them, test the code and not the medicine. */
#include "support/assert_close.h"
#include "support/synth.h"

#include "analysis/nomogram/nomogram.h"

#include <string.h>

enum { CENTILES = 7, VOLUMES = 6 };

static const double centiles[CENTILES] = {5, 10, 25, 50, 75, 90, 95};
static const double volumes_ml[VOLUMES] = {100, 150, 200, 300, 400, 500};

static const double women[VOLUMES][CENTILES] = {{9.75, 11.03, 13.56, 17.06, 21.45, 26.37, 29.84},
                                                {11.97, 13.54, 16.64, 20.93, 26.33, 32.37, 36.62},
                                                {13.84, 15.66, 19.25, 24.21, 30.45, 37.43, 42.35},
                                                {16.98, 19.21, 23.62, 29.71, 37.37, 45.93, 51.97},
                                                {19.64, 22.22, 27.31, 34.35, 43.21, 53.11, 60.10},
                                                {21.98, 24.87, 30.57, 38.45, 48.36, 59.45, 67.27}};

static const double men_of_50[VOLUMES][CENTILES] = {
    {5.17, 6.44, 8.88, 12.04, 15.68, 19.38, 21.77},
    {7.18, 8.66, 11.45, 15.01, 19.05, 23.10, 25.71},
    {9.12, 10.78, 13.88, 17.77, 22.15, 26.49, 29.28},
    {12.90, 14.87, 18.47, 22.92, 27.86, 32.71, 35.80},
    {16.60, 18.82, 22.84, 27.77, 33.18, 38.46, 41.81},
    {20.24, 22.69, 27.09, 32.43, 38.26, 43.91, 47.48}};

static const double men_median[VOLUMES][2] = {{14.06, 10.18}, {17.26, 12.92}, {20.21, 15.49},
                                              {25.68, 20.32}, {30.80, 24.90}, {35.70, 29.32}};

static void test_tables(void **state)
{
    (void)state;
    for (size_t v = 0; v < VOLUMES; v++) {
        for (size_t c = 0; c < CENTILES; c++) {
            const struct nomogram_answer woman =
                nomogram_liverpool(SEX_FEMALE, 40.0, volumes_ml[v], women[v][c]);
            const struct nomogram_answer man =
                nomogram_liverpool(SEX_MALE, 50.0, volumes_ml[v], men_of_50[v][c]);

            /* The tables have two decimals: up to 0.02 of a centile at the steepest. */
            assert_close(woman.centile, centiles[c], 0.05);
            assert_close(man.centile, centiles[c], 0.08);
        }
        assert_close(nomogram_liverpool(SEX_MALE, 30.0, volumes_ml[v], men_median[v][0]).centile,
                     50.0, 0.08);
        assert_close(nomogram_liverpool(SEX_MALE, 70.0, volumes_ml[v], men_median[v][1]).centile,
                     50.0, 0.08);
    }
}

static void test_worked_cases(void **state)
{
    const struct nomogram_answer woman = nomogram_liverpool(SEX_FEMALE, 40.0, 300.0, 15.0);
    const struct nomogram_answer man_60 = nomogram_liverpool(SEX_MALE, 60.0, 300.0, 12.0);
    const struct nomogram_answer man_35 = nomogram_liverpool(SEX_MALE, 35.0, 400.0, 25.0);

    (void)state;
    assert_close(woman.z, -2.00988, 2e-5);
    assert_close(woman.centile, 2.2222, 2e-4);
    assert_close(man_60.z, -1.62805, 2e-5);
    assert_close(man_60.centile, 5.1758, 2e-4);
    assert_close(man_35.z, -0.66025, 2e-5);
    assert_close(man_35.centile, 25.4547, 2e-4);
}

static void test_refusals(void **state)
{
    (void)state;
    assert_false(nomogram_liverpool(SEX_FEMALE, 40.0, 14.9, 15.0).known);
    assert_true(nomogram_liverpool(SEX_FEMALE, 40.0, 15.0, 15.0).known);
    assert_true(nomogram_liverpool(SEX_FEMALE, 40.0, 600.0, 15.0).known);
    assert_false(nomogram_liverpool(SEX_FEMALE, 40.0, 600.1, 15.0).known);
    assert_false(nomogram_liverpool(SEX_FEMALE, 40.0, 300.0, 70.1).known);
    assert_false(nomogram_liverpool(SEX_FEMALE, 40.0, 300.0, 0.0).known);
    assert_false(nomogram_liverpool(SEX_FEMALE, 17.0, 300.0, 15.0).known);
    assert_true(nomogram_liverpool(SEX_MALE, 18.0, 300.0, 15.0).known);
    assert_false(nomogram_liverpool(SEX_MALE, -1.0, 300.0, 15.0).known);
    assert_false(nomogram_liverpool(SEX_UNKNOWN, 40.0, 300.0, 15.0).known);
    assert_false(nomogram_liverpool(SEX_OTHER, 40.0, 300.0, 15.0).known);
    assert_non_null(nomogram_liverpool(SEX_OTHER, 40.0, 300.0, 15.0).reason);
    /* An age at which the men's equation expects no flow at all. */
    assert_false(nomogram_liverpool(SEX_MALE, 250.0, 20.0, 15.0).known);
}

/* In the analysis: free flow only, and the method says where the numbers come from. */
static void test_in_the_analysis(void **state)
{
    const struct half_sine shape = {10.0, 30.0, 15.7};
    const struct synth_sampling sampling = {.rate_hz = 10.0, .end_s = 60.0};
    struct synth synth;

    (void)state;
    synth_open(&synth, RECORDING_UROFLOWMETRY);
    synth_channel(&synth, SIGNAL_FLOW, sampling, half_sine_value, &shape);
    const struct flow_measures *flow = &synth_run(&synth)->uroflow;

    assert_close(
        flow->qmax_centile.value,
        nomogram_liverpool(SEX_MALE, 60.0, flow->voided_volume.value, flow->qmax.value).centile,
        1e-9);
    assert_non_null(strstr(flow->qmax_centile.method, "from memory, unconfirmed"));
    synth.recording.type = RECORDING_PRESSURE_FLOW;
    flow = &synth_run(&synth)->voiding.flow;
    assert_int_equal(flow->qmax_centile.state, MEASURE_ABSENT);
    assert_non_null(strstr(flow->qmax_centile.reason, "without a catheter"));
    synth_close(&synth);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_tables),
        cmocka_unit_test(test_worked_cases),
        cmocka_unit_test(test_refusals),
        cmocka_unit_test(test_in_the_analysis),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
