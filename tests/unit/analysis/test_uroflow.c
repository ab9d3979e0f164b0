/* Rules of the flow section: what is absent and why, markers, ends, and quality notes. */
#include "support/assert_close.h"
#include "support/synth.h"

#include <math.h>
#include <string.h>

static const struct half_sine shape = {.start_s = 15.0, .length_s = 30.0, .peak = 20.0};
static const struct synth_sampling sampling = {.rate_hz = 10.0, .end_s = 60.0};

static void open_flow(struct synth *synth)
{
    synth_open(synth, RECORDING_UROFLOWMETRY);
    synth_channel(synth, SIGNAL_FLOW, sampling, half_sine_value, &shape);
}

static void assert_absent(const struct measure *measure, const char *reason)
{
    assert_int_equal(measure->state, MEASURE_ABSENT);
    if (strstr(measure->reason, reason) == NULL) {
        fail_msg("reason \"%s\" does not say \"%s\"", measure->reason, reason);
    }
}

static void test_no_signal(void **state)
{
    struct synth synth;

    (void)state;
    synth_open(&synth, RECORDING_UROFLOWMETRY);
    synth.recording.conditions.post_void_residual_ml = (struct optional_number){true, 30.0};
    const struct analysis_result *result = synth_run(&synth);

    assert_true(result->has_uroflow);
    assert_absent(&result->uroflow.qmax, "no usable flow");
    assert_absent(&result->uroflow.voided_volume, "no usable flow");
    assert_close(result->uroflow.post_void_residual.value, 30.0, 0.0);
    synth_close(&synth);
}

static void test_no_flow_in_the_signal(void **state)
{
    static const double still = 0.2;
    struct synth synth;

    (void)state;
    synth_open(&synth, RECORDING_UROFLOWMETRY);
    synth_channel(&synth, SIGNAL_FLOW, sampling, constant_value, &still);
    const struct flow_measures *flow = &synth_run(&synth)->uroflow;

    assert_absent(&flow->qmax, "no flow was found");
    assert_absent(&flow->flow_time, "no flow was found");
    synth_close(&synth);
}

static void test_what_needs_an_entry_or_marker(void **state)
{
    struct synth synth;

    (void)state;
    open_flow(&synth);
    const struct flow_measures *flow = &synth_run(&synth)->uroflow;

    assert_absent(&flow->delay_time, "no permission_to_void marker");
    assert_absent(&flow->post_void_residual, "no post-void residual");
    assert_absent(&flow->initial_volume, "no post-void residual");
    assert_absent(&flow->voiding_efficiency, "no post-void residual");
    assert_absent(&flow->qmax_corrected, "no post-void residual");
    synth_event(&synth, EVENT_PERMISSION_TO_VOID, 20.0);
    synth.recording.conditions.post_void_residual_ml = (struct optional_number){true, -5.0};
    flow = &synth_run(&synth)->uroflow;
    assert_absent(&flow->delay_time, "before the permission");
    assert_absent(&flow->post_void_residual, "no possible volume");
    assert_absent(&flow->voiding_efficiency, "no possible volume");
    assert_close(flow->voiding_time.value, 30.0 - 2.0 * half_sine_reaches(&shape, 0.5), 0.1);
    synth_close(&synth);
}

static void test_complete_emptying(void **state)
{
    struct synth synth;

    (void)state;
    open_flow(&synth);
    synth.recording.conditions.post_void_residual_ml = (struct optional_number){true, 0.0};
    const struct flow_measures *flow = &synth_run(&synth)->uroflow;

    assert_close(flow->voiding_efficiency.value, 100.0, 0.0);
    assert_close(flow->initial_volume.value, flow->voided_volume.value, 0.0);
    synth_close(&synth);
}

/* A second flow a minute later, cut off or chosen by markers. */
static void test_markers_choose_the_voiding(void **state)
{
    static const double points[][2] = {{10.0, 0.0}, {15.0, 10.0}, {20.0, 0.0},
                                       {60.0, 0.0}, {65.0, 14.0}, {75.0, 0.0}};
    static const struct polyline line = {6, points};
    const struct synth_sampling longer = {.rate_hz = 10.0, .end_s = 90.0};
    struct synth synth;

    (void)state;
    synth_open(&synth, RECORDING_UROFLOWMETRY);
    synth_channel(&synth, SIGNAL_FLOW, longer, polyline_value, &line);
    assert_close(synth_run(&synth)->uroflow.voided_volume.value, 50.0 + 105.0, 1.0);
    assert_close(synth_run(&synth)->uroflow.interruptions.value, 1.0, 0.0);

    synth_event(&synth, EVENT_VOID_END, 20.5);
    const struct flow_measures *flow = &synth_run(&synth)->uroflow;

    assert_close(flow->voided_volume.value, 50.0, 0.5);
    assert_close(flow->interruptions.value, 0.0, 0.0);
    assert_close(flow->qmax.at_s, 15.0, 0.11);

    synth.events[0] = (struct event){.code = EVENT_VOID_START, .at_s = 60.0};
    flow = &synth_run(&synth)->uroflow;
    assert_close(flow->voided_volume.value, 105.0, 1.0);
    assert_close(flow->qmax.at_s, 65.0, 0.5);
    synth_close(&synth);
}

