/* Every limit of the filling section, on both sides of it, on lines of levels and steps: where
 * pressures are read, how infusion is told, and what compliance and rest are compared with. */
#include "support/assert_close.h"
#include "support/flip.h"
#include "support/step_trace.h"

#include "analysis/filling/infusion.h"
#include "analysis/measure.h"

#include <math.h>
#include <string.h>

enum { ROOM = 64 };

static const double fill_start_s = 30.0;
static const double fill_end_s = 330.0;
static const double end_s = 360.0;
static const double pabd_level = 20.0;

/* A cystometry that is filled with `volume_ml` from 30 to 310 s; its end is to be marked. */
static void open_filling(struct synth *synth, const struct step_trace *pves, double volume_ml)
{
    const double vinf_points[][2] = {{fill_start_s, 0.0}, {310.0, volume_ml}};
    const struct polyline vinf = {2, vinf_points};
    const struct step_trace pabd = step_trace_at(pabd_level);

    synth_open(synth, RECORDING_CYSTOMETRY);
    step_trace_add(synth, SIGNAL_PVES, 50.0, end_s, pves);
    step_trace_add(synth, SIGNAL_PABD, 50.0, end_s, &pabd);
    synth_channel(synth, SIGNAL_VINF, (struct synth_sampling){.rate_hz = 2.0, .end_s = end_s},
                  polyline_value, &vinf);
}

/* The same with both markers. */
static void open_marked(struct synth *synth, const struct step_trace *pves, double volume_ml)
{
    open_filling(synth, pves, volume_ml);
    synth_event(synth, EVENT_FILLING_START, fill_start_s);
    synth_event(synth, EVENT_PERMISSION_TO_VOID, fill_end_s);
}

/* ---- Where pressures are read ---- */

/* A level is that of 5 s, and has the time of their middle. */
static void test_level_window(void **state)
{
    const struct step_trace pves = step_trace_at(22.0);
    struct synth synth;

    (void)state;
    open_marked(&synth, &pves, 280.0);
    const struct filling_measures *filling = &synth_run(&synth)->filling;

    assert_close(filling->pves_baseline.at_s, 30.0 - 2.5, 1e-6);
    assert_close(filling->pdet_end_fill.at_s, 330.0 - 2.5, 1e-6);
    synth_close(&synth);
}

/* Without permission to void, it is read up to 10 s before the voiding starts. */
static void test_lead_before_voiding(void **state)
{
    const struct step_trace pves = step_trace_at(22.0);
    struct synth synth;

    (void)state;
    open_filling(&synth, &pves, 280.0);
    synth_event(&synth, EVENT_FILLING_START, fill_start_s);
    synth_event(&synth, EVENT_VOID_START, fill_end_s);
    assert_close(synth_run(&synth)->filling.pdet_end_fill.at_s, 330.0 - 10.0 - 2.5, 1e-6);
    synth_close(&synth);
}

/* When the resting level was read, with filling from 60 s on and markers every 5 s that leave no
 * quiet window between two moments. */
static double read_at_between(double first_marker_s, double last_marker_s)
{
    const struct step_trace pves = step_trace_at(22.0);
    struct synth synth;

    open_filling(&synth, &pves, 280.0);
    synth_event(&synth, EVENT_FILLING_START, 60.0);
    for (size_t i = 0; first_marker_s + 5.0 * (double)i < last_marker_s; i++) {
        synth_event(&synth, EVENT_ZERO, first_marker_s + 5.0 * (double)i);
    }
    synth_event(&synth, EVENT_ZERO, last_marker_s);
    synth_event(&synth, EVENT_PERMISSION_TO_VOID, fill_end_s);
    const double at_s = synth_run(&synth)->filling.pves_baseline.at_s;

    synth_close(&synth);
    return at_s;
}

/* A quiet window is sought in the 30 s after the start, in whole seconds: from 85 s on at the
 * latest. Else in the 30 s before, from 25 s on at the earliest. Else there is none. */
