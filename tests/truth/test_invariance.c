/* Properties that hold whatever the numbers are. */
#include "support/assert_close.h"
#include "support/pressure_flow.h"

#include "analysis/catalogue.h"

#include <string.h>

static bool is_resting_pressure(const char *code)
{
    return strcmp(code, "pves_baseline") == 0 || strcmp(code, "pabd_baseline") == 0;
}

static bool is_total_pressure(const char *code)
{
    return is_resting_pressure(code) || strncmp(code, "pves_", 5) == 0 ||
           strncmp(code, "pabd_", 5) == 0;
}

/* Every measure of both is in the same state; values agree within a share of themselves, after
 * `add_cmh2o` on total pressures; moments after `shift_s`. */
static void assert_same(const struct analysis_result *changed, const struct analysis_result *base,
                        double share, double add_cmh2o, double shift_s, double time_s)
{
    for (size_t i = 0; i < catalogue_count(); i++) {
        const struct catalogue_row *row = catalogue_row(i);
        const struct measure *now = catalogue_measure(row, changed);
        const struct measure *then = catalogue_measure(row, base);
        const double expected = then->value + (is_total_pressure(row->code) ? add_cmh2o : 0.0);

        if (now->state != then->state) {
            print_error("%s.%s\n", row->section, row->code);
        }
        assert_int_equal(now->state, then->state);
        if (now->state != MEASURE_PRESENT) {
            continue;
        }
        assert_int_equal(now->has_time, then->has_time);
        if (row->kind == CATALOGUE_WORD) {
            assert_string_equal(now->word, then->word);
            continue;
        }
        assert_close(now->value, expected, share * (1.0 + (expected < 0 ? -expected : expected)));
        if (now->has_time) {
            assert_close(now->at_s - shift_s, then->at_s, time_s);
        }
    }
}

static void compare(struct pressure_flow_case changed, double share, double time_s)
{
    struct pressure_flow_case base = changed;
    struct synth one;
    struct synth other;

    base.shift_s = 0.0;
    base.add_cmh2o = 0.0;
    pressure_flow_open(&one, base);
    pressure_flow_open(&other, changed);
    assert_same(synth_run(&other), synth_run(&one), share, changed.add_cmh2o, changed.shift_s,
                time_s);
    synth_close(&one);
    synth_close(&other);
}

static void test_time_shift(void **state)
{
    (void)state;
    compare((struct pressure_flow_case){.rate_hz = 10.0, .noise = 0.5, .shift_s = 1000.0}, 1e-6,
            1e-6);
    compare((struct pressure_flow_case){.rate_hz = 25.0, .noise = 0.5, .shift_s = -77.3}, 1e-6,
            1e-6);
}

static void test_constant_on_both_pressures(void **state)
{
    (void)state;
    compare((struct pressure_flow_case){.rate_hz = 10.0, .noise = 0.5, .add_cmh2o = 17.0}, 1e-9,
            1e-9);
    compare((struct pressure_flow_case){.rate_hz = 10.0, .noise = 0.5, .add_cmh2o = -12.0}, 1e-9,
            1e-9);
}

static void test_double_rate(void **state)
{
    struct synth one;
    struct synth other;

    (void)state;
    pressure_flow_open(&one, (struct pressure_flow_case){.rate_hz = 10.0});
    pressure_flow_open(&other, (struct pressure_flow_case){.rate_hz = 20.0});
    assert_same(synth_run(&other), synth_run(&one), 0.005, 0.0, 0.0, 0.11);
    synth_close(&one);
    synth_close(&other);
}

/* Samples of flow lost for less than is bridged move nothing much. */
static void test_short_gap(void **state)
{
    struct synth one;
    struct synth other;

    (void)state;
    pressure_flow_open(&one, (struct pressure_flow_case){.rate_hz = 10.0});
    pressure_flow_open(&other, (struct pressure_flow_case){.rate_hz = 10.0});
    synth_lose(&other, SIGNAL_FLOW, 555.0, 555.7);
    const struct analysis_result *result = synth_run(&other);

    assert_same(result, synth_run(&one), 0.005, 0.0, 0.0, 0.11);
    assert_non_null(synth_quality(result, "missing_samples"));
    assert_null(synth_quality(result, "flow_gap"));
    synth_close(&one);
    synth_close(&other);
}

/* Samples of flow lost for longer: what needs the whole curve is absent, the rest stays. */
static void test_long_gap(void **state)
{
    struct synth synth;

    (void)state;
    pressure_flow_open(&synth, (struct pressure_flow_case){.rate_hz = 10.0});
    synth_lose(&synth, SIGNAL_FLOW, 553.0, 556.0);
    const struct analysis_result *result = synth_run(&synth);
    const struct flow_measures *flow = &result->voiding.flow;
    const struct quality_finding *finding = synth_quality(result, "missing_samples");

    assert_non_null(finding);
    assert_close(finding->from_s, 552.9, 0.05);
    assert_close(finding->to_s, 556.1, 0.05);
    assert_non_null(synth_quality(result, "flow_gap"));
    assert_int_equal(flow->voided_volume.state, MEASURE_ABSENT);
    assert_int_equal(flow->qave.state, MEASURE_ABSENT);
    assert_int_equal(flow->flow_time.state, MEASURE_ABSENT);
    assert_non_null(flow->voided_volume.reason);
    assert_close(flow->voiding_time.value, pressure_flow_truth().flow_time_s, 0.1);
    assert_close(flow->qmax.value, pressure_flow_truth().qmax, 0.2);
    synth_close(&synth);
}

/* Pressure lost at Qmax: the values that need it are absent, also the indices. */
static void test_pressure_lost_at_qmax(void **state)
{
    struct synth synth;

    (void)state;
    pressure_flow_open(&synth, (struct pressure_flow_case){.rate_hz = 10.0});
    synth_lose(&synth, SIGNAL_PABD, 560.0, 568.0);
    const struct voiding_measures *voiding = &synth_run(&synth)->voiding;

    assert_int_equal(voiding->pdet_qmax.state, MEASURE_ABSENT);
    assert_int_equal(voiding->pabd_qmax.state, MEASURE_ABSENT);
    assert_int_equal(voiding->pves_qmax.state, MEASURE_PRESENT);
    assert_int_equal(voiding->booi.state, MEASURE_ABSENT);
    assert_int_equal(voiding->bci.state, MEASURE_ABSENT);
    assert_string_equal(voiding->booi.reason, "no detrusor pressure at Qmax");
    synth_close(&synth);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_time_shift),  cmocka_unit_test(test_constant_on_both_pressures),
        cmocka_unit_test(test_double_rate), cmocka_unit_test(test_short_gap),
        cmocka_unit_test(test_long_gap),    cmocka_unit_test(test_pressure_lost_at_qmax),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
