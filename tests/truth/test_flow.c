/* Uroflowmetry with known truth: volume within 1 %, Qmax within 0.2 mL/s of the analytic maximum of
 * the 2 s average, times within 0.1 s, at 1 to 100 Hz, from flow or from volume, with noise. */
#include "support/assert_close.h"
#include "support/synth.h"

#include <math.h>

/* 15 s of rest, then 30 s of flow up to 20 mL/s. The start lies off the grid of samples. */
static const struct half_sine shape = {.start_s = 15.037, .length_s = 30.0, .peak = 20.0};

static void check(const struct flow_measures *flow, double time_tolerance_s)
{
    const double edge_s = half_sine_reaches(&shape, 0.5);
    const double area_ml = half_sine_area(&shape);

    assert_close(flow->qmax.value, half_sine_mean_2s(&shape), 0.2);
    assert_close(flow->voided_volume.value, area_ml, 0.01 * area_ml);
    assert_close(flow->flow_time.value, shape.length_s - 2.0 * edge_s, time_tolerance_s);
    assert_close(flow->voiding_time.value, shape.length_s - 2.0 * edge_s, time_tolerance_s);
    assert_close(flow->qave.value, area_ml / (shape.length_s - 2.0 * edge_s), 0.2);
    assert_close(flow->interruptions.value, 0.0, 0.0);
}

static void test_flow_at_each_rate(void **state)
{
    static const double rates_hz[] = {4.0, 10.0, 12.5, 25.0, 50.0, 100.0, 200.0, 1000.0};

    (void)state;
    for (size_t i = 0; i < sizeof rates_hz / sizeof rates_hz[0]; i++) {
        struct synth synth;
        const struct synth_sampling sampling = {.rate_hz = rates_hz[i], .end_s = 60.0};

        print_message("rate %g Hz\n", rates_hz[i]);
        synth_open(&synth, RECORDING_UROFLOWMETRY);
        synth_channel(&synth, SIGNAL_FLOW, sampling, half_sine_value, &shape);
        synth_event(&synth, EVENT_PERMISSION_TO_VOID, 10.0);
        const struct flow_measures *flow = &synth_run(&synth)->uroflow;

        check(flow, 0.1);
        assert_close(flow->time_to_qmax.value, 15.0 - half_sine_reaches(&shape, 0.5), 0.15);
        assert_close(flow->delay_time.value, shape.start_s + half_sine_reaches(&shape, 0.5) - 10.0,
                     0.1);
        synth_close(&synth);
    }
}

/* At 1 Hz the onset within a sample's interval is not recorded: half of one is the best to hope. */
static void test_flow_at_1_hz(void **state)
{
    struct synth synth;
    const struct synth_sampling sampling = {.rate_hz = 1.0, .end_s = 60.0};

    (void)state;
    synth_open(&synth, RECORDING_UROFLOWMETRY);
    synth_channel(&synth, SIGNAL_FLOW, sampling, half_sine_value, &shape);
    const struct analysis_result *result = synth_run(&synth);

    check(&result->uroflow, 0.5);
    assert_non_null(synth_quality(result, "low_sampling_rate"));
    synth_close(&synth);
}

static void test_flow_from_volume(void **state)
{
    static const double rates_hz[] = {10.0, 25.0, 100.0};

    (void)state;
    for (size_t i = 0; i < sizeof rates_hz / sizeof rates_hz[0]; i++) {
        struct synth synth;
        const struct synth_sampling sampling = {.rate_hz = rates_hz[i], .end_s = 60.0};

        print_message("rate %g Hz\n", rates_hz[i]);
        synth_open(&synth, RECORDING_UROFLOWMETRY);
        synth_channel(&synth, SIGNAL_VVOID, sampling, half_sine_integral, &shape);
        check(&synth_run(&synth)->uroflow, 0.1);
        synth_close(&synth);
    }
}

/* A scale that shows whole millilitres. */
static double whole_ml(double at_s, const void *context)
{
    return round(half_sine_integral(at_s, context));
}

