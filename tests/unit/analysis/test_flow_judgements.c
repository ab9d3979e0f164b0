/* What is said of a flow, its volume and a child's age: each answer changes where its limit stands.
 */
#include "support/assert_close.h"
#include "support/flip.h"
#include "support/step_trace.h"

#include "analysis/classify.h"
#include "analysis/nomogram/nomogram.h"
#include "analysis/nomogram/nomogram_chart.h"

#include <math.h>
#include <string.h>

static const double rate_hz = 50.0;

/* A free flow of an adult man as given by a trace. */
static void open_flow(struct synth *synth, const struct step_trace *flow, double end_s)
{
    synth_open(synth, RECORDING_UROFLOWMETRY);
    step_trace_add(synth, SIGNAL_FLOW, rate_hz, end_s, flow);
}

static bool close_with(struct synth *synth, const char *code)
{
    const bool told = synth_quality(synth_run(synth), code) != NULL;

    synth_close(synth);
    return told;
}

static bool is_told(const struct step_trace *flow, double end_s, const char *code)
{
    struct synth synth;

    open_flow(&synth, flow, end_s);
    return close_with(&synth, code);
}

/* The same with a volume signal that rises evenly from one time to another. */
static void add_volume(struct synth *synth, double from_s, double to_s, double volume_ml,
                       double end_s)
{
    struct step_trace volume = step_trace_at(0.0);

    step_trace_ramp(&volume, from_s, 0.0);
    step_trace_ramp(&volume, to_s, volume_ml);
    step_trace_add(synth, SIGNAL_VVOID, rate_hz, end_s, &volume);
}

/* 10 mL/s for some seconds, and the voided volume that its signal gives. */
static bool is_mismatch(double flow_s, double volume_ml)
{
    struct step_trace flow = step_trace_at(0.0);
    struct synth synth;

    step_trace_pulse(&flow, 20.0, 20.0 + flow_s, 10.0);
    open_flow(&synth, &flow, 80.0);
    add_volume(&synth, 20.0, 20.0 + flow_s, volume_ml, 80.0);
    return close_with(&synth, "volume_mismatch");
}

static bool is_mismatch_of_100(double volume_ml)
{
    return is_mismatch(10.0, volume_ml);
}

static bool is_mismatch_of_400(double volume_ml)
{
    return is_mismatch(40.0, volume_ml);
}

/* The integral of the flow and the volume differ by more than 10 mL and 5 % of the volume. */
static void test_volume_mismatch(void **state)
{
    (void)state;
    assert_close(flip_between(is_mismatch_of_100, 101.0, 120.0), 110.0, 0.05);
    assert_close(flip_between(is_mismatch_of_400, 370.0, 395.0), 400.0 / 1.05, 0.1);
}

static bool is_long_pause(double pause_s)
{
    struct step_trace flow = step_trace_at(0.0);

    step_trace_pulse(&flow, 20.0, 30.0, 10.0);
    step_trace_pulse(&flow, 30.0 + pause_s, 40.0 + pause_s, 10.0);
    return is_told(&flow, 80.0, "long_pause");
}

static void test_long_pause(void **state)
{
    (void)state;
    assert_close(flip_between(is_long_pause, 8.0, 12.0), 10.0, 0.05);
}

/* A flow of 100 s with its highest point some seconds before its end. */
static bool is_late(double before_s)
{
    const double peak_s = 110.0 - before_s;
    struct step_trace flow = step_trace_at(0.0);

    step_trace_to(&flow, 10.0, 10.0);
    step_trace_ramp(&flow, peak_s - 1.5, 10.0);
    step_trace_ramp(&flow, peak_s, 20.0);
    step_trace_ramp(&flow, peak_s + 1.5, 10.0);
    step_trace_to(&flow, 110.0, 0.0);
    return is_told(&flow, 130.0, "late_max");
}

/* The last 0.05 of the flow time. */
static void test_late_maximum(void **state)
{
    (void)state;
    assert_close(flip_between(is_late, 4.0, 6.0), 5.0, 0.04);
}

/* Qmax is 10 mL/s and the flow lasts 20 s. */
static bool is_qave_above(double volume_ml)
{
    struct step_trace flow = step_trace_at(0.0);
    struct synth synth;

    step_trace_pulse(&flow, 20.0, 40.0, 10.0);
    open_flow(&synth, &flow, 60.0);
    add_volume(&synth, 20.0, 40.0, volume_ml, 60.0);
    return close_with(&synth, "qave_above_qmax");
}

static void test_qave_above_qmax(void **state)
{
    (void)state;
    assert_close(flip_between(is_qave_above, 200.0, 210.0), 1.02 * 200.0, 0.5);
}