static void test_search_for_rest(void **state)
{
    (void)state;
    assert_close(read_at_between(1.0, 82.9), 87.5, 1e-6);
    assert_close(read_at_between(1.0, 83.1), 62.5, 1e-6);
    assert_close(read_at_between(32.1, 97.1), 27.5, 1e-6);
    assert_close(read_at_between(31.9, 96.9), 62.5, 1e-6);
}

/* A short pulse in the first window. */
static bool is_quiet_with(double height)
{
    struct step_trace pves = step_trace_at(22.0);
    struct synth synth;

    step_trace_pulse(&pves, 27.0, 27.3, 22.0 + height);
    open_marked(&synth, &pves, 280.0);
    const double at_s = synth_run(&synth)->filling.pves_baseline.at_s;

    synth_close(&synth);
    return at_s < 28.0;
}

static bool is_disturbed_by(double marker_s)
{
    const struct step_trace pves = step_trace_at(22.0);
    struct synth synth;

    open_marked(&synth, &pves, 280.0);
    synth_event(&synth, EVENT_ZERO, marker_s);
    const double at_s = synth_run(&synth)->filling.pves_baseline.at_s;

    synth_close(&synth);
    return at_s > 28.0;
}

/* Quiet is a spread of at most 5 cmH2O, and no marker within 2 s of the 5 s before filling. */
static void test_quiet(void **state)
{
    (void)state;
    assert_close(flip_between(is_quiet_with, 3.0, 7.0), 5.0, 0.02);
    assert_close(flip_between(is_disturbed_by, 22.0, 26.0), 25.0 - 2.0, 0.01);
    assert_close(flip_between(is_disturbed_by, 33.0, 29.0), 30.0 + 2.0, 0.01);
}

/* pves steps up before the end and stays there; what is told reaches 30 s back. */
static bool ends_unquiet(double step)
{
    struct step_trace pves = step_trace_at(22.0);
    struct synth synth;

    step_trace_to(&pves, 320.0, 22.0 + step);
    open_marked(&synth, &pves, 280.0);
    const struct quality_finding *finding =
        synth_quality(synth_run(&synth), "unquiet_end_of_filling");
    const bool told = finding != NULL;

    if (told) {
        assert_close(finding->from_s, 327.5 - 30.0, 1e-6);
        assert_close(finding->to_s, 327.5, 1e-6);
    }
    synth_close(&synth);
    return told;
}

/* More than 10 cmH2O above the median from 30 to 10 s before. */
static void test_unquiet_end(void **state)
{
    (void)state;
    assert_close(flip_between(ends_unquiet, 8.0, 12.0), 10.0, 0.02);
}

/* ---- Infusion ---- */

/* A counter that shows so much when it begins to be recorded, with the pump. */
static void open_counter(struct synth *synth, double first_ml)
{
    const double points[][2] = {{30.0, first_ml}, {310.0, first_ml + 280.0}};
    const struct polyline vinf = {2, points};
    const struct synth_sampling from_pump = {.rate_hz = 2.0, .start_s = 30.0, .end_s = end_s};
    const struct step_trace pves = step_trace_at(22.0);
    const struct step_trace pabd = step_trace_at(pabd_level);

    synth_open(synth, RECORDING_CYSTOMETRY);
    step_trace_add(synth, SIGNAL_PVES, 50.0, end_s, &pves);
    step_trace_add(synth, SIGNAL_PABD, 50.0, end_s, &pabd);
    synth_channel(synth, SIGNAL_VINF, from_pump, polyline_value, &vinf);
    synth_event(synth, EVENT_FILLING_START, fill_start_s);
    synth_event(synth, EVENT_PERMISSION_TO_VOID, fill_end_s);
}

static bool was_zero_before(double first_ml)
{
    struct synth synth;

    open_counter(&synth, first_ml);
    const bool known = measure_known(&synth_run(&synth)->filling.compliance_volume_change);

    synth_close(&synth);
    return known;
}

static bool is_counter_told(double first_ml)
{
    struct synth synth;

    open_counter(&synth, first_ml);
    const bool told = synth_quality(synth_run(&synth), "infused_volume_start") != NULL;

    synth_close(&synth);
    return told;
}

