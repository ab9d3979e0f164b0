/* The anal pressure of several sensors, and its resting level. */
#include "support/assert_close.h"
#include "support/step_trace.h"

#include <math.h>
#include <string.h>

static const double fast_hz = 200.0;

static void open_case(struct synth *synth)
{
    synth_open(synth, RECORDING_ANORECTAL_MANOMETRY);
}

/* The highest of the sensors counts at each instant, whichever it is, of any rate and start. */
static void test_highest_sensor(void **state)
{
    struct step_trace low = step_trace_at(40.0);
    struct step_trace high = step_trace_at(60.0);
    struct synth synth;

    (void)state;
    step_trace_pulse(&low, 100.0, 105.0, 150.0);
    step_trace_pulse(&high, 140.0, 145.0, 130.0);
    open_case(&synth);
    step_trace_add(&synth, SIGNAL_PANAL1, 10.0, 200.0, &low);
    step_trace_add(&synth, SIGNAL_PANAL2, 25.0, 190.0, &high);
    synth.channels[0].start_s = 0.03;
    synth_event(&synth, EVENT_SQUEEZE, 100.0);
    synth_event(&synth, EVENT_SQUEEZE, 140.0);
    const struct anorectal_measures *measures = &synth_run(&synth)->anorectal;

    assert_close(measures->resting_pressure.value, 60.0, 1e-9);
    assert_close(measures->squeeze_increment.value, 90.0, 1e-9);
    assert_close(measures->squeeze_pressure_max.value, 150.0, 1e-9);
    synth_close(&synth);
}

/* Where the highest sensor has a gap, the pressure is not known: the next one is not taken. */
static void test_gap_of_the_highest(void **state)
{
    struct step_trace low = step_trace_at(40.0);
    struct step_trace high = step_trace_at(60.0);
    struct synth synth;

    (void)state;
    open_case(&synth);
    step_trace_add(&synth, SIGNAL_PANAL1, 10.0, 200.0, &low);
    step_trace_add(&synth, SIGNAL_PANAL2, 10.0, 200.0, &high);
    synth_lose(&synth, SIGNAL_PANAL2, 100.0, 112.0);
    synth_event(&synth, EVENT_PUSH, 98.0);
    const struct analysis_result *result = synth_run(&synth);

    assert_close(result->anorectal.push_anal_residual.value, 60.0, 1e-9);
    assert_non_null(synth_quality(result, "missing_samples"));
    synth_close(&synth);
    /* A gap of the lower one means nothing. */
    open_case(&synth);
    step_trace_add(&synth, SIGNAL_PANAL1, 10.0, 200.0, &low);
    step_trace_add(&synth, SIGNAL_PANAL2, 10.0, 200.0, &high);
    synth_lose(&synth, SIGNAL_PANAL1, 100.0, 140.0);
    synth_event(&synth, EVENT_SQUEEZE, 120.0);
    assert_int_equal(synth_run(&synth)->anorectal.squeeze_pressure_max.state, MEASURE_PRESENT);
    synth_close(&synth);
}

/* Sawtooth, so that the line never stands still. */
static double moving(double at_s, const void *context)
{
    (void)context;
    return 50.0 + 2.0 * (at_s * 0.7 - floor(at_s * 0.7));
}

/* A sensor that stands still for half of its length is dead beside one that moves within 5 s. */
static void test_dead_sensor(void **state)
{
    static const struct {
        double still_s; /* of 200 s */
        double other_s; /* longest standstill of the other one */
        bool dead;
    } cases[] = {{101.0, 4.95, true}, {99.0, 4.95, false}, {101.0, 5.05, false}};

    (void)state;
    for (size_t i = 0; i < sizeof cases / sizeof cases[0]; i++) {
        struct synth synth;

        open_case(&synth);
        const struct synth_sampling sampling = {.rate_hz = 100.0, .end_s = 200.0};
        double *first = synth_channel(&synth, SIGNAL_PANAL1, sampling, moving, NULL);
        double *second = synth_channel(&synth, SIGNAL_PANAL2, sampling, moving, NULL);

        for (size_t k = 0; (double)k < cases[i].still_s * 100.0; k++) {
            second[k] = 300.0;
        }
        for (size_t k = 0; (double)k < cases[i].other_s * 100.0; k++) {
            first[k] = 50.0;
        }
        const struct analysis_result *result = synth_run(&synth);

        assert_int_equal(synth_quality(result, "dead_sensor") != NULL, cases[i].dead);
        assert_int_equal(result->anorectal.resting_pressure.value < 55.0, cases[i].dead);
        synth_close(&synth);
    }
}

/* The minute from the marker on, wherever it lies; shorter when a manoeuvre follows; at least 10 s.
 */