static bool is_negative(double level)
{
    struct step_trace flow = step_trace_at(0.0);

    step_trace_pulse(&flow, 20.0, 40.0, 10.0);
    step_trace_pulse(&flow, 50.0, 55.0, level);
    return is_told(&flow, 70.0, "negative_flow");
}

static void test_negative_flow(void **state)
{
    (void)state;
    assert_close(flip_between(is_negative, -0.8, -1.2), -1.0, 0.005);
}

static bool is_off_before(double level)
{
    struct step_trace flow = step_trace_at(level);

    step_trace_to(&flow, 20.0, 10.0);
    step_trace_to(&flow, 40.0, 0.0);
    return is_told(&flow, 70.0, "flow_zero");
}

static bool is_off_after(double level)
{
    struct step_trace flow = step_trace_at(0.0);

    step_trace_to(&flow, 20.0, 10.0);
    step_trace_to(&flow, 40.0, level);
    return is_told(&flow, 70.0, "flow_zero");
}

/* Flow rests more than 0.1 mL/s off, on either side of zero. */
static void test_wrong_zero(void **state)
{
    (void)state;
    assert_close(flip_between(is_off_before, 0.05, 0.15), 0.1, 0.001);
    assert_close(flip_between(is_off_after, 0.05, 0.15), 0.1, 0.001);
    assert_close(flip_between(is_off_before, -0.05, -0.15), -0.1, 0.001);
}

/* A recording that is flow throughout: two levels of 5 s at its start, a voiding, a level at its
 * end. */
static bool is_all_offset(double first, double second, double last)
{
    struct step_trace flow = step_trace_at(first);

    step_trace_to(&flow, 5.0, second);
    step_trace_to(&flow, 20.0, 10.0);
    step_trace_to(&flow, 40.0, last);
    return is_told(&flow, 70.0, "flow_zero");
}

static bool is_steady_at_the_start(double second)
{
    return is_all_offset(1.0, second, 1.1);
}

static bool is_alike_at_both_ends(double last)
{
    return is_all_offset(1.0, 1.0, last);
}

static bool is_low_at_both_ends(double level)
{
    return is_all_offset(level, level, level);
}

/* Steady to within 0.2 mL/s at one end and between the ends, and below 3. */
static void test_zero_above_the_threshold(void **state)
{
    (void)state;
    assert_close(flip_between(is_steady_at_the_start, 1.1, 1.29), 1.2, 0.002);
    assert_close(flip_between(is_alike_at_both_ends, 1.1, 1.3), 1.2, 0.002);
    assert_close(flip_between(is_low_at_both_ends, 2.5, 3.5), 3.0, 0.02);
}

/* A patient of an age with a voided and a residual volume. */
static void open_patient(struct synth *synth, double age_years, double volume_ml,
                         double residual_ml)
{
    const double flow_s = volume_ml / 10.0;
    struct step_trace flow = step_trace_at(0.0);

    step_trace_pulse(&flow, 20.0, 20.0 + flow_s, 10.0);
    open_flow(synth, &flow, 40.0 + flow_s);
    add_volume(synth, 20.0, 20.0 + flow_s, volume_ml, 40.0 + flow_s);
    synth->recording.age_years.value = age_years;
    synth->recording.conditions.post_void_residual_ml = (struct optional_number){true, residual_ml};
}

static bool is_volume_told(double age_years, double volume_ml, double residual_ml, const char *code)
{
    struct synth synth;

    open_patient(&synth, age_years, volume_ml, residual_ml);
    return close_with(&synth, code);
}

static bool is_low_volume_of_adult(double volume_ml)
{
    return is_volume_told(18.0, volume_ml, 0.0, "low_volume");
}

static bool is_high_volume_of_adult(double volume_ml)
{
    return is_volume_told(60.0, volume_ml, 0.0, "high_volume");
}

static bool is_low_volume_at_7(double volume_ml)
{
    return is_volume_told(7.0, volume_ml, 0.0, "low_volume");
}

static bool is_high_volume_at_7(double volume_ml)
{
    return is_volume_told(7.0, volume_ml, 0.0, "high_volume");
}

static bool is_high_residual_at_7(double residual_ml)
{
    return is_volume_told(7.0, 200.0, residual_ml, "high_volume");
}

static bool is_low_volume_at_17(double volume_ml)
{
    return is_volume_told(17.9, volume_ml, 0.0, "low_volume");
}

/* Adults: 150 and 600 mL. Children of 7 years, for whom 240 mL are expected: half of it, all of it,
 * and 1.15 of it, 276 mL, with the residual. At 17 years 390 mL are expected. */
