/* Where a value is no longer plausible, and what is told of it: each limit on both sides. */
#include "support/assert_close.h"
#include "support/flip.h"
#include "support/step_trace.h"

#include "analysis/study.h"

#include <math.h>
#include <string.h>

static size_t count_code(const struct analysis_result *result, const char *code)
{
    size_t count = 0;

    for (size_t i = 0; i < result->quality_count; i++) {
        count += strcmp(result->quality[i].code, code) == 0 ? 1 : 0;
    }
    return count;
}

/* ---- Flow and volumes ---- */

/* A flow of a second's rise, 10 s, and a second's fall. */
static bool is_flow_told(double qmax_ml_s)
{
    const double points[][2] = {{20.0, 0.0}, {22.0, qmax_ml_s}, {30.0, qmax_ml_s}, {32.0, 0.0}};
    const struct polyline line = {4, points};
    struct synth synth;

    synth_open(&synth, RECORDING_UROFLOWMETRY);
    synth_channel(&synth, SIGNAL_FLOW, (struct synth_sampling){.rate_hz = 10.0, .end_s = 60.0},
                  polyline_value, &line);
    const struct quality_finding *finding = synth_quality(synth_run(&synth), "implausible_value");
    const bool told = finding != NULL && finding->has_span;

    synth_close(&synth);
    return told;
}

/* A flow of 20 mL/s that holds so much. */
static bool is_volume_told(double volume_ml)
{
    struct step_trace flow = step_trace_at(0.0);
    struct synth synth;

    step_trace_pulse(&flow, 20.0, 70.0, volume_ml / 50.0);
    synth_open(&synth, RECORDING_UROFLOWMETRY);
    step_trace_add(&synth, SIGNAL_FLOW, 10.0, 100.0, &flow);
    const bool told = synth_quality(synth_run(&synth), "implausible_value") != NULL;

    synth_close(&synth);
    return told;
}

/* Qmax up to 60 mL/s, a voided volume up to 1000 mL. */
static void test_flow(void **state)
{
    (void)state;
    assert_close(flip_between(is_flow_told, 50.0, 70.0), 60.0, 0.05);
    assert_close(flip_between(is_volume_told, 900.0, 1100.0), 1000.0, 1.0);
}

/* ---- Entries ---- */

static bool is_patient_told(struct optional_number weight_kg, struct optional_number residual_ml)
{
    struct synth synth;

    synth_open(&synth, RECORDING_UROFLOWMETRY);
    synth.recording.weight_kg = weight_kg;
    synth.recording.conditions.post_void_residual_ml = residual_ml;
    const bool told = synth_quality(synth_run(&synth), "implausible_value") != NULL;

    synth_close(&synth);
    return told;
}

static bool is_weight_told(double weight_kg)
{
    return is_patient_told((struct optional_number){true, weight_kg},
                           (struct optional_number){false, 0.0});
}

static bool is_residual_told(double residual_ml)
{
    return is_patient_told((struct optional_number){false, 0.0},
                           (struct optional_number){true, residual_ml});
}

static bool is_age_unknown(double age_years)
{
    struct synth synth;

    synth_open(&synth, RECORDING_UROFLOWMETRY);
    synth.recording.age_years = (struct optional_number){true, age_years};
    const bool told = synth_quality(synth_run(&synth), "age_unknown") != NULL;

    synth_close(&synth);
    return told;
}

/* A weight from 2 to 250 kg, a residual up to 1000 mL, an age up to 125 years. */
static void test_entries(void **state)
{
    (void)state;
    assert_close(flip_between(is_weight_told, 1.0, 3.0), 2.0, 0.005);
    assert_close(flip_between(is_weight_told, 240.0, 260.0), 250.0, 0.1);
    assert_close(flip_between(is_residual_told, 900.0, 1100.0), 1000.0, 0.2);
    assert_close(flip_between(is_age_unknown, 115.0, 135.0), 125.0, 0.1);
}

/* ---- Pressures ---- */

static void open_pressure(struct synth *synth, const struct step_trace *pves)
{
    synth_open(synth, RECORDING_CYSTOMETRY);
    step_trace_add(synth, SIGNAL_PVES, 50.0, 120.0, pves);
}

/* pves at another level for a while. */
static bool is_pressure_told_for(double level, double length_s)
{
    struct step_trace pves = step_trace_at(20.0);
    struct synth synth;

    step_trace_pulse(&pves, 60.0, 60.0 + length_s, level);
    open_pressure(&synth, &pves);
    const bool told = synth_quality(synth_run(&synth), "implausible_value") != NULL;

    synth_close(&synth);
    return told;
}

static bool is_pressure_told(double level)
{
    return is_pressure_told_for(level, 5.0);
}

/* From -10 to 250 cmH2O; else when it lasts a second, which is 50 steps and so 51 samples. */
static void test_pressure(void **state)
{
    (void)state;
    assert_close(flip_between(is_pressure_told, -5.0, -15.0), -10.0, 0.05);
    assert_close(flip_between(is_pressure_told, 240.0, 260.0), 250.0, 0.1);
    assert_true(is_pressure_told_for(300.0, 51.0 / 50.0));
    assert_false(is_pressure_told_for(300.0, 50.0 / 50.0));
}

