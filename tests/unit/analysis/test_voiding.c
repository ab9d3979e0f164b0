/* Rules of the voiding section: when there is one, what is absent and why, the flow delay. */
#include "support/assert_close.h"
#include "support/pressure_flow.h"

#include <string.h>

static void assert_absent(const struct measure *measure, const char *reason)
{
    assert_int_equal(measure->state, MEASURE_ABSENT);
    if (strstr(measure->reason, reason) == NULL) {
        fail_msg("reason \"%s\" does not say \"%s\"", measure->reason, reason);
    }
}

static void drop_channel(struct synth *synth, enum signal_kind signal)
{
    size_t kept = 0;

    for (size_t i = 0; i < synth->recording.channel_count; i++) {
        if (synth->channels[i].signal != signal) {
            synth->channels[kept++] = synth->channels[i];
        }
    }
    synth->recording.channel_count = kept;
}

static void test_no_flow_signal(void **state)
{
    struct synth synth;

    (void)state;
    pressure_flow_open(&synth, (struct pressure_flow_case){.rate_hz = 10.0});
    drop_channel(&synth, SIGNAL_FLOW);
    const struct analysis_result *result = synth_run(&synth);

    assert_true(result->has_voiding && result->has_filling);
    assert_absent(&result->voiding.booi, "no flow signal");
    assert_absent(&result->voiding.pdet_qmax, "no usable flow");
    assert_absent(&result->voiding.flow.qmax, "no usable flow");
    assert_close(result->voiding.flow_delay.value, 0.8, 0.0);
    synth.recording.type = RECORDING_CYSTOMETRY;
    assert_false(synth_run(&synth)->has_voiding);
    synth_close(&synth);
}

static void test_no_pressures(void **state)
{
    struct synth synth;

    (void)state;
    pressure_flow_open(&synth, (struct pressure_flow_case){.rate_hz = 10.0});
    drop_channel(&synth, SIGNAL_PABD);
    const struct voiding_measures *voiding = &synth_run(&synth)->voiding;

    assert_absent(&voiding->pdet_qmax, "no detrusor pressure");
    assert_absent(&voiding->pdet_max, "no detrusor pressure");
    assert_absent(&voiding->opening_pressure, "no detrusor pressure");
    assert_absent(&voiding->pabd_qmax, "no abdominal pressure");
    assert_absent(&voiding->booi, "no detrusor pressure at Qmax");
    assert_close(voiding->pves_qmax.value, 69.5, 1.0);
    assert_close(voiding->flow.qmax.value, pressure_flow_truth().qmax, 0.1);
    synth_close(&synth);
}

/* A leak during filling is not the voiding; nor without the marker: 7.5 mL do not start one. */
static void check_leak(bool without_permission)
{
    const struct pressure_flow_truth truth = pressure_flow_truth();
    struct synth synth;

    pressure_flow_open(&synth, (struct pressure_flow_case){
                                   .rate_hz = 10.0, .without_permission = without_permission});
    double *flow = synth_writable(&synth, SIGNAL_FLOW);

    for (size_t i = 4000; i < 4030; i++) {
        flow[i] = 2.5; /* 7.5 mL in 3 s */
    }
    const struct analysis_result *result = synth_run(&synth);

    assert_close(result->voiding.flow.voiding_time.value, truth.flow_time_s, 0.1);
    assert_close(result->voiding.flow.interruptions.value, 0.0, 0.0);
    assert_close(result->voiding.flow.voided_volume.value, truth.voided_ml, 3.0);
    assert_close(result->filling.cystometric_capacity.value, 400.0, 0.5);
    synth_close(&synth);
}

static void test_leak_before_permission(void **state)
{
    (void)state;
    check_leak(false);
    check_leak(true);
}