/* Water poured to try the meter, before the patient was let go, is not the voiding; a marker that
 * was set after all flow cannot be right and does not hide it. */
static void test_permission_starts_the_search(void **state)
{
    static const double points[][2] = {{2.0, 0.0},  {4.0, 6.0},   {6.0, 0.0},
                                       {20.0, 0.0}, {30.0, 20.0}, {50.0, 0.0}};
    static const struct polyline line = {6, points};
    struct synth synth;

    (void)state;
    synth_open(&synth, RECORDING_UROFLOWMETRY);
    synth_channel(&synth, SIGNAL_FLOW, sampling, polyline_value, &line);
    synth_event(&synth, EVENT_PERMISSION_TO_VOID, 12.0);
    assert_close(synth_run(&synth)->uroflow.voided_volume.value, 300.0, 1.0);
    assert_close(synth_run(&synth)->uroflow.delay_time.value, 8.25, 0.1);
    synth.events[0].at_s = 55.0;
    assert_close(synth_run(&synth)->uroflow.voided_volume.value, 312.0, 1.0);
    assert_absent(&synth_run(&synth)->uroflow.delay_time, "before the permission");
    synth_close(&synth);
}

static void test_unseen_ends(void **state)
{
    const struct synth_sampling late = {.rate_hz = 10.0, .start_s = 20.0, .end_s = 40.0};
    struct synth synth;

    (void)state;
    synth_open(&synth, RECORDING_UROFLOWMETRY);
    synth_channel(&synth, SIGNAL_FLOW, late, half_sine_value, &shape);
    const struct analysis_result *result = synth_run(&synth);

    assert_non_null(synth_quality(result, "flow_start_unseen"));
    assert_non_null(synth_quality(result, "flow_end_unseen"));
    assert_close(result->uroflow.voiding_time.value, 20.0, 0.11);
    synth_close(&synth);
}

static void test_quality_of_the_curve(void **state)
{
    static const double late_points[][2] = {{10.0, 0.0},  {12.0, 8.0},  {40.0, 10.0},
                                            {41.0, 24.0}, {41.5, 24.0}, {42.0, 0.0}};
    static const double offset_points[][2] = {{0.0, 0.4}, {10.0, 0.4}, {20.0, 20.0}, {30.0, 0.4}};
    static const double negative_points[][2] = {{10.0, 0.0}, {20.0, 20.0}, {30.0, 0.0},
                                                {35.0, 0.0}, {35.5, -6.0}, {37.0, -6.0},
                                                {37.5, 0.0}};
    static const double huge_points[][2] = {{10.0, 0.0}, {20.0, 80.0}, {40.0, 0.0}};

    static const struct {
        struct polyline line;
        const char *code;
    } rows[] = {{{6, late_points}, "late_max"},
                {{4, offset_points}, "flow_zero"},
                {{7, negative_points}, "negative_flow"},
                {{3, huge_points}, "implausible_value"}};

    (void)state;
    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
        struct synth synth;

        synth_open(&synth, RECORDING_UROFLOWMETRY);
        synth_channel(&synth, SIGNAL_FLOW, sampling, polyline_value, &rows[i].line);
        const struct analysis_result *result = synth_run(&synth);
        const struct quality_finding *finding = synth_quality(result, rows[i].code);

        print_message("%s\n", rows[i].code);
        assert_non_null(finding);
        assert_int_equal(finding->signal, SIGNAL_FLOW);
        for (size_t k = 0; k < sizeof rows / sizeof rows[0]; k++) {
            assert_true(k == i || synth_quality(result, rows[k].code) == NULL);
        }
        synth_close(&synth);
    }
}

/* A clean, sufficient flow has nothing to be told about it. */
static void test_clean_flow_has_no_notes(void **state)
{
    struct synth synth;

    (void)state;
    open_flow(&synth);
    assert_int_equal(synth_run(&synth)->quality_count, 0);
    synth_close(&synth);
}

static void test_too_slow_for_the_average(void **state)
{
    const struct synth_sampling slow = {.rate_hz = 0.5, .end_s = 60.0};
    struct synth synth;

    (void)state;
    synth_open(&synth, RECORDING_UROFLOWMETRY);
    synth_channel(&synth, SIGNAL_FLOW, slow, half_sine_value, &shape);
    const struct flow_measures *flow = &synth_run(&synth)->uroflow;

    assert_absent(&flow->qmax, "too slowly");
    assert_absent(&flow->time_to_qmax, "no maximum flow");
    assert_absent(&flow->flow_pattern, "no maximum flow");
    assert_close(flow->voided_volume.value, half_sine_area(&shape), 8.0);
    synth_close(&synth);
}