static void test_marked_rest(void **state)
{
    static const struct {
        double squeeze_s;
        double length_s; /* 0: absent */
        const char *says;
    } cases[] = {{190.0, 60.0, "mean over 60 s from the rest marker"},
                 {142.0, 40.0, "shorter than 60 s"},
                 {112.1, 10.1, "shorter than 60 s"},
                 {111.9, 0.0, "absent"}};

    (void)state;
    for (size_t i = 0; i < sizeof cases / sizeof cases[0]; i++) {
        struct step_trace anal = step_trace_at(60.0);
        struct synth synth;

        step_trace_ramp(&anal, 100.0, 60.0);
        step_trace_ramp(&anal, 160.0, 120.0);
        step_trace_ramp(&anal, 170.0, 120.0);
        open_case(&synth);
        step_trace_add(&synth, SIGNAL_PANAL, fast_hz, 210.0, &anal);
        synth_event(&synth, EVENT_REST, 100.0);
        synth_event(&synth, EVENT_SQUEEZE, cases[i].squeeze_s);
        const struct measure rest = synth_run(&synth)->anorectal.resting_pressure;

        if (cases[i].length_s > 0.0) {
            assert_close(rest.parts[0].value, cases[i].length_s, 0.02);
            assert_close(rest.value, 60.0 + 0.5 * cases[i].length_s, 0.1);
            assert_non_null(rest.method);
            assert_non_null(strstr(rest.method, cases[i].says));
        } else {
            assert_int_equal(rest.state, MEASURE_ABSENT);
        }
        synth_close(&synth);
    }
}

static double restless(double at_s, const void *context)
{
    (void)context;
    return 100.0 + (at_s < 70.0 ? 0.0 : 3.0 * sin(at_s));
}

/* Without marker: the quietest minute, but not where the catheter lies outside the canal. */
static void test_quietest_minute(void **state)
{
    static const struct {
        double first; /* level of the quiet 70 s at the beginning; 100 is usual */
        double rest;
    } cases[] = {{50.5, 50.5}, {49.5, 100.0}, {100.0, 100.0}};

    (void)state;
    for (size_t i = 0; i < sizeof cases / sizeof cases[0]; i++) {
        struct synth synth;

        open_case(&synth);
        double *samples = synth_channel(&synth, SIGNAL_PANAL,
                                        (struct synth_sampling){.rate_hz = fast_hz, .end_s = 400.0},
                                        restless, NULL);

        for (size_t k = 0; k < 14000; k++) {
            samples[k] = cases[i].first;
        }
        const struct measure rest = synth_run(&synth)->anorectal.resting_pressure;

        assert_close(rest.value, cases[i].rest, 0.5);
        assert_close(rest.parts[0].value, 60.0, 0.01);
        synth_close(&synth);
    }
}

/* No full minute before the first manoeuvre: the quietest one between them; else the longest
 * stretch.
 */
static void test_rest_between(void **state)
{
    struct step_trace anal = step_trace_at(60.0);
    struct synth synth;

    (void)state;
    step_trace_to(&anal, 60.0, 80.0);
    open_case(&synth);
    step_trace_add(&synth, SIGNAL_PANAL, 10.0, 150.0, &anal);
    synth_event(&synth, EVENT_SQUEEZE, 50.0);
    struct measure rest = synth_run(&synth)->anorectal.resting_pressure;

    assert_close(rest.value, 80.0, 0.5);
    assert_close(rest.parts[0].value, 60.0, 0.01);
    synth_event(&synth, EVENT_SQUEEZE, 100.0);
    rest = synth_run(&synth)->anorectal.resting_pressure;
    assert_close(rest.value, 60.0, 0.5);
    assert_close(rest.parts[0].value, 48.0, 1.0);
    assert_non_null(synth_quality(synth_run(&synth), "short_rest"));
    for (int i = 0; i < 14; i++) {
        synth_event(&synth, EVENT_SQUEEZE, 5.0 + 10.0 * i);
    }
    rest = synth_run(&synth)->anorectal.resting_pressure;
    assert_int_equal(rest.state, MEASURE_ABSENT);
    assert_non_null(synth_quality(synth_run(&synth), "no_rest"));
    synth_close(&synth);
}

