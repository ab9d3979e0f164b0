/* What is told of doubtful signals of an anorectal manometry, and that nothing breaks it. */
#include "support/anorectal_case.h"
#include "support/assert_close.h"
#include "support/step_trace.h"

#include <math.h>
#include <stdint.h>
#include <string.h>

static const double end_s = 200.0;

/* A sawtooth of samples: never twice the same. */
static double moving(double at_s, const void *context)
{
    const double *level = context;

    return *level + (at_s * 0.7 - floor(at_s * 0.7));
}

static double *open_moving(struct synth *synth, double rate_hz)
{
    const double level = 60.0;

    synth_open(synth, RECORDING_ANORECTAL_MANOMETRY);
    return synth_channel(synth, SIGNAL_PANAL,
                         (struct synth_sampling){.rate_hz = rate_hz, .end_s = end_s}, moving,
                         &level);
}

static void fill(double *samples, size_t first, size_t count, double value)
{
    for (size_t i = first; i < first + count; i++) {
        samples[i] = value;
    }
}

/* Stretches of samples, at 200 Hz, that are told or not. A stretch of n samples lasts n - 1 steps.
 */
static void test_stretches(void **state)
{
    static const struct {
        double value;
        size_t count;
        const char *code;
        bool told;
    } cases[] = {
        {-0.01, 300, "implausible_value", true},
        {0.01, 300, "implausible_value", false},
        {399.0, 300, "implausible_value", false},
        {401.0, 300, "implausible_value", true},
        {450.0, 199, "implausible_value", false},
        {450.0, 203, "implausible_value", true},
        {300.0, 100, "clipped", false},
        {300.0, 102, "clipped", true},
        {60.5, 300, "clipped", false},
    };

    (void)state;
    for (size_t i = 0; i < sizeof cases / sizeof cases[0]; i++) {
        struct synth synth;

        fill(open_moving(&synth, 200.0), 20000, cases[i].count, cases[i].value);
        print_message("case %zu\n", i);
        assert_int_equal(synth_quality(synth_run(&synth), cases[i].code) != NULL, cases[i].told);
        synth_close(&synth);
    }
}

static void test_flat_and_missing(void **state)
{
    struct synth synth;

    (void)state;
    fill(open_moving(&synth, 10.0), 500, 310, 61.0);
    const struct quality_finding *flat = synth_quality(synth_run(&synth), "flat_line");

    assert_non_null(flat);
    assert_int_equal(flat->signal, SIGNAL_PANAL);
    assert_close(flat->from_s, 50.0, 1e-6);
    assert_close(flat->to_s, 80.9, 1e-6);
    synth_close(&synth);

    (void)open_moving(&synth, 10.0);
    synth_lose(&synth, SIGNAL_PANAL, 50.0, 50.5);
    assert_null(synth_quality(synth_run(&synth), "missing_samples"));
    synth_lose(&synth, SIGNAL_PANAL, 50.0, 53.0);
    assert_non_null(synth_quality(synth_run(&synth), "missing_samples"));
    synth_close(&synth);
}

/* 10 Hz at least; 20 Hz when there are coughs. */
static void test_sampling(void **state)
{
    static const struct {
        double rate_hz;
        bool cough;
        bool told;
    } cases[] = {{9.9, false, true}, {10.1, false, false}, {19.9, true, true}, {20.1, true, false}};

    (void)state;
    for (size_t i = 0; i < sizeof cases / sizeof cases[0]; i++) {
        struct synth synth;

        (void)open_moving(&synth, cases[i].rate_hz);
        if (cases[i].cough) {
            synth_event(&synth, EVENT_COUGH, 100.0);
        }
        assert_int_equal(synth_quality(synth_run(&synth), "low_sampling_rate") != NULL,
                         cases[i].told);
        synth_close(&synth);
    }
}

/* The level before the manoeuvres may change by 20 mmHg. */
static void test_drift(void **state)
{
    static const double changes[] = {19.9, 20.1, -20.1};
    static const bool told[] = {false, true, true};

    (void)state;
    for (size_t i = 0; i < 3; i++) {
        struct step_trace anal = step_trace_at(60.0);
        struct synth synth;

        step_trace_to(&anal, 120.0, 60.0 + changes[i]);
        synth_open(&synth, RECORDING_ANORECTAL_MANOMETRY);
        step_trace_add(&synth, SIGNAL_PANAL, 20.0, end_s, &anal);
        synth_event(&synth, EVENT_SQUEEZE, 100.0);
        synth_event(&synth, EVENT_SQUEEZE, 150.0);
        assert_int_equal(synth_quality(synth_run(&synth), "drift") != NULL, told[i]);
        synth_close(&synth);
    }
}

/* Markers within the signals are no fault; beyond them they are. */
static void test_markers(void **state)
{
    struct synth synth;

    (void)state;
    (void)open_moving(&synth, 10.0);
    synth_event(&synth, EVENT_SQUEEZE, 100.0);
    assert_null(synth_quality(synth_run(&synth), "marker_outside"));
    synth_event(&synth, EVENT_SQUEEZE, end_s + 10.0);
    assert_non_null(synth_quality(synth_run(&synth), "marker_outside"));
    synth_close(&synth);
}

/* A value that rests on a doubtful stretch of a sensor says so. */
static void test_doubt(void **state)
{
    struct synth synth;

    (void)state;
    double *samples = open_moving(&synth, 200.0);

    fill(samples, 20000, 400, 450.0);
    synth_event(&synth, EVENT_SQUEEZE, 100.0);
    const struct measure increment = synth_run(&synth)->anorectal.squeeze_increment;

    assert_int_equal(increment.doubt_count, 2);
    assert_string_equal(increment.doubts[0], "implausible_value");
    assert_string_equal(increment.doubts[1], "clipped");
    synth_close(&synth);
}

