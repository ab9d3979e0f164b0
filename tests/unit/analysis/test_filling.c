/* Rules of the filling section: where it ends, where volumes come from, quiet windows. */
#include "support/assert_close.h"
#include "support/synth.h"

#include "analysis/filling/infusion.h"

#include <math.h>
#include <string.h>

enum { ROOM = 64 };

static const double vinf_points[][2] = {{20.0, 0.0}, {320.0, 300.0}, {360.0, 300.0}};
static const struct polyline vinf_line = {3, vinf_points};
static const double pabd_rest = 20.0;
static const struct synth_sampling sampling = {.rate_hz = 10.0, .end_s = 360.0, .noise = 0.2};

/* A cystometry of 300 mL at 60 mL/min, pdet 2 to 12, without any marker. */
static void open_filling(struct synth *synth, bool with_vinf)
{
    static const double pves_points[][2] = {{20.0, 22.0}, {320.0, 32.0}, {360.0, 32.0}};
    static const struct polyline pves_line = {3, pves_points};
    const struct synth_sampling exact = {.rate_hz = 2.0, .end_s = 360.0};

    synth_open(synth, RECORDING_CYSTOMETRY);
    synth_channel(synth, SIGNAL_PVES, sampling, polyline_value, &pves_line);
    synth_channel(synth, SIGNAL_PABD, sampling, constant_value, &pabd_rest);
    if (with_vinf) {
        synth_channel(synth, SIGNAL_VINF, exact, polyline_value, &vinf_line);
    }
}

static void assert_absent(const struct measure *measure, const char *reason)
{
    assert_int_equal(measure->state, MEASURE_ABSENT);
    if (strstr(measure->reason, reason) == NULL) {
        fail_msg("reason \"%s\" does not say \"%s\"", measure->reason, reason);
    }
}

static void test_ends_one_after_the_other(void **state)
{
    struct synth synth;

    (void)state;
    open_filling(&synth, true);
    const struct analysis_result *result = synth_run(&synth);

    /* No marker at all: the end of the recording, and a note. */
    assert_true(result->has_filling && !result->has_voiding);
    assert_close(result->filling.cystometric_capacity.value, 300.0, 0.1);
    assert_close(result->filling.cystometric_capacity.at_s, 360.0, 0.1);
    assert_non_null(synth_quality(result, "no_permission_marker"));
    assert_non_null(synth_quality(result, "no_filling_start_marker"));
    assert_close(result->filling.compliance.value, 30.0, 2.0);

    synth_event(&synth, EVENT_FILLING_STOP, 260.0);
    result = synth_run(&synth);
    assert_close(result->filling.cystometric_capacity.value, 240.0, 0.1);
    assert_non_null(synth_quality(result, "no_permission_marker"));

    synth_event(&synth, EVENT_PERMISSION_TO_VOID, 200.0);
    result = synth_run(&synth);
    assert_close(result->filling.cystometric_capacity.value, 180.0, 0.1);
    assert_null(synth_quality(result, "no_permission_marker"));
    assert_close(result->filling.compliance_pressure_change.value, 6.0, 0.4);
    synth_close(&synth);
}

static void test_volumes_from_the_rate(void **state)
{
    struct synth synth;

    (void)state;
    open_filling(&synth, false);
    synth_event(&synth, EVENT_FIRST_DESIRE, 140.0);
    synth_event(&synth, EVENT_PERMISSION_TO_VOID, 340.0);
    const struct filling_measures *filling = &synth_run(&synth)->filling;

    assert_absent(&filling->cystometric_capacity, "no filling rate was entered");
    assert_absent(&filling->filling_rate, "no filling rate was entered");
    assert_absent(&filling->compliance, "no filling rate was entered");
    synth.recording.conditions.filling_rate_ml_min = (struct optional_number){true, 60.0};
    filling = &synth_run(&synth)->filling;
    assert_absent(&filling->first_desire_volume, "no filling_start marker");

    /* The pump runs from 20 to 120 and from 150 to 320 s. */
    synth_event(&synth, EVENT_FILLING_STOP, 320.0);
    synth_event(&synth, EVENT_FILLING_START, 150.0);
    synth_event(&synth, EVENT_FILLING_STOP, 120.0);
    synth_event(&synth, EVENT_FILLING_START, 20.0);
    filling = &synth_run(&synth)->filling;
    assert_close(filling->first_desire_volume.value, 100.0, 1e-9);
    assert_close(filling->cystometric_capacity.value, 270.0, 1e-9);
    assert_non_null(strstr(filling->cystometric_capacity.method, "entered filling rate"));
    assert_int_equal(filling->filling_rate.source, SOURCE_ENTERED);
    synth_close(&synth);
}