static void test_flow_from_whole_millilitres(void **state)
{
    static const double rates_hz[] = {10.0, 25.0, 100.0};
    const double edge_s = half_sine_reaches(&shape, 0.5);

    (void)state;
    for (size_t i = 0; i < sizeof rates_hz / sizeof rates_hz[0]; i++) {
        struct synth synth;
        const struct synth_sampling sampling = {.rate_hz = rates_hz[i], .end_s = 60.0};

        print_message("rate %g Hz\n", rates_hz[i]);
        synth_open(&synth, RECORDING_UROFLOWMETRY);
        synth_channel(&synth, SIGNAL_VVOID, sampling, whole_ml, &shape);
        const struct analysis_result *result = synth_run(&synth);

        assert_close(result->uroflow.qmax.value, half_sine_mean_2s(&shape), 0.5);
        assert_close(result->uroflow.voided_volume.value, half_sine_area(&shape), 1.0);
        assert_close(result->uroflow.flow_time.value, shape.length_s - 2.0 * edge_s, 1.0);
        assert_close(result->uroflow.interruptions.value, 0.0, 0.0);
        assert_null(synth_quality(result, "spike"));
        synth_close(&synth);
    }
}

/* A flow that starts and stops at once. */
struct steady {
    double flow;
    double start_s;
    double length_s;
    double step_ml; /* of the scale, 0: none */
};

static double steady_volume(double at_s, const void *context)
{
    const struct steady *steady = context;
    const double volume_ml =
        steady->flow * fmin(fmax(at_s - steady->start_s, 0.0), steady->length_s);

    return steady->step_ml > 0.0 ? steady->step_ml * floor(volume_ml / steady->step_ml + 1e-9)
                                 : volume_ml;
}

/* A slow flow on a scale of whole millilitres is one flow, not drops. */
static void test_slow_flow_from_whole_millilitres(void **state)
{
    static const double flows[] = {0.6, 0.8, 1.0, 1.2, 2.0, 3.0};
    static const double rates_hz[] = {10.0, 25.0, 50.0, 100.0, 250.0, 1000.0};

    (void)state;
    for (size_t f = 0; f < sizeof flows / sizeof flows[0]; f++) {
        for (size_t r = 0; r < sizeof rates_hz / sizeof rates_hz[0]; r++) {
            const struct steady steady = {flows[f], 10.0, 60.0, 1.0};
            const struct synth_sampling sampling = {.rate_hz = rates_hz[r], .end_s = 90.0};
            struct synth synth;

            print_message("%g mL/s at %g Hz\n", flows[f], rates_hz[r]);
            synth_open(&synth, RECORDING_UROFLOWMETRY);
            synth_channel(&synth, SIGNAL_VVOID, sampling, steady_volume, &steady);
            const struct flow_measures *flow = &synth_run(&synth)->uroflow;

            assert_close(flow->qmax.value, flows[f], 0.1);
            assert_close(flow->voided_volume.value, 60.0 * flows[f], 0.6);
            assert_close(flow->flow_time.value, 60.0, 0.3);
            assert_close(flow->interruptions.value, 0.0, 0.0);
            synth_close(&synth);
        }
    }
}

static void test_abrupt_flow_from_volume(void **state)
{
    static const double rates_hz[] = {10.0, 25.0, 50.0, 200.0};
    static const double steps_ml[] = {0.0, 0.1, 1.0};

    (void)state;
    for (size_t s = 0; s < sizeof steps_ml / sizeof steps_ml[0]; s++) {
        for (size_t r = 0; r < sizeof rates_hz / sizeof rates_hz[0]; r++) {
            const struct steady steady = {15.0, 10.0, 20.0, steps_ml[s]};
            const struct synth_sampling sampling = {.rate_hz = rates_hz[r], .end_s = 50.0};
            struct synth synth;

            print_message("steps of %g mL at %g Hz\n", steps_ml[s], rates_hz[r]);
            synth_open(&synth, RECORDING_UROFLOWMETRY);
            synth_channel(&synth, SIGNAL_VVOID, sampling, steady_volume, &steady);
            synth_event(&synth, EVENT_PERMISSION_TO_VOID, 5.0);
            const struct flow_measures *flow = &synth_run(&synth)->uroflow;

            assert_close(flow->delay_time.value, 5.0, 0.101);
            assert_close(flow->delay_time.value + flow->voiding_time.value, 25.0, 0.101);
            assert_close(flow->voided_volume.value, 300.0, 1.0);
            synth_close(&synth);
        }
    }
}

