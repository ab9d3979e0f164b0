/* Markers that a person sets cut exactly where they stand. */
#include "support/assert_close.h"
#include "support/pressure_flow.h"

#include <string.h>

static const struct synth_sampling sampling = {.rate_hz = 10.0, .end_s = 60.0};

/* 15 mL/s from 10 to 30 s, and the vessel moved beside it. */
static const double artefact_points[][2] = {{5.0, 0.0},  {5.1, 40.0},  {8.9, 40.0},  {9.0, 0.0},
                                            {10.0, 0.0}, {10.1, 15.0}, {29.9, 15.0}, {30.0, 0.0},
                                            {31.1, 0.0}, {31.2, 40.0}, {34.9, 40.0}, {35.0, 0.0}};
static const struct polyline artefacts = {sizeof artefact_points / sizeof artefact_points[0],
                                          artefact_points};

static void test_artefacts_are_shut_out(void **state)
{
    struct synth synth;

    (void)state;
    synth_open(&synth, RECORDING_UROFLOWMETRY);
    synth_channel(&synth, SIGNAL_FLOW, sampling, polyline_value, &artefacts);
    synth_event(&synth, EVENT_VOID_START, 9.5);
    synth_event(&synth, EVENT_VOID_END, 30.5);
    const struct flow_measures *flow = &synth_run(&synth)->uroflow;

    assert_close(flow->qmax.value, 15.0, 0.01);
    assert_close(flow->voided_volume.value, 298.5, 1.0);
    assert_close(flow->voiding_time.value, 19.9, 0.1);
    assert_close(flow->interruptions.value, 0.0, 0.0);
    /* An end within the flow ends it there. */
    synth.events[1].at_s = 25.0;
    flow = &synth_run(&synth)->uroflow;
    assert_close(flow->voiding_time.value, 14.95, 0.1);
    assert_close(flow->voided_volume.value, 224.25, 1.0);
    /* A start set a little late within the flow still means its onset; one far inside cuts it. */
    synth.events[0].at_s = 11.5;
    assert_close(synth_run(&synth)->uroflow.voiding_time.value, 14.95, 0.1);
    synth.events[0].at_s = 15.0;
    assert_close(synth_run(&synth)->uroflow.voiding_time.value, 10.0, 0.1);
    assert_close(synth_run(&synth)->uroflow.voided_volume.value, 150.0, 0.5);
    synth_close(&synth);
}

/* Cut within the flow, the volume channel is read at the markers. */
static void test_volume_between_markers(void **state)
{
    static const struct half_sine shape = {.start_s = 10.0, .length_s = 30.0, .peak = 20.0};
    struct synth synth;

    (void)state;
    synth_open(&synth, RECORDING_UROFLOWMETRY);
    synth_channel(&synth, SIGNAL_FLOW, sampling, half_sine_value, &shape);
    synth_channel(&synth, SIGNAL_VVOID, sampling, half_sine_integral, &shape);
    synth_event(&synth, EVENT_VOID_START, 15.0);
    synth_event(&synth, EVENT_VOID_END, 35.0);
    const struct analysis_result *result = synth_run(&synth);
    const double cut_ml = half_sine_integral(35.0, &shape) - half_sine_integral(15.0, &shape);

    assert_close(result->uroflow.voided_volume.value, cut_ml, 0.002 * cut_ml);
    assert_null(synth_quality(result, "flow_start_unseen"));
    assert_null(synth_quality(result, "volume_mismatch"));
    synth_close(&synth);
}

/* Permission set after all flow: the reason says so. */
static void test_flow_before_permission(void **state)
{
    struct synth synth;

    (void)state;
    pressure_flow_open(&synth,
                       (struct pressure_flow_case){.rate_hz = 10.0, .without_permission = true});
    synth_event(&synth, EVENT_PERMISSION_TO_VOID, 600.0);
    const struct analysis_result *result = synth_run(&synth);

    assert_int_equal(result->voiding.flow.qmax.state, MEASURE_ABSENT);
    assert_non_null(strstr(result->voiding.flow.qmax.reason, "only before the permission_to_void"));
    assert_non_null(strstr(result->voiding.pdet_qmax.reason, "only before the permission_to_void"));
    assert_non_null(synth_quality(result, "flow_before_marker"));
    synth_close(&synth);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_artefacts_are_shut_out),
        cmocka_unit_test(test_volume_between_markers),
        cmocka_unit_test(test_flow_before_permission),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