static void test_sensations(void **state)
{
    struct synth synth;

    (void)state;
    open_filling(&synth, true);
    synth_event(&synth, EVENT_PERMISSION_TO_VOID, 340.0);
    synth_event(&synth, EVENT_URGENCY, 250.0);
    synth_event(&synth, EVENT_URGENCY, 200.0);
    synth_event(&synth, EVENT_STRONG_DESIRE, 345.0);
    synth_event(&synth, EVENT_FIRST_DESIRE, 120.0);
    synth_lose(&synth, SIGNAL_VINF, 119.0, 121.0);
    const struct filling_measures *filling = &synth_run(&synth)->filling;

    assert_absent(&filling->first_sensation_volume, "no marker");
    assert_absent(&filling->first_desire_volume, "no sample at that moment");
    assert_absent(&filling->strong_desire_volume, "after the end of filling");
    assert_close(filling->urgency_volume.value, 180.0, 0.1); /* the first of the two */
    assert_close(filling->urgency_volume.at_s, 200.0, 0.0);
    assert_non_null(strstr(filling->urgency_volume.method, "no initial residual"));
    synth_close(&synth);
}

/* The resting level is not read from a cough, a flush, or a change of position. */
static void test_quiet_window(void **state)
{
    static const double pves_points[][2] = {{0.0, 0.0},   {18.0, 0.0},  {18.1, 95.0}, {21.0, 95.0},
                                            {21.1, 24.0}, {24.0, 24.0}, {24.1, 80.0}, {24.9, 80.0},
                                            {25.0, 24.0}, {400.0, 24.0}};
    static const struct polyline pves_line = {10, pves_points};
    struct synth synth;

    (void)state;
    synth_open(&synth, RECORDING_CYSTOMETRY);
    synth_channel(&synth, SIGNAL_PVES, sampling, polyline_value, &pves_line);
    synth_channel(&synth, SIGNAL_PABD, sampling, constant_value, &pabd_rest);
    synth_channel(&synth, SIGNAL_VINF, (struct synth_sampling){.rate_hz = 2.0, .end_s = 360.0},
                  polyline_value, &vinf_line);
    synth_event(&synth, EVENT_FILLING_START, 20.0);
    synth_event(&synth, EVENT_FLUSH, 18.0);
    synth_event(&synth, EVENT_COUGH, 24.5);
    synth_event(&synth, EVENT_PERMISSION_TO_VOID, 340.0);
    const struct filling_measures *filling = &synth_run(&synth)->filling;

    assert_close(filling->pves_baseline.value, 24.0, 0.3);
    assert_close(filling->pdet_baseline.value, 4.0, 0.3);
    assert_true(filling->pves_baseline.at_s > 26.0);
    synth_close(&synth);
}

static void test_contraction_at_the_end(void **state)
{
    static const double pves_points[][2] = {
        {20.0, 22.0}, {325.0, 32.0}, {335.0, 70.0}, {345.0, 72.0}, {360.0, 35.0}};
    static const struct polyline pves_line = {5, pves_points};
    struct synth synth;

    (void)state;
    synth_open(&synth, RECORDING_CYSTOMETRY);
    synth_channel(&synth, SIGNAL_PVES, sampling, polyline_value, &pves_line);
    synth_channel(&synth, SIGNAL_PABD, sampling, constant_value, &pabd_rest);
    synth_event(&synth, EVENT_FILLING_START, 20.0);
    synth_event(&synth, EVENT_PERMISSION_TO_VOID, 340.0);
    assert_non_null(synth_quality(synth_run(&synth), "unquiet_end_of_filling"));
    synth.events[1].at_s = 325.0;
    assert_null(synth_quality(synth_run(&synth), "unquiet_end_of_filling"));
    synth_close(&synth);
}

static void test_missing_pressures(void **state)
{
    struct synth synth;

    (void)state;
    synth_open(&synth, RECORDING_CYSTOMETRY);
    synth_channel(&synth, SIGNAL_VINF, (struct synth_sampling){.rate_hz = 2.0, .end_s = 360.0},
                  polyline_value, &vinf_line);
    synth_channel(&synth, SIGNAL_PVES, sampling, constant_value, &pabd_rest);
    const struct filling_measures *filling = &synth_run(&synth)->filling;

    assert_close(filling->pves_baseline.value, 20.0, 0.3);
    assert_absent(&filling->pabd_baseline, "no abdominal pressure");
    assert_absent(&filling->pdet_baseline, "no detrusor pressure");
    assert_absent(&filling->pdet_end_fill, "no detrusor pressure");
    assert_absent(&filling->compliance, "not known at both points");
    assert_close(filling->cystometric_capacity.value, 300.0, 0.1);
    synth_close(&synth);
}

