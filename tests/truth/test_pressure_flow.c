/* Pressure-flow studies with known truth: pdet at Qmax within 1 cmH2O, BOOI and BCI within 2, also
 * with noise, different rates and different starts of the channels. */
#include "support/assert_close.h"
#include "support/pressure_flow.h"

#include <string.h>

static const struct pressure_flow_case cases[] = {
    {.rate_hz = 10.0},
    {.rate_hz = 10.0, .noise = 0.6},
    {.rate_hz = 25.0, .noise = 0.6},
    {.rate_hz = 100.0, .noise = 0.6},
    {.rate_hz = 10.0, .pabd_rate_hz = 25.0, .pabd_start_s = -0.33, .noise = 0.3},
    {.rate_hz = 50.0, .pabd_rate_hz = 10.0, .pabd_start_s = 0.07, .noise = 0.3},
};

static void check_voiding(const struct voiding_measures *voiding)
{
    const struct pressure_flow_truth truth = pressure_flow_truth();

    assert_close(voiding->flow.qmax.value, truth.qmax, 0.2);
    assert_close(voiding->flow.voided_volume.value, truth.voided_ml, 0.01 * truth.voided_ml);
    assert_close(voiding->flow.flow_time.value, truth.flow_time_s, 0.25);
    assert_close(voiding->flow.delay_time.value, truth.delay_time_s, 0.2);
    assert_close(voiding->flow_delay.value, truth.flow_delay_s, 0.0);
    assert_close(voiding->pdet_qmax.value, truth.pdet_qmax, 1.0);
    assert_close(voiding->pabd_qmax.value, truth.pabd_qmax, 1.0);
    assert_close(voiding->pves_qmax.value, truth.pdet_qmax + truth.pabd_qmax, 1.0);
    assert_close(voiding->booi.value, truth.booi, 2.0);
    assert_close(voiding->bci.value, truth.bci, 2.0);
    assert_close(voiding->pdet_max.value, truth.pdet_max, 1.0);
    assert_close(voiding->opening_pressure.value, truth.opening, 1.0);
    assert_close(voiding->closing_pressure.value, truth.closing, 1.5);
}

static void check_filling(const struct filling_measures *filling)
{
    const struct pressure_flow_truth truth = pressure_flow_truth();

    assert_close(filling->first_sensation_volume.value, truth.first_sensation_ml, 0.5);
    assert_close(filling->first_desire_volume.value, truth.first_desire_ml, 0.5);
    assert_close(filling->strong_desire_volume.value, truth.strong_desire_ml, 0.5);
    assert_int_equal(filling->urgency_volume.state, MEASURE_ABSENT);
    assert_close(filling->cystometric_capacity.value, truth.capacity_ml, 0.5);
    assert_close(filling->filling_rate.value, truth.rate_ml_min, 0.5);
    assert_close(filling->pves_baseline.value, truth.pves_rest, 0.5);
    assert_close(filling->pabd_baseline.value, truth.pabd_rest, 0.5);
    assert_close(filling->pdet_baseline.value, truth.pdet_rest, 0.5);
    assert_close(filling->pdet_end_fill.value, truth.pdet_end, 0.5);
    assert_close(filling->compliance.value, truth.compliance, 3.0);
    assert_close(filling->compliance_volume_change.value, truth.capacity_ml, 4.0);
}

static void test_cases(void **state)
{
    (void)state;
    for (size_t i = 0; i < sizeof cases / sizeof cases[0]; i++) {
        struct synth synth;

        print_message("case %zu\n", i);
        pressure_flow_open(&synth, cases[i]);
        const struct analysis_result *result = synth_run(&synth);

        assert_true(result->has_filling && result->has_voiding && !result->has_uroflow);
        check_filling(&result->filling);
        check_voiding(&result->voiding);
        for (size_t k = 0; k < result->quality_count; k++) {
            /* Between its coughs lie 3 min and more. A line without noise does not move there, and
             * is pointed out for it. */
            print_message("quality: %s\n", result->quality[k].code);
            if (result->quality[k].severity == QUALITY_INFO) {
                assert_true(strcmp(result->quality[k].code, "cough_gap") == 0 ||
                            strcmp(result->quality[k].code, "no_cough_after_voiding") == 0);
                continue;
            }
            assert_true(cases[i].noise <= 0.0);
            assert_string_equal(result->quality[k].code, "flat_line");
        }
        synth_close(&synth);
    }
}

/* Without the marker: capacity at the start of flow, compliance from before the contraction. */
static void test_without_permission(void **state)
{
    struct synth synth;

    (void)state;
    pressure_flow_open(&synth, (struct pressure_flow_case){
                                   .rate_hz = 10.0, .noise = 0.3, .without_permission = true});
    const struct analysis_result *result = synth_run(&synth);

    assert_close(result->filling.cystometric_capacity.value, 400.0, 0.5);
    assert_close(result->filling.pdet_end_fill.value, 13.0, 0.5);
    assert_close(result->filling.compliance.value, 40.0, 3.0);
    assert_non_null(synth_quality(result, "no_permission_marker"));
    assert_int_equal(result->voiding.flow.delay_time.state, MEASURE_ABSENT);
    assert_close(result->voiding.booi.value, pressure_flow_truth().booi, 2.0);
    synth_close(&synth);
}

/* Without the infused volume: entered rate times pumping time. */
static void test_without_infused_volume(void **state)
{
    struct synth synth;

    (void)state;
    pressure_flow_open(&synth, (struct pressure_flow_case){.rate_hz = 10.0, .without_vinf = true});
    const struct filling_measures *filling = &synth_run(&synth)->filling;

    check_filling(filling);
    assert_int_equal(filling->filling_rate.source, SOURCE_ENTERED);
    assert_non_null(filling->cystometric_capacity.method);
    synth_close(&synth);
}

/* An uploaded pdet is used as it is; one that disagrees is pointed out. */
static void test_uploaded_pdet(void **state)
{
    static const double wrong = 70.0;
    const struct synth_sampling sampling = {.rate_hz = 10.0, .end_s = 620.0, .noise = 0.1};
    struct synth synth;

    (void)state;
    pressure_flow_open(&synth, (struct pressure_flow_case){.rate_hz = 10.0});
    synth_channel(&synth, SIGNAL_PDET, sampling, constant_value, &wrong);
    const struct analysis_result *result = synth_run(&synth);

    assert_close(result->voiding.pdet_qmax.value, wrong, 0.2);
    assert_non_null(synth_quality(result, "pdet_mismatch"));
    assert_non_null(synth_quality(result, "resting_pressure"));
    synth_close(&synth);
}

static void test_initial_residual(void **state)
{
    struct synth synth;

    (void)state;
    pressure_flow_open(&synth, (struct pressure_flow_case){.rate_hz = 10.0});
    synth.recording.conditions.initial_residual_ml = (struct optional_number){true, 60.0};
    const struct filling_measures *filling = &synth_run(&synth)->filling;

    assert_close(filling->cystometric_capacity.value, 460.0, 0.5);
    assert_close(filling->first_desire_volume.value, pressure_flow_truth().first_desire_ml + 60.0,
                 0.5);
    assert_close(filling->compliance_volume_change.value, 400.0, 4.0);
    synth_close(&synth);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_cases),
        cmocka_unit_test(test_without_permission),
        cmocka_unit_test(test_without_infused_volume),
        cmocka_unit_test(test_uploaded_pdet),
        cmocka_unit_test(test_initial_residual),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