/* Without any marker: a leak of 15 mL while the pump runs is no voiding, and is told. */
static void test_large_leak_without_markers(void **state)
{
    const struct pressure_flow_truth truth = pressure_flow_truth();
    struct synth synth;

    (void)state;
    pressure_flow_open(&synth, (struct pressure_flow_case){.rate_hz = 10.0});
    double *flow = synth_writable(&synth, SIGNAL_FLOW);

    for (size_t i = 2000; i < 2030; i++) {
        flow[i] = 5.0;
    }
    assert_non_null(synth_quality(synth_run(&synth), "flow_during_filling"));
    synth.recording.event_count = 0;
    for (int type = RECORDING_CYSTOMETRY; type <= RECORDING_PRESSURE_FLOW; type++) {
        synth.recording.type = (enum recording_type)type;
        const struct analysis_result *result = synth_run(&synth);
        const struct quality_finding *leak = synth_quality(result, "flow_during_filling");

        assert_true(result->has_voiding);
        assert_close(result->filling.cystometric_capacity.value, 400.0, 0.5);
        assert_close(result->voiding.flow.voided_volume.value, truth.voided_ml, 3.0);
        assert_close(result->voiding.flow.interruptions.value, 0.0, 0.0);
        assert_non_null(leak);
        assert_close(leak->from_s, 200.0, 0.11);
        assert_close(leak->to_s, 203.0, 0.11);
    }
    /* With the leak alone, a cystometry has no voiding, and the end of filling is not at it. */
    for (size_t i = 5000; i < synth.recording.channels[2].sample_count; i++) {
        flow[i] = 0.0;
    }
    synth.recording.type = RECORDING_CYSTOMETRY;
    assert_false(synth_run(&synth)->has_voiding);
    assert_close(synth_run(&synth)->filling.cystometric_capacity.value, 400.0, 0.5);
    synth_close(&synth);
}

static void test_entered_delay(void **state)
{
    static const struct {
        double entered;
        double used;
        bool note;
    } rows[] = {{0.0, 0.0, false},
                {0.5, 0.5, false},
                {3.0, 3.0, false},
                {3.1, 0.8, true},
                {-0.1, 0.8, true}};

    (void)state;
    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
        struct synth synth;

        pressure_flow_open(&synth, (struct pressure_flow_case){.rate_hz = 10.0});
        synth.recording.conditions.flow_delay_s = (struct optional_number){true, rows[i].entered};
        const struct analysis_result *result = synth_run(&synth);

        assert_close(result->voiding.flow_delay.value, rows[i].used, 0.0);
        assert_int_equal(result->voiding.flow_delay.source,
                         rows[i].note ? SOURCE_COMPUTED : SOURCE_ENTERED);
        assert_int_equal(synth_quality(result, "flow_delay_out_of_range") != NULL, rows[i].note);
        assert_close(result->voiding.pdet_qmax.at_s, result->voiding.flow.qmax.at_s - rows[i].used,
                     1e-9);
        assert_non_null(result->voiding.pdet_qmax.method);
        synth_close(&synth);
    }
}

/* pdet at Qmax is never above the maximum, and minus and plus keep the identity of the indices. */
static void test_plausible_among_themselves(void **state)
{
    struct synth synth;

    (void)state;
    pressure_flow_open(&synth, (struct pressure_flow_case){.rate_hz = 25.0, .noise = 1.0});
    const struct voiding_measures *voiding = &synth_run(&synth)->voiding;

    assert_true(voiding->pdet_qmax.value <= voiding->pdet_max.value);
    assert_true(voiding->flow.qave.value <= voiding->flow.qmax.value);
    assert_true(voiding->flow.flow_time.value <= voiding->flow.voiding_time.value + 1e-9);
    assert_close(voiding->bci.value - voiding->booi.value, 7.0 * voiding->flow.qmax.value, 1e-9);
    assert_close(voiding->pves_qmax.value - voiding->pabd_qmax.value, voiding->pdet_qmax.value,
                 1e-6);
    synth_close(&synth);
}

/* A pressure-flow recording of the voiding alone has no filling. */
static void test_voiding_alone(void **state)
{
    static const struct half_sine shape = {10.0, 30.0, 15.0};
    static const double pdet = 45.0;
    const struct synth_sampling sampling = {.rate_hz = 10.0, .end_s = 60.0, .noise = 0.1};
    struct synth synth;

    (void)state;
    synth_open(&synth, RECORDING_PRESSURE_FLOW);
    synth_channel(&synth, SIGNAL_FLOW, sampling, half_sine_value, &shape);
    synth_channel(&synth, SIGNAL_PDET, sampling, constant_value, &pdet);
    const struct analysis_result *result = synth_run(&synth);

    assert_false(result->has_filling);
    assert_true(result->has_voiding);
    assert_close(result->voiding.pdet_qmax.value, 45.0, 0.2);
    synth_close(&synth);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_no_flow_signal),
        cmocka_unit_test(test_no_pressures),
        cmocka_unit_test(test_leak_before_permission),
        cmocka_unit_test(test_large_leak_without_markers),
        cmocka_unit_test(test_entered_delay),
        cmocka_unit_test(test_plausible_among_themselves),
        cmocka_unit_test(test_voiding_alone),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
