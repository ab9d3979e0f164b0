/* Every limit of the voiding section: how long its averages are, which delays are taken, and how
 * finely an index is compared. */
#include "support/assert_close.h"
#include "support/flip.h"
#include "support/step_trace.h"

#include "analysis/classify.h"

#include <math.h>

static const double flow_from_s = 60.0;
static const double flow_to_s = 90.0;
static const double end_s = 120.0;
static const double pdet_level = 30.0;

/* A voiding of 30 s at 12 mL/s without any delay, at a steady pdet. Returns the samples of pdet. */
static double *open_voiding(struct synth *synth, double rate_hz)
{
    struct step_trace flow = step_trace_at(0.0);
    const struct step_trace pdet = step_trace_at(pdet_level);

    step_trace_pulse(&flow, flow_from_s, flow_to_s, 12.0);
    synth_open(synth, RECORDING_PRESSURE_FLOW);
    step_trace_add(synth, SIGNAL_FLOW, rate_hz, end_s, &flow);
    synth->recording.conditions.flow_delay_s = (struct optional_number){true, 0.0};
    return step_trace_add(synth, SIGNAL_PDET, rate_hz, end_s, &pdet);
}

/* ---- Averages ---- */

/* Over how many samples a single one is spread in the largest pdet, and in the opening and closing
 * pressure, when it lies where they are read. */
static double samples_of_largest(double rate_hz)
{
    struct synth synth;
    double *pdet = open_voiding(&synth, rate_hz);

    pdet[(size_t)(75.0 * rate_hz)] += 100.0;
    const double rise = synth_run(&synth)->voiding.pdet_max.value - pdet_level;

    synth_close(&synth);
    return 100.0 / rise;
}

static double samples_of_opening(double rate_hz)
{
    struct synth synth;
    double *pdet = open_voiding(&synth, rate_hz);

    pdet[(size_t)(flow_from_s * rate_hz)] += 100.0;
    const double rise = synth_run(&synth)->voiding.opening_pressure.value - pdet_level;

    synth_close(&synth);
    return 100.0 / rise;
}

static double samples_of_closing(double rate_hz)
{
    struct synth synth;
    double *pdet = open_voiding(&synth, rate_hz);

    pdet[(size_t)(flow_to_s * rate_hz)] += 100.0;
    const double rise = synth_run(&synth)->voiding.closing_pressure.value - pdet_level;

    synth_close(&synth);
    return 100.0 / rise;
}

/* Half a second to both sides of a maximum: 25 samples at 50 Hz, 24 at 49.5 Hz. */
static void test_average_of_maximum(void **state)
{
    (void)state;
    assert_close(samples_of_largest(50.0), 51.0, 1e-6);
    assert_close(samples_of_largest(49.5), 49.0, 1e-6);
}

/* A quarter of a second to both sides of opening and closing: 12 samples at 48 Hz, 11 at 47.5. */
static void test_average_of_edges(void **state)
{
    (void)state;
    assert_close(samples_of_opening(48.0), 25.0, 1e-6);
    assert_close(samples_of_opening(47.5), 23.0, 1e-6);
    assert_close(samples_of_closing(48.0), 25.0, 1e-6);
    assert_close(samples_of_closing(47.5), 23.0, 1e-6);
}

/* ---- Delay ---- */

static bool is_delay_taken(double delay_s)
{
    struct synth synth;

    (void)open_voiding(&synth, 10.0);
    synth.recording.conditions.flow_delay_s = (struct optional_number){true, delay_s};
    const struct analysis_result *result = synth_run(&synth);
    const bool taken = result->voiding.flow_delay.source == SOURCE_ENTERED;

    assert_close(result->voiding.flow_delay.value, taken ? delay_s : 0.8, 1e-12);
    assert_int_equal(synth_quality(result, "flow_delay_out_of_range") == NULL, taken);
    synth_close(&synth);
    return taken;
}

/* An entered delay from 0 to 3 s is taken; else it is 0.8 s. */
static void test_delay(void **state)
{
    (void)state;
    assert_close(flip_between(is_delay_taken, 2.0, 4.0), 3.0, 0.005);
    assert_close(flip_between(is_delay_taken, -0.1, 0.1), 0.0, 0.005);
}

/* ---- Grain ---- */

static bool is_above(double index)
{
    return classify_above(index, 0.0);
}

static bool is_below(double index)
{
    return classify_below(index, 0.0);
}

/* An index is compared in steps of a millionth, and so on its limit up to half of one. */
static void test_grain(void **state)
{
    (void)state;
    assert_close(flip_between(is_above, 0.0, 1e-6), 0.5e-6, 0.002e-6);
    assert_close(flip_between(is_below, 0.0, -1e-6), -0.5e-6, 0.002e-6);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_average_of_maximum),
        cmocka_unit_test(test_average_of_edges),
        cmocka_unit_test(test_delay),
        cmocka_unit_test(test_grain),
    };

    return cmocka_run_group_tests_name("voiding: limits", tests, NULL, NULL);
}