/* Up to 1 mL it was 0 until then; above 10 mL the counter was not set to 0. */
static void test_counter(void **state)
{
    (void)state;
    assert_close(flip_between(was_zero_before, 0.0, 2.0), 1.0, 0.005);
    assert_close(flip_between(is_counter_told, 8.0, 12.0), 10.0, 0.02);
}

/* Of two rises from 5 mL the first, at 1 s, goes back. */
static bool begins_with_rise_of(double rise_ml)
{
    const double samples[] = {5.0, 5.0, 5.0 + rise_ml, 5.0, 5.0, 9.0};
    const struct series vinf = {1.0, 0.0, 6, samples};
    const double onset_s = infusion_onset(&vinf);

    assert_true(fabs(onset_s - 1.0) < 1e-9 || fabs(onset_s - 4.0) < 1e-9);
    return onset_s < 2.0;
}

/* A rise of 1 mL shows that filling has begun. */
static void test_onset(void **state)
{
    (void)state;
    assert_close(flip_between(begins_with_rise_of, 0.5, 1.5), 1.0, 0.002);
}

static double rate_over(double length_s, double slope_ml_min)
{
    const double points[][2] = {{0.0, 0.0}, {60.0, slope_ml_min}};
    const struct polyline line = {2, points};
    double room[ROOM];
    struct synth synth;

    synth_open(&synth, RECORDING_CYSTOMETRY);
    const double *samples =
        synth_channel(&synth, SIGNAL_VINF, (struct synth_sampling){.rate_hz = 20.0, .end_s = 60.0},
                      polyline_value, &line);
    const struct series vinf = {20.0, 0.0, synth.channels[0].sample_count, samples};
    const double rate =
        infusion_rate(&vinf, (struct span){0.0, length_s}, (struct level_scratch){room, ROOM});

    synth_close(&synth);
    return rate;
}

static bool has_rate_within(double length_s)
{
    return isfinite(rate_over(length_s, 60.0));
}

static bool has_rate_at(double slope_ml_min)
{
    return isfinite(rate_over(40.0, slope_ml_min));
}

/* The slope is taken over 10 s, and slower than 3 mL/min is idle. */
static void test_segments(void **state)
{
    (void)state;
    assert_close(flip_between(has_rate_within, 8.0, 12.0), 10.0, 0.02);
    assert_close(flip_between(has_rate_at, 2.0, 4.0), 3.0, 0.01);
}

/* A patient of 80 kg. */
static bool is_above_physiological(double rate_ml_min)
{
    const struct step_trace pves = step_trace_at(22.0);
    struct synth synth;

    synth_open(&synth, RECORDING_CYSTOMETRY);
    step_trace_add(&synth, SIGNAL_PVES, 50.0, end_s, &pves);
    synth.recording.weight_kg = (struct optional_number){true, 80.0};
    synth.recording.conditions.filling_rate_ml_min = (struct optional_number){true, rate_ml_min};
    const struct measure *rate = &synth_run(&synth)->filling.filling_rate;

    assert_int_equal(rate->source, SOURCE_ENTERED);
    const bool above = strstr(rate->method, "faster than physiological") != NULL;

    synth_close(&synth);
    return above;
}

/* A quarter of the weight in kg is the limit in mL/min. */
static void test_physiological_rate(void **state)
{
    (void)state;
    assert_close(flip_between(is_above_physiological, 15.0, 25.0), 20.0, 0.02);
}

/* ---- Compliance ---- */

static bool has_compliance(double rise, double volume_ml)
{
    struct step_trace pves = step_trace_at(22.0);
    struct synth synth;

    step_trace_to(&pves, 60.0, 22.0);
    step_trace_ramp(&pves, 310.0, 22.0 + rise);
    open_marked(&synth, &pves, volume_ml);
    const bool known = measure_known(&synth_run(&synth)->filling.compliance);

    synth_close(&synth);
    return known;
}