/* Noise of a still meter is no flow, and does not break up a real one. */
static void test_noise(void **state)
{
    static const double nothing = 0.0;
    static const double rates_hz[] = {10.0, 100.0};

    (void)state;
    for (size_t i = 0; i < 2; i++) {
        const struct synth_sampling noisy = {.rate_hz = rates_hz[i], .end_s = 600.0, .noise = 0.4};
        struct synth synth;

        synth_open(&synth, RECORDING_UROFLOWMETRY);
        synth_channel(&synth, SIGNAL_FLOW, noisy, constant_value, &nothing);
        assert_absent(&synth_run(&synth)->uroflow.qmax, "no flow was found");
        synth_close(&synth);
        synth_open(&synth, RECORDING_UROFLOWMETRY);
        synth_channel(&synth, SIGNAL_FLOW, noisy, half_sine_value, &shape);
        const struct flow_measures *flow = &synth_run(&synth)->uroflow;

        assert_close(flow->interruptions.value, 0.0, 0.0);
        assert_close(flow->voiding_time.value, 30.0, 1.5);
        synth_close(&synth);
    }
}

/* 30 mL/s for a second, then 5: what is lost between is bridged before the average is taken, and an
 * average over what was lost for longer is none. */
static void test_gap_beside_a_burst(void **state)
{
    static const size_t lost[] = {9, 20};
    static const double points[][2] = {{5.0, 0.0},  {5.01, 30.0}, {6.0, 30.0},
                                       {6.01, 5.0}, {18.0, 5.0},  {18.01, 0.0}};
    static const struct polyline line = {6, points};

    (void)state;
    for (size_t i = 0; i < 2; i++) {
        struct synth synth;

        synth_open(&synth, RECORDING_UROFLOWMETRY);
        synth_channel(&synth, SIGNAL_FLOW, sampling, polyline_value, &line);
        synth_lose(&synth, SIGNAL_FLOW, 6.05, 6.05 + 0.1 * (double)lost[i]);
        const struct flow_measures *flow = &synth_run(&synth)->uroflow;

        /* 11 samples of the burst, 9 on the line down, one of the rest. */
        assert_close(flow->qmax.value, i == 0 ? (10.0 * 30.0 + 9.0 * 17.5 + 5.0) / 21.0 : 5.0,
                     i == 0 ? 1.5 : 1e-6);
        synth_close(&synth);
    }
}

/* Drips after the end no more prolong the flow than drips before it bring it forward. */
static void test_drips_beside_the_flow(void **state)
{
    static const double step[][2] = {{9.9, 0.0}, {10.0, 15.0}, {30.0, 15.0}, {30.1, 0.0}};
    static const struct polyline line = {4, step};
    static const size_t drips[] = {65, 74, 83, 92, 308, 317, 326, 335};
    struct synth synth;

    (void)state;
    synth_open(&synth, RECORDING_UROFLOWMETRY);
    double *samples = synth_channel(&synth, SIGNAL_FLOW, sampling, polyline_value, &line);

    for (size_t i = 0; i < 3 * sizeof drips / sizeof drips[0]; i++) {
        samples[drips[i / 3] + i % 3] = 1.0;
    }
    assert_close(synth_run(&synth)->uroflow.flow_time.value, 20.1, 0.1);
    synth_close(&synth);
}

static void test_long_pause(void **state)
{
    static const double points[][2] = {{10.0, 0.0}, {15.0, 20.0}, {20.0, 0.0},
                                       {32.0, 0.0}, {35.0, 20.0}, {40.0, 0.0}};
    static const struct polyline line = {6, points};
    struct synth synth;

    (void)state;
    synth_open(&synth, RECORDING_UROFLOWMETRY);
    synth_channel(&synth, SIGNAL_FLOW, sampling, polyline_value, &line);
    const struct quality_finding *pause = synth_quality(synth_run(&synth), "long_pause");

    assert_non_null(pause);
    assert_close(pause->from_s, 20.0, 0.2);
    assert_close(pause->to_s, 32.0, 0.2);
    synth_close(&synth);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_no_signal),
        cmocka_unit_test(test_no_flow_in_the_signal),
        cmocka_unit_test(test_what_needs_an_entry_or_marker),
        cmocka_unit_test(test_complete_emptying),
        cmocka_unit_test(test_markers_choose_the_voiding),
        cmocka_unit_test(test_permission_starts_the_search),
        cmocka_unit_test(test_unseen_ends),
        cmocka_unit_test(test_quality_of_the_curve),
        cmocka_unit_test(test_clean_flow_has_no_notes),
        cmocka_unit_test(test_too_slow_for_the_average),
        cmocka_unit_test(test_noise),
        cmocka_unit_test(test_gap_beside_a_burst),
        cmocka_unit_test(test_drips_beside_the_flow),
        cmocka_unit_test(test_long_pause),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