/* At 49.5 Hz a second holds 49 whole steps, and so 50 samples tell. */
static void test_pressure_of_a_second(void **state)
{
    static const double rates_hz[] = {50.0, 49.5};
    static const size_t least[] = {51, 50};

    (void)state;
    for (size_t i = 0; i < 2; i++) {
        for (size_t less = 0; less < 2; less++) {
            const struct step_trace pves = step_trace_at(20.0);
            struct synth synth;

            synth_open(&synth, RECORDING_CYSTOMETRY);
            double *samples = step_trace_add(&synth, SIGNAL_PVES, rates_hz[i], 120.0, &pves);

            for (size_t k = 0; k < least[i] - less; k++) {
                samples[2000 + k] = 300.0;
            }
            assert_int_equal(count_code(synth_run(&synth), "implausible_value"), 1 - less);
            synth_close(&synth);
        }
    }
}

/* pdet as uploaded so much off, for a number of samples of 5000. */
static bool is_mismatch(double difference, size_t count)
{
    const struct step_trace pves = step_trace_at(25.0);
    const struct step_trace pabd = step_trace_at(20.0);
    const struct step_trace pdet = step_trace_at(5.0);
    struct synth synth;

    synth_open(&synth, RECORDING_CYSTOMETRY);
    step_trace_add(&synth, SIGNAL_PVES, 50.0, 99.98, &pves);
    step_trace_add(&synth, SIGNAL_PABD, 50.0, 99.98, &pabd);
    double *samples = step_trace_add(&synth, SIGNAL_PDET, 50.0, 99.98, &pdet);

    assert_int_equal(synth.channels[0].sample_count, 5000);
    for (size_t i = 0; i < count; i++) {
        samples[1000 + i] += difference;
    }
    const bool told = synth_quality(synth_run(&synth), "pdet_mismatch") != NULL;

    synth_close(&synth);
    return told;
}

static bool is_mismatch_by(double difference)
{
    return is_mismatch(difference, 1000);
}

static bool is_mismatch_in(double count)
{
    return is_mismatch(8.0, (size_t)count);
}

/* More than 5 cmH2O off in more than a hundredth of the samples: in 51 of 5000. */
static void test_mismatch(void **state)
{
    (void)state;
    assert_close(flip_between(is_mismatch_by, 4.0, 6.0), 5.0, 0.01);
    assert_close(flip_between(is_mismatch_by, -4.0, -6.0), -5.0, 0.01);
    assert_close(flip_between(is_mismatch_in, 40.0, 60.0), 51.0, 0.02);
}

/* pves stands still for so long, else it moves from sample to sample. */
static bool is_flat_for(double length_s)
{
    const struct step_trace pves = step_trace_at(20.0);
    struct synth synth;

    synth_open(&synth, RECORDING_CYSTOMETRY);
    double *samples = step_trace_add(&synth, SIGNAL_PVES, 50.0, 120.0, &pves);

    for (size_t i = 0; i < synth.channels[0].sample_count; i++) {
        const double off_s = (double)i / 50.0 - 40.0;

        samples[i] += i % 2 == 0 && !(off_s >= -1e-6 && off_s <= length_s + 1e-6) ? 0.4 : 0.0;
    }
    const bool told = synth_quality(synth_run(&synth), "flat_line") != NULL;

    synth_close(&synth);
    return told;
}

/* Dead when it does not move for half a minute. */
static void test_flat(void **state)
{
    (void)state;
    assert_close(flip_between(is_flat_for, 25.0, 35.0), 30.0, 0.05);
}

/* ---- What is told ---- */

/* A resting level that is read at 27.5 s, and a loss of samples that ends `before_s` before. */
static bool is_doubtful(double before_s)
{
    const struct step_trace pves = step_trace_at(20.0);
    struct synth synth;

    open_pressure(&synth, &pves);
    synth_event(&synth, EVENT_FILLING_START, 30.0);
    synth_lose(&synth, SIGNAL_PVES, 10.0, 27.5 - before_s - 0.02);
    const struct measure *level = &synth_run(&synth)->filling.pves_baseline;

    bool doubtful = false;

    assert_close(level->at_s, 27.5, 1e-6);
    for (size_t i = 0; i < level->doubt_count; i++) {
        doubtful = doubtful || strcmp(level->doubts[i], "missing_samples") == 0;
    }
    synth_close(&synth);
    return doubtful;
}

/* A value is doubtful when something is told within a second of it. */
static void test_doubt(void **state)
{
    (void)state;
    assert_close(flip_between(is_doubtful, 0.5, 1.5), 1.0, 0.01);
}

/* Ten losses of samples are told one by one, and the rest as one. */
static void test_listed(void **state)
{
    static const size_t losses[] = {9, 10, 11, 12, 13, 20};
    static const size_t told[] = {9, 10, 11, 11, 11, 11};

    (void)state;
    for (size_t i = 0; i < sizeof losses / sizeof losses[0]; i++) {
        const struct step_trace pves = step_trace_at(20.0);
        struct synth synth;

        open_pressure(&synth, &pves);
        for (size_t k = 0; k < losses[i]; k++) {
            synth_lose(&synth, SIGNAL_PVES, 10.0 + 5.0 * (double)k, 11.0 + 5.0 * (double)k);
        }
        assert_int_equal(count_code(synth_run(&synth), "missing_samples"), told[i]);
        synth_close(&synth);
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_flow),     cmocka_unit_test(test_entries),
        cmocka_unit_test(test_pressure), cmocka_unit_test(test_pressure_of_a_second),
        cmocka_unit_test(test_mismatch), cmocka_unit_test(test_flat),
        cmocka_unit_test(test_doubt),    cmocka_unit_test(test_listed),
    };

    return cmocka_run_group_tests_name("plausible: limits", tests, NULL, NULL);
}