/* No anal pressure at all: everything is absent, with its reason, but what was entered. */
static void test_nothing_recorded(void **state)
{
    struct synth synth;

    (void)state;
    synth_open(&synth, RECORDING_ANORECTAL_MANOMETRY);
    synth_event(&synth, EVENT_SQUEEZE, 1.0);
    step_trace_event(&synth, EVENT_BALLOON, 2.0, 50.0);
    synth_event(&synth, EVENT_PUSH, 3.0);
    synth_event(&synth, EVENT_PULL_START, 4.0);
    const struct analysis_result *result = synth_run(&synth);
    const struct anorectal_measures *measures = &result->anorectal;

    assert_non_null(synth_quality(result, "no_anal_pressure"));
    assert_string_equal(measures->resting_pressure.reason, "no anal pressure signal");
    assert_string_equal(measures->squeeze_increment.reason, "no anal pressure signal");
    assert_string_equal(measures->rair.reason, "no anal pressure signal");
    assert_string_equal(measures->functional_canal_length.reason, "no anal pressure signal");
    assert_string_equal(measures->push_anal_relaxation.reason, "no anal pressure signal");
    assert_int_equal(measures->manoeuvres.count, 3);
    assert_int_equal(result->classification_count, 0);
    synth_close(&synth);
}

/* Absurd input gives no crash and no value that is no number. */
static void test_absurd_input(void **state)
{
    static const double values[] = {0.0, 1e6, -1e6, 1e300, (double)NAN, (double)INFINITY};
    static const size_t counts[] = {0, 1, 2, 700};
    static const double rates_hz[] = {0.01, 1.0, 1e5};
    static const double starts_s[] = {0.0, -1e6, 1e6};

    const enum event_code codes[] = {EVENT_SQUEEZE,       EVENT_LONG_SQUEEZE, EVENT_COUGH,
                                     EVENT_PUSH,          EVENT_BALLOON,      EVENT_PULL_START,
                                     EVENT_FILLING_START, EVENT_PAIN,         EVENT_REST};

    (void)state;
    for (size_t i = 0; i < 216; i++) {
        double samples[700];
        struct synth synth;

        for (size_t k = 0; k < 700; k++) {
            samples[k] = i % 2 == 0 ? values[i % 6] : values[(i + k) % 6];
        }
        synth_open(&synth, RECORDING_ANORECTAL_MANOMETRY);
        for (unsigned k = 0; k < 4; k++) {
            synth_samples(&synth, (enum signal_kind)(SIGNAL_PANAL + k), rates_hz[i / 24 % 3],
                          counts[i / 6 % 4], samples);
            synth.channels[k].start_s = starts_s[(i / 72 + k) % 3];
        }
        synth_samples(&synth, SIGNAL_PRECT, rates_hz[i / 24 % 3], counts[i / 6 % 4], samples);
        synth_samples(&synth, SIGNAL_BALLOON, 1.0, counts[i / 6 % 4], samples);
        synth_samples(&synth, SIGNAL_PULLER, 1.0, counts[i / 6 % 4], samples);
        for (size_t k = 0; k < sizeof codes / sizeof codes[0]; k++) {
            step_trace_event(&synth, codes[k], (double)k * 3.0 - 5.0, values[(i + k) % 6]);
        }
        synth.recording.conditions.anal_sensor_spacing_mm =
            (struct optional_number){true, values[i % 6]};
        synth.recording.conditions.puller_speed_mm_s =
            (struct optional_number){true, values[(i + 1) % 6]};
        const struct anorectal_measures *measures = &synth_run(&synth)->anorectal;
        const struct measure *const all[] = {
            &measures->resting_pressure,      &measures->squeeze_increment,
            &measures->cough_gradient,        &measures->rectoanal_gradient,
            &measures->rectal_compliance,     &measures->functional_canal_length,
            &measures->long_squeeze_endurance};

        for (size_t k = 0; k < sizeof all / sizeof all[0]; k++) {
            assert_true(all[k]->state == MEASURE_ABSENT || isfinite(all[k]->value));
        }
        synth_close(&synth);
    }
}

/* Memory that runs out is the only failure; what is taken grows with the samples. */
static void test_memory(void **state)
{
    const struct anorectal_case how = {.rate_hz = 5.0, .sensors = 3, .without_markers = true};
    const struct analysis_result *result = NULL;
    struct synth synth;

    (void)state;
    anorectal_case_open(&synth, how);
    const size_t before = synth.memory.allocations;

    (void)synth_run(&synth);
    const size_t needed = synth.memory.allocations - before;

    for (size_t allowed = 0; allowed < needed; allowed++) {
        synth.memory.allowed = synth.memory.allocations + allowed;
        assert_false(analysis_run(&synth.recording, NULL, &synth.memory.memory, &result));
    }
    synth.memory.allowed = synth.memory.allocations + needed;
    assert_true(analysis_run(&synth.recording, NULL, &synth.memory.memory, &result));
    synth_close(&synth);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_stretches),    cmocka_unit_test(test_flat_and_missing),
        cmocka_unit_test(test_sampling),     cmocka_unit_test(test_drift),
        cmocka_unit_test(test_markers),      cmocka_unit_test(test_doubt),
        cmocka_unit_test(test_memory),       cmocka_unit_test(test_nothing_recorded),
        cmocka_unit_test(test_absurd_input),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