static void test_volume_limits(void **state)
{
    (void)state;
    assert_close(flip_between(is_low_volume_of_adult, 140.0, 160.0), 150.0, 0.1);
    assert_close(flip_between(is_high_volume_of_adult, 580.0, 620.0), 600.0, 0.1);
    assert_close(flip_between(is_low_volume_at_7, 110.0, 130.0), 120.0, 0.1);
    assert_close(flip_between(is_high_volume_at_7, 230.0, 250.0), 240.0, 0.1);
    assert_close(flip_between(is_high_residual_at_7, 70.0, 80.0), 76.0, 0.1);
    assert_close(flip_between(is_low_volume_at_17, 185.0, 205.0), 195.0, 0.1);
}

/* Infants are below 1 year, and from 4 years on capacity is told by the year. */
static void test_expected_capacity_by_age(void **state)
{
    double capacity_ml = 0.0;

    (void)state;
    assert_true(classify_expected_capacity(0.99, &capacity_ml));
    assert_close(capacity_ml, 38.0 + 2.5 * 11.0, 1e-9);
    assert_false(classify_expected_capacity(1.01, &capacity_ml));
    assert_false(classify_expected_capacity(3.97, &capacity_ml));
    assert_true(classify_expected_capacity(4.03, &capacity_ml));
    assert_close(capacity_ml, 150.0, 1e-9);
    assert_true(classify_expected_capacity(11.9, &capacity_ml));
    assert_close(capacity_ml, 360.0, 1e-9);
    assert_true(classify_expected_capacity(12.1, &capacity_ml));
    assert_close(capacity_ml, 390.0, 1e-9);
    assert_true(classify_expected_capacity(13.0, &capacity_ml));
    assert_close(capacity_ml, 390.0, 1e-9);
}

static bool has_raised_residual(double age_years, double volume_ml, double residual_ml)
{
    struct synth synth;

    open_patient(&synth, age_years, volume_ml, residual_ml);
    const bool has = synth_finding(synth_run(&synth), "raised_residual") != NULL;

    synth_close(&synth);
    return has;
}

static bool is_raised_at_6(double residual_ml)
{
    return has_raised_residual(6.9, 200.0, residual_ml);
}

static bool is_raised_share_at_6(double residual_ml)
{
    return has_raised_residual(6.0, 79.0, residual_ml);
}

static bool is_raised_at_7(double residual_ml)
{
    return has_raised_residual(7.0, 200.0, residual_ml);
}

static bool is_raised_share_at_7(double residual_ml)
{
    return has_raised_residual(7.0, 85.0, residual_ml);
}

/* Up to 6 years 30 mL, or 21 % of the bladder volume: 21 mL beside 79. From 7 years 20 mL, or 15 %:
 * 15 mL beside 85. */
static void test_raised_residual(void **state)
{
    (void)state;
    assert_close(flip_between(is_raised_at_6, 25.0, 35.0), 30.0, 0.05);
    assert_close(flip_between(is_raised_share_at_6, 15.0, 25.0), 21.0, 0.05);
    assert_close(flip_between(is_raised_at_7, 15.0, 25.0), 20.0, 0.05);
    assert_close(flip_between(is_raised_share_at_7, 10.0, 19.0), 15.0, 0.05);
}

/* Ages at which the residual has limits. */
static void test_residual_by_age(void **state)
{
    (void)state;
    assert_false(has_raised_residual(3.99, 200.0, 100.0));
    assert_true(has_raised_residual(4.0, 200.0, 100.0));
    assert_true(has_raised_residual(12.99, 200.0, 100.0));
    assert_false(has_raised_residual(13.0, 200.0, 100.0));
}

static bool is_low_flow_from(double volume_ml)
{
    struct synth synth;

    open_patient(&synth, 5.0, volume_ml, 0.0);
    const bool has = synth_finding(synth_run(&synth), "low_flow_for_age") != NULL;

    synth_close(&synth);
    return has;
}

/* 10 mL/s are too little at 5 years, from 50 mL on. */
static void test_low_flow_needs_volume(void **state)
{
    (void)state;
    assert_close(flip_between(is_low_flow_from, 45.0, 55.0), 50.0, 0.1);
}

/* The nomogram is for adults from 18 years, 15 to 600 mL, and up to 70 mL/s; its charts show that
 * much. */
static void test_nomogram_domain(void **state)
{
    struct nomogram_chart chart;

    (void)state;
    assert_false(nomogram_liverpool(SEX_FEMALE, 17.9, 300.0, 20.0).known);
    assert_true(nomogram_liverpool(SEX_FEMALE, 18.1, 300.0, 20.0).known);
    assert_false(nomogram_liverpool(SEX_FEMALE, 40.0, 14.9, 20.0).known);
    assert_true(nomogram_liverpool(SEX_FEMALE, 40.0, 15.1, 20.0).known);
    assert_true(nomogram_liverpool(SEX_FEMALE, 40.0, 599.0, 20.0).known);
    assert_false(nomogram_liverpool(SEX_FEMALE, 40.0, 601.0, 20.0).known);
    assert_true(nomogram_liverpool(SEX_FEMALE, 40.0, 300.0, 69.9).known);
    assert_false(nomogram_liverpool(SEX_FEMALE, 40.0, 300.0, 70.1).known);
    assert_false(nomogram_chart(NOMOGRAM_LIVERPOOL_MEN, NULL, 17.9, &chart));
    assert_true(nomogram_chart(NOMOGRAM_LIVERPOOL_MEN, NULL, 18.1, &chart));
    assert_close(chart.x.from, 15.0, 0.0);
    assert_close(chart.x.to, 600.0, 0.0);
    assert_close(chart.y.to, 70.0, 0.0);
}