/* 25 mL/s, then a tail that fades with a time constant of 6 s, on a scale of whole millilitres. */
static double fading_volume(double at_s, const void *context)
{
    const double inside_s = at_s - 10.0;

    (void)context;
    if (inside_s < 3.0) {
        return inside_s > 0.0 ? floor(25.0 * inside_s * inside_s / 6.0) : 0.0;
    }
    return floor(37.5 + 150.0 * (1.0 - exp(-(inside_s - 3.0) / 6.0)));
}

static void test_tail_in_whole_millilitres(void **state)
{
    static const double rates_hz[] = {10.0, 25.0, 50.0};

    (void)state;
    for (size_t r = 0; r < sizeof rates_hz / sizeof rates_hz[0]; r++) {
        const struct synth_sampling sampling = {.rate_hz = rates_hz[r], .end_s = 90.0};
        struct synth synth;

        synth_open(&synth, RECORDING_UROFLOWMETRY);
        synth_channel(&synth, SIGNAL_VVOID, sampling, fading_volume, NULL);
        const struct flow_measures *flow = &synth_run(&synth)->uroflow;

        assert_close(flow->voided_volume.value, 187.5, 1.875);
        assert_close(flow->interruptions.value, 0.0, 0.0);
        synth_close(&synth);
    }
}

/* Drops: no flow that lasts, and still a volume in the vessel. */
static void test_volume_without_flow(void **state)
{
    const struct steady drops = {0.2, 10.0, 100.0, 2.0};
    const struct synth_sampling sampling = {.rate_hz = 10.0, .end_s = 130.0};
    struct synth synth;

    (void)state;
    synth_open(&synth, RECORDING_UROFLOWMETRY);
    synth_channel(&synth, SIGNAL_VVOID, sampling, steady_volume, &drops);
    const struct analysis_result *result = synth_run(&synth);

    assert_int_equal(result->uroflow.qmax.state, MEASURE_ABSENT);
    assert_non_null(result->uroflow.qmax.reason);
    assert_close(result->uroflow.voided_volume.value, 20.0, 0.01);
    assert_non_null(synth_quality(result, "volume_without_flow"));
    synth_close(&synth);
}

static void test_flow_with_noise(void **state)
{
    static const double rates_hz[] = {10.0, 25.0, 100.0};

    (void)state;
    for (size_t i = 0; i < sizeof rates_hz / sizeof rates_hz[0]; i++) {
        struct synth synth;
        const struct synth_sampling sampling = {
            .rate_hz = rates_hz[i], .end_s = 60.0, .noise = 0.2};

        print_message("rate %g Hz\n", rates_hz[i]);
        synth_open(&synth, RECORDING_UROFLOWMETRY);
        synth_channel(&synth, SIGNAL_FLOW, sampling, half_sine_value, &shape);
        const struct analysis_result *result = synth_run(&synth);

        check(&result->uroflow, 0.25);
        assert_null(synth_quality(result, "spike"));
        assert_string_equal(result->uroflow.flow_pattern.word, "smooth");
        synth_close(&synth);
    }
}

static void test_volume_and_flow_with_noise(void **state)
{
    struct synth synth;
    const struct synth_sampling volume = {
        .rate_hz = 25.0, .start_s = -1.0, .end_s = 60.0, .noise = 0.5};
    const struct synth_sampling flow = {.rate_hz = 10.0, .end_s = 60.0, .noise = 0.2};

    (void)state;
    synth_open(&synth, RECORDING_UROFLOWMETRY);
    synth_channel(&synth, SIGNAL_VVOID, volume, half_sine_integral, &shape);
    synth_channel(&synth, SIGNAL_FLOW, flow, half_sine_value, &shape);
    const struct analysis_result *result = synth_run(&synth);

    check(&result->uroflow, 0.25);
    assert_null(synth_quality(result, "volume_mismatch"));
    synth_close(&synth);
}