/* What is more than 15 mmHg off the median of 10 s is cut, if it lasts less than half of these. */
static void test_artefacts(void **state)
{
    static const struct {
        double rate_hz;
        double length_s;
        double height;
        bool cut;
    } cases[] = {{200.0, 3.0, 14.9, false},   {200.0, 3.0, 15.1, true},  {50.0, 5.0, 30.0, true},
                 {49.5, 5.0505, 30.0, false}, {200.0, 5.2, 30.0, true},  {200.0, 6.0, 30.0, false},
                 {200.0, 3.0, -15.1, true},   {200.0, 3.0, -14.9, false}};

    (void)state;
    for (size_t i = 0; i < sizeof cases / sizeof cases[0]; i++) {
        const double rate_hz = cases[i].rate_hz;
        const double block_s = ceil(0.5 * rate_hz) / rate_hz;
        const double from_s = 100.0 + 40.0 * block_s;
        struct step_trace anal = step_trace_at(60.0);
        struct synth synth;

        step_trace_pulse(&anal, from_s, from_s + cases[i].length_s, 60.0 + cases[i].height);
        open_case(&synth);
        step_trace_add(&synth, SIGNAL_PANAL, rate_hz, 200.0, &anal);
        synth_event(&synth, EVENT_REST, 100.0);
        synth_event(&synth, EVENT_SQUEEZE, 190.0); /* so that none is sought */
        const double off = synth_run(&synth)->anorectal.resting_pressure.value - 60.0;
        const double whole = cases[i].height * cases[i].length_s / 60.0;

        print_message("case %zu: %g of %g\n", i, off, whole);
        assert_int_equal(fabs(off) < 0.5 * fabs(whole), cases[i].cut);
        synth_close(&synth);
    }
}

/* Squeezes are read on 0.5 s means: a pulse of 0.1 s counts for 20 of 101 samples at 200 Hz. Pushes
 * on 1 s means: 20 of 201; coughs on means of 0.06 s: one of 13 samples, one of 11 at 197 Hz. */
static void test_averages(void **state)
{
    struct step_trace pulse = step_trace_at(60.0);
    struct step_trace rectal = step_trace_at(10.0);
    struct synth synth;

    (void)state;
    step_trace_pulse(&pulse, 100.0, 100.1, 160.0);
    step_trace_pulse(&rectal, 140.0, 140.1, 110.0);
    open_case(&synth);
    step_trace_add(&synth, SIGNAL_PANAL, fast_hz, 200.0, &pulse);
    step_trace_add(&synth, SIGNAL_PRECT, fast_hz, 200.0, &rectal);
    synth_event(&synth, EVENT_SQUEEZE, 100.0);
    synth_event(&synth, EVENT_PUSH, 140.0);
    const struct anorectal_measures *measures = &synth_run(&synth)->anorectal;

    assert_close(measures->squeeze_increment.value, 2000.0 / 101.0, 1e-6);
    assert_close(measures->push_rectal_rise.value, 2000.0 / 201.0, 1e-6);
    synth_close(&synth);

    static const double rates_hz[] = {200.0, 197.0};
    static const double windows[] = {13.0, 11.0};

    for (size_t i = 0; i < 2; i++) {
        struct step_trace flat = step_trace_at(60.0);

        open_case(&synth);
        double *samples = step_trace_add(&synth, SIGNAL_PANAL, rates_hz[i], 200.0, &flat);

        samples[(size_t)(100.5 * rates_hz[i])] = 190.0;
        synth_event(&synth, EVENT_COUGH, 100.0);
        assert_close(synth_run(&synth)->anorectal.cough_increment.value, 130.0 / windows[i], 1e-6);
        synth_close(&synth);
    }
}

/* Faster channels become means of blocks, of at most 200 a second: two samples at 400 Hz, and at
 * 203.
 */
static void test_rate(void **state)
{
    static const double rates_hz[] = {400.0, 203.0, 199.0};
    static const double shares[] = {0.5, 0.5, 1.0};

    (void)state;
    for (size_t i = 0; i < 3; i++) {
        const size_t at = 2 * (size_t)(50.25 * rates_hz[i]);
        struct step_trace flat = step_trace_at(60.0);
        struct synth synth;

        open_case(&synth);
        double *samples = step_trace_add(&synth, SIGNAL_PANAL, rates_hz[i], 200.0, &flat);

        samples[at] = 190.0;
        synth_event(&synth, EVENT_COUGH, 100.0);
        const double reduced_hz = rates_hz[i] * shares[i];
        const double window = 2.0 * floor(0.03 * reduced_hz + 1e-6) + 1.0;

        assert_close(synth_run(&synth)->anorectal.cough_increment.value, 130.0 * shares[i] / window,
                     1e-6);
        synth_close(&synth);
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_highest_sensor),
        cmocka_unit_test(test_gap_of_the_highest),
        cmocka_unit_test(test_dead_sensor),
        cmocka_unit_test(test_marked_rest),
        cmocka_unit_test(test_quietest_minute),
        cmocka_unit_test(test_rest_between),
        cmocka_unit_test(test_artefacts),
        cmocka_unit_test(test_averages),
        cmocka_unit_test(test_rate),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