static double rate_of(const double (*points)[2], size_t count, double noise)
{
    const struct polyline line = {count, points};
    const struct synth_sampling how = {.rate_hz = 10.0, .end_s = 400.0, .noise = noise};
    double room[ROOM];
    struct synth synth;

    synth_open(&synth, RECORDING_CYSTOMETRY);
    const double *samples = synth_channel(&synth, SIGNAL_VINF, how, polyline_value, &line);
    const struct series vinf = {10.0, 0.0, synth.channels[0].sample_count, samples};
    const double rate =
        infusion_rate(&vinf, (struct span){0.0, 400.0}, (struct level_scratch){room, ROOM});

    synth_close(&synth);
    return rate;
}

/* Pauses of the pump do not lower the rate, noise does not raise it. */
static void test_measured_rate(void **state)
{
    static const double paused[][2] = {{20.0, 0.0}, {120.0, 100.0}, {240.0, 100.0}, {340.0, 200.0}};
    static const double still[][2] = {{0.0, 50.0}, {400.0, 50.0}};

    (void)state;
    assert_close(rate_of(paused, 4, 0.0), 60.0, 0.1);
    assert_close(rate_of(paused, 4, 0.5), 60.0, 1.5);
    assert_true(isnan(rate_of(still, 2, 0.0)));
}

static void test_onset_of_infusion(void **state)
{
    static const double samples[] = {SERIES_MISSING, 5.0, 5.0, 4.9, 5.0, 5.6, 6.2, 7.0};
    static const double flat[] = {5.0, 5.0, 5.2};
    const struct series vinf = {1.0, 10.0, 8, samples};
    const struct series still = {1.0, 10.0, 3, flat};

    (void)state;
    assert_close(infusion_onset(&vinf), 14.0, 1e-9);
    assert_close(infusion_onset(&still), 10.0, 1e-9);
}

/* A volume that is recorded from the start of the pump on was 0 before it; a counter that was not
 * set to 0 is told. */
static void test_infused_volume_begins(void **state)
{
    static const double late_points[][2] = {{20.0, 0.0}, {320.0, 300.0}, {360.0, 300.0}};
    static const double counter_points[][2] = {{20.0, 80.0}, {320.0, 380.0}, {360.0, 380.0}};
    static const struct polyline late = {3, late_points};
    static const struct polyline counter = {3, counter_points};
    const struct synth_sampling from_pump = {.rate_hz = 2.0, .start_s = 20.0, .end_s = 360.0};
    struct synth synth;

    (void)state;
    open_filling(&synth, false);
    synth_channel(&synth, SIGNAL_VINF, from_pump, polyline_value, &late);
    synth_event(&synth, EVENT_FILLING_START, 20.0);
    synth_event(&synth, EVENT_PERMISSION_TO_VOID, 340.0);
    assert_close(synth_run(&synth)->filling.compliance.value, 30.0, 2.0);
    assert_close(synth_run(&synth)->filling.compliance_volume_change.value, 300.0, 1.0);
    assert_null(synth_quality(synth_run(&synth), "infused_volume_start"));
    synth_close(&synth);

    open_filling(&synth, false);
    synth_channel(&synth, SIGNAL_VINF, from_pump, polyline_value, &counter);
    synth_event(&synth, EVENT_FILLING_START, 20.0);
    synth_event(&synth, EVENT_PERMISSION_TO_VOID, 340.0);
    assert_absent(&synth_run(&synth)->filling.compliance, "no sample at that moment");
    assert_non_null(synth_quality(synth_run(&synth), "infused_volume_start"));
    synth_close(&synth);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_ends_one_after_the_other),
        cmocka_unit_test(test_volumes_from_the_rate),
        cmocka_unit_test(test_sensations),
        cmocka_unit_test(test_infused_volume_begins),
        cmocka_unit_test(test_quiet_window),
        cmocka_unit_test(test_contraction_at_the_end),
        cmocka_unit_test(test_missing_pressures),
        cmocka_unit_test(test_measured_rate),
        cmocka_unit_test(test_onset_of_infusion),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