static void test_volume_that_disagrees(void **state)
{
    struct synth synth;
    const struct half_sine less = {shape.start_s, shape.length_s, 0.9 * shape.peak};
    const struct synth_sampling sampling = {.rate_hz = 10.0, .end_s = 60.0};

    (void)state;
    synth_open(&synth, RECORDING_UROFLOWMETRY);
    synth_channel(&synth, SIGNAL_VVOID, sampling, half_sine_integral, &less);
    synth_channel(&synth, SIGNAL_FLOW, sampling, half_sine_value, &shape);
    const struct analysis_result *result = synth_run(&synth);
    const struct quality_finding *finding = synth_quality(result, "volume_mismatch");

    assert_non_null(finding);
    assert_true(finding->has_span);
    assert_int_equal(finding->signal, SIGNAL_VVOID);
    assert_close(result->uroflow.voided_volume.value, half_sine_area(&less),
                 0.01 * half_sine_area(&less));
    synth_close(&synth);
}

/* A curve with a long slow tail, Q = 20*(t/8)*exp(1-t/8): its last millilitres flow below the
 * threshold and still belong to the volume. */
static double gamma_curve(double at_s, const void *context)
{
    const double x = (at_s - 10.0) / 8.0;

    (void)context;
    return x > 0.0 ? 20.0 * x * exp(1.0 - x) : 0.0;
}

static void test_volume_in_the_tail(void **state)
{
    struct synth synth;
    const struct synth_sampling sampling = {.rate_hz = 10.0, .end_s = 120.0};
    const double area_ml = 20.0 * 8.0 * exp(1.0);

    (void)state;
    synth_open(&synth, RECORDING_UROFLOWMETRY);
    synth_channel(&synth, SIGNAL_FLOW, sampling, gamma_curve, NULL);
    assert_close(synth_run(&synth)->uroflow.voided_volume.value, area_ml, 0.005 * area_ml);
    synth_close(&synth);
}

static void test_interrupted_flow(void **state)
{
    static const double points[][2] = {{10.0, 0.0}, {11.0, 12.0}, {20.0, 12.0}, {21.0, 0.0},
                                       {24.0, 0.0}, {25.0, 8.0},  {30.0, 8.0},  {31.0, 0.0}};
    static const double rates_hz[] = {10.0, 25.0, 100.0};
    const struct polyline line = {sizeof points / sizeof points[0], points};
    const double edges_s = 2.0 * 0.5 / 12.0 + 2.0 * 0.5 / 8.0;

    (void)state;
    for (size_t i = 0; i < sizeof rates_hz / sizeof rates_hz[0]; i++) {
        struct synth synth;
        const struct synth_sampling sampling = {.rate_hz = rates_hz[i], .end_s = 45.0};

        synth_open(&synth, RECORDING_UROFLOWMETRY);
        synth_channel(&synth, SIGNAL_FLOW, sampling, polyline_value, &line);
        const struct flow_measures *flow = &synth_run(&synth)->uroflow;

        assert_close(flow->interruptions.value, 1.0, 0.0);
        assert_close(flow->flow_time.value, 11.0 + 7.0 - edges_s, 0.1);
        assert_close(flow->voiding_time.value, 21.0 - 0.5 / 12.0 - 0.5 / 8.0, 0.1);
        assert_close(flow->voided_volume.value, 120.0 + 48.0, 1.68);
        assert_close(flow->qmax.value, 12.0, 0.01);
        assert_string_equal(flow->flow_pattern.word, "interrupted");
        synth_close(&synth);
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_flow_at_each_rate),
        cmocka_unit_test(test_flow_at_1_hz),
        cmocka_unit_test(test_flow_from_volume),
        cmocka_unit_test(test_flow_from_whole_millilitres),
        cmocka_unit_test(test_slow_flow_from_whole_millilitres),
        cmocka_unit_test(test_abrupt_flow_from_volume),
        cmocka_unit_test(test_tail_in_whole_millilitres),
        cmocka_unit_test(test_volume_without_flow),
        cmocka_unit_test(test_flow_with_noise),
        cmocka_unit_test(test_volume_and_flow_with_noise),
        cmocka_unit_test(test_volume_that_disagrees),
        cmocka_unit_test(test_volume_in_the_tail),
        cmocka_unit_test(test_interrupted_flow),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