/* 300 mL of a man of 60 years, whose tenth centile is the square of
 * 2.37 + 0.18 * sqrt(300) - 0.014 * 60 - 1.28155 * 0.727. */
static bool is_low_free_flow(double qmax_ml_s)
{
    const double flow_s = 300.0 / qmax_ml_s;
    struct step_trace flow = step_trace_at(0.0);
    struct synth synth;

    step_trace_pulse(&flow, 20.0, 20.0 + flow_s, qmax_ml_s);
    open_flow(&synth, &flow, 40.0 + flow_s);
    add_volume(&synth, 20.0, 20.0 + flow_s, 300.0, 40.0 + flow_s);
    const bool has = synth_finding(synth_run(&synth), "low_free_flow") != NULL;

    synth_close(&synth);
    return has;
}

static void test_low_centile(void **state)
{
    const double root = 2.37 + 0.18 * sqrt(300.0) - 0.014 * 60.0 - 1.2815515655446004 * 0.727;

    (void)state;
    assert_close(flip_between(is_low_free_flow, 12.5, 14.5), root * root, 0.02);
}

/* Flow that stands at 30 mL/s for some samples, and its own length away lies below that; its
 * smallest change is a step of the resolution. */
static bool is_clipped(size_t samples, double drop, double step)
{
    const double length_s = (double)samples / rate_hz;
    struct step_trace flow = step_trace_at(0.0);

    step_trace_to(&flow, 15.0, step);
    step_trace_to(&flow, 20.0, 30.0 - drop);
    step_trace_to(&flow, 30.0, 30.0);
    step_trace_to(&flow, 30.0 + length_s, 30.0 - drop);
    step_trace_to(&flow, 42.0, 0.0);
    return is_told(&flow, 60.0, "clipped");
}

/* From its first to its last sample 2 s; more than 1 mL/s, and than 10 steps, lower. */
static void test_clipped_flow(void **state)
{
    (void)state;
    assert_true(is_clipped(101, 5.0, 0.01));
    assert_false(is_clipped(100, 5.0, 0.01));
    assert_true(is_clipped(150, 1.01, 0.01));
    assert_false(is_clipped(150, 0.99, 0.01));
    assert_true(is_clipped(150, 2.02, 0.2));
    assert_false(is_clipped(150, 1.98, 0.2));
}

/* Pulses that stay and are no more than 15 s apart are told of together. */
static size_t trains_told(double apart_s)
{
    struct step_trace flow = step_trace_at(0.0);
    struct synth synth;
    size_t told = 0;

    step_trace_to(&flow, 10.0, 10.0);
    for (size_t i = 0; i < 6; i++) {
        const double from_s = 20.0 + 2.0 * (double)i + (i >= 3 ? 1.0 : 0.0) * (apart_s - 1.7);

        step_trace_pulse(&flow, from_s, from_s + 0.3, 20.0);
    }
    step_trace_to(&flow, 60.0, 0.0);
    open_flow(&synth, &flow, 80.0);
    const struct analysis_result *result = synth_run(&synth);

    for (size_t i = 0; i < result->quality_count; i++) {
        told += strcmp(result->quality[i].code, "fast_changes") == 0 ? 1 : 0;
    }
    synth_close(&synth);
    return told;
}

static void test_trains_are_told_together(void **state)
{
    (void)state;
    assert_int_equal(trains_told(14.9), 1);
    assert_int_equal(trains_told(15.1), 2);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_volume_mismatch),
        cmocka_unit_test(test_long_pause),
        cmocka_unit_test(test_late_maximum),
        cmocka_unit_test(test_qave_above_qmax),
        cmocka_unit_test(test_negative_flow),
        cmocka_unit_test(test_wrong_zero),
        cmocka_unit_test(test_zero_above_the_threshold),
        cmocka_unit_test(test_volume_limits),
        cmocka_unit_test(test_expected_capacity_by_age),
        cmocka_unit_test(test_raised_residual),
        cmocka_unit_test(test_residual_by_age),
        cmocka_unit_test(test_low_flow_needs_volume),
        cmocka_unit_test(test_nomogram_domain),
        cmocka_unit_test(test_low_centile),
        cmocka_unit_test(test_clipped_flow),
        cmocka_unit_test(test_trains_are_told_together),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