static bool has_compliance_at_rise(double rise)
{
    return has_compliance(rise, 280.0);
}

static bool has_compliance_at_volume(double volume_ml)
{
    return has_compliance(8.0, volume_ml);
}

/* It takes a rise of 1 cmH2O and a volume of 10 mL. */
static void test_compliance(void **state)
{
    (void)state;
    assert_close(flip_between(has_compliance_at_rise, 0.5, 1.5), 1.0, 0.005);
    assert_close(flip_between(has_compliance_at_volume, 8.0, 12.0), 10.0, 0.02);
}

/* ---- Rest ---- */

/* How many lines have a resting pressure out of range, when pves and pabd rest at these levels. */
static size_t out_of_range(enum patient_position position, double pves_level, double pabd)
{
    const struct step_trace pves = step_trace_at(pves_level);
    const struct step_trace abdominal = step_trace_at(pabd);
    struct synth synth;
    size_t count = 0;

    synth_open(&synth, RECORDING_CYSTOMETRY);
    step_trace_add(&synth, SIGNAL_PVES, 50.0, end_s, &pves);
    step_trace_add(&synth, SIGNAL_PABD, 50.0, end_s, &abdominal);
    synth.recording.conditions.position = position;
    const struct analysis_result *result = synth_run(&synth);

    for (size_t i = 0; i < result->quality_count; i++) {
        count += strcmp(result->quality[i].code, "resting_pressure") == 0 ? 1 : 0;
    }
    synth_close(&synth);
    return count;
}

/* Lying down 5 to 20 cmH2O, sitting 15 to 40, standing 30 to 50, anyhow 5 to 50. */
static void test_rest_by_position(void **state)
{
    static const struct {
        enum patient_position position;
        double level;
        size_t count;
    } rows[] = {
        {POSITION_SUPINE, 4.95, 2},   {POSITION_SUPINE, 5.05, 0},   {POSITION_SUPINE, 19.9, 0},
        {POSITION_SUPINE, 20.1, 2},   {POSITION_SITTING, 14.9, 2},  {POSITION_SITTING, 15.1, 0},
        {POSITION_SITTING, 39.8, 0},  {POSITION_SITTING, 40.2, 2},  {POSITION_STANDING, 29.8, 2},
        {POSITION_STANDING, 30.2, 0}, {POSITION_STANDING, 49.8, 0}, {POSITION_STANDING, 50.2, 2},
        {POSITION_UNKNOWN, 4.95, 2},  {POSITION_UNKNOWN, 5.05, 0},  {POSITION_UNKNOWN, 49.8, 0},
        {POSITION_UNKNOWN, 50.2, 2},
    };

    (void)state;
    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
        print_message("row %zu\n", i);
        assert_int_equal(out_of_range(rows[i].position, rows[i].level, rows[i].level),
                         rows[i].count);
    }
}

/* pdet -5 to 10 cmH2O. */
static void test_rest_of_pdet(void **state)
{
    (void)state;
    assert_int_equal(out_of_range(POSITION_UNKNOWN, 25.0, 30.05), 1);
    assert_int_equal(out_of_range(POSITION_UNKNOWN, 25.0, 29.95), 0);
    assert_int_equal(out_of_range(POSITION_UNKNOWN, 34.9, 25.0), 0);
    assert_int_equal(out_of_range(POSITION_UNKNOWN, 35.1, 25.0), 1);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_level_window),
        cmocka_unit_test(test_lead_before_voiding),
        cmocka_unit_test(test_search_for_rest),
        cmocka_unit_test(test_quiet),
        cmocka_unit_test(test_unquiet_end),
        cmocka_unit_test(test_counter),
        cmocka_unit_test(test_onset),
        cmocka_unit_test(test_segments),
        cmocka_unit_test(test_physiological_rate),
        cmocka_unit_test(test_compliance),
        cmocka_unit_test(test_rest_by_position),
        cmocka_unit_test(test_rest_of_pdet),
    };

    return cmocka_run_group_tests_name("filling: limits", tests, NULL, NULL);
}
