/* Windows of the rules about pressure lines: each answer changes where its window ends. */
#include "support/assert_close.h"
#include "support/flip.h"
#include "support/line_pair.h"
#include "support/pressure_flow.h"

#include <math.h>
#include <string.h>

static bool is_told(const struct line_pair *how, const char *code, enum signal_kind signal)
{
    struct synth synth;

    line_pair_open(&synth, how);
    const bool told = line_pair_finding(synth_run(&synth), code, signal) != NULL;

    synth_close(&synth);
    return told;
}

/* A cough of 60 on a slope of 10 cmH2O a second in pves, from 3.6 to 0.4 s before its peak. */
static bool is_equal_on_a_slope(double pabd_rise)
{
    struct line_pair how = line_pair_sound();

    how.noise = 0.0;
    how.coughs[3].pves_rise = 60.0 - 16.0;
    how.coughs[3].pabd_rise = pabd_rise;
    line_pair_to(&how.pves, 196.4, 3.2, 57.0);
    line_pair_to(&how.pves, 202.0, 3.0, 25.0);
    return !is_told(&how, "unequal_cough_response", SIGNAL_PABD);
}

/* The level before a cough lies in the middle of 2 s that end 1 s before its peak: 16 cmH2O below
 * the end of the slope. 0.7 of 60. */
static void test_level_before(void **state)
{
    (void)state;
    assert_close(flip_between(is_equal_on_a_slope, 35.0, 50.0), 41.8, 0.06);
}

/* A narrow answer of pabd: within 1 s it is late, and the line damped; later it is none. */
static bool is_an_answer(double lag_s)
{
    struct line_pair how = line_pair_sound();

    how.rate_hz = 200.0;
    how.noise = 0.0;
    how.coughs[3].pves_rise = 60.0;
    how.coughs[3].pabd_rise = 50.0;
    how.coughs[3].width_ratio = 0.1;
    how.coughs[3].lag_s = lag_s;
    return !is_told(&how, "no_cough_response", SIGNAL_PABD);
}

static void test_reach(void **state)
{
    (void)state;
    assert_close(flip_between(is_an_answer, 0.5, 1.5), 1.058, 0.01);
}

/* Both lines rise to a point and fall again, pabd by so much less that it is no strain. */
static bool is_a_cough(double width_s)
{
    struct line_pair how = line_pair_sound();

    how.noise = 0.0;
    line_pair_to(&how.pves, 230.0 - width_s, width_s, 75.0);
    line_pair_to(&how.pves, 230.0, width_s, 25.0);
    line_pair_to(&how.pabd, 230.0 - width_s, width_s, 40.0);
    line_pair_to(&how.pabd, 230.0, width_s, 22.0);
    return is_told(&how, "unequal_cough_response", SIGNAL_PABD);
}

/* From 0.15 to 1.5 s at half height. */
static void test_width(void **state)
{
    (void)state;
    assert_close(flip_between(is_a_cough, 0.08, 0.5), 0.15, 0.002);
    assert_close(flip_between(is_a_cough, 0.8, 1.9), 1.5, 0.01);
}

static bool is_watched_before(double at_s)
{
    struct line_pair how = line_pair_sound();

    how.noise = 0.0;
    how.filling_start_s = 150.0;
    how.coughs[1].at_s = 140.0;
    line_pair_to(&how.pabd, at_s, 0.02, 2.0);
    line_pair_to(&how.pabd, 120.0, 0.02, 22.0);
    return is_told(&how, "catheter_out", SIGNAL_PABD);
}

/* From 60 s before filling on. */
static void test_watched_before(void **state)
{
    (void)state;
    assert_close(flip_between(is_watched_before, 80.0, 100.0), 90.0, 0.5);
}

/* A flush after a voiding that ends at 584.6 s. */
static bool is_watched_after(double at_s)
{
    struct synth synth;

    pressure_flow_open(&synth, (struct pressure_flow_case){.rate_hz = 50.0, .noise = 0.2});
    double *pabd = synth_writable(&synth, SIGNAL_PABD);

    for (size_t i = (size_t)(50.0 * at_s); i < (size_t)(50.0 * (at_s + 6.0)); i++) {
        pabd[i] += 120.0;
    }
    const bool told = line_pair_finding(synth_run(&synth), "flush", SIGNAL_PABD) != NULL;

    synth_close(&synth);
    return told;
}

/* To 10 s after it. */
static void test_watched_after(void **state)
{
    (void)state;
    assert_close(flip_between(is_watched_after, 588.0, 600.0),
                 pressure_flow_truth().delay_time_s + 530.0 + pressure_flow_truth().flow_time_s +
                     10.107,
                 0.06);
}

/* pabd that moves from sample to sample alone, pves that moves slowly. */
static bool is_dead_at(double rate_hz, double half)
{
    struct line_pair how = line_pair_sound();
    struct synth synth;

    how.rate_hz = rate_hz;
    how.noise = 0.0;
    how.cough_count = 2;
    line_pair_open(&synth, &how);
    double *pves = synth_writable(&synth, SIGNAL_PVES);
    double *pabd = synth_writable(&synth, SIGNAL_PABD);

    for (size_t i = 0; i < synth.channels[0].sample_count; i++) {
        const double at_s = (double)i / rate_hz;

        pves[i] += 0.5 * sin(2.0 * 3.14159265 * 0.9 * at_s);
        pabd[i] += i % 2 == 0 ? half : -half;
    }
    const bool dead = line_pair_finding(synth_run(&synth), "dead_line", SIGNAL_PABD) != NULL;

    synth_close(&synth);
    return dead;
}

/* Lines of more than 16 Hz are averaged, those of less are not; below 8 Hz none is judged. */
static void test_rates(void **state)
{
    (void)state;
    assert_true(is_dead_at(16.2, 0.2));
    assert_false(is_dead_at(15.8, 0.2));
    assert_true(is_dead_at(15.8, 0.01));
    assert_true(is_dead_at(8.05, 0.01));
    assert_false(is_dead_at(7.95, 0.01));
}

/* A marker 5 s away is of another cough. */
static bool is_marked_at(double marker_s)
{
    struct line_pair how = line_pair_sound();
    struct synth synth;

    how.noise = 0.0;
    how.coughs[3].pabd_rise = 0.0;
    how.coughs[3].marked = false;
    line_pair_open(&synth, &how);
    synth_event(&synth, EVENT_COUGH, marker_s);
    const bool told =
        line_pair_finding(synth_run(&synth), "no_cough_response", SIGNAL_PABD) != NULL;

    synth_close(&synth);
    return told;
}

static void test_marker(void **state)
{
    (void)state;
    assert_close(flip_between(is_marked_at, 192.0, 199.0), 195.0, 0.07);
    assert_close(flip_between(is_marked_at, 208.0, 201.0), 205.0, 0.07);
}

/* Two lines at rest, to be drawn on. */
static void open_still(struct synth *synth, double rate_hz)
{
    struct line_pair how = line_pair_sound();

    how.rate_hz = rate_hz;
    how.noise = 0.0;
    how.cough_count = 0;
    line_pair_open(synth, &how);
}

static bool close_told(struct synth *synth, const char *code, enum signal_kind signal)
{
    const bool told = line_pair_finding(synth_run(synth), code, signal) != NULL;

    synth_close(synth);
    return told;
}

/* ---- Damped ---- */

static bool is_late(double lag_s)
{
    struct line_pair how = line_pair_sound();

    how.noise = 0.0;
    how.coughs[3].lag_s = lag_s;
    return is_told(&how, "damped_line", SIGNAL_PABD);
}

static bool is_wide_enough_to_judge(double rise)
{
    struct line_pair how = line_pair_sound();

    how.noise = 0.0;
    how.coughs[3] = (struct pair_cough){200.0, 16.0, rise, 2.5, 0.0, true};
    return is_told(&how, "damped_line", SIGNAL_PABD);
}

/* 0.1 s and half a sample late; 5 cmH2O. */
static void test_damped(void **state)
{
    (void)state;
    assert_close(flip_between(is_late, 0.05, 0.2), 0.11, 0.001);
    assert_close(flip_between(is_wide_enough_to_judge, 4.9, 5.4), 5.0, 0.05);
}

/* ---- Movement ---- */

static bool is_dead_for(double length_s)
{
    struct synth synth;

    open_still(&synth, 50.0);
    double *lines[] = {synth_writable(&synth, SIGNAL_PVES), synth_writable(&synth, SIGNAL_PABD)};

    for (size_t i = 0; i < synth.channels[0].sample_count; i++) {
        const double at_s = (double)i / 50.0;
        const double wave = 0.5 * sin(2.0 * 3.14159265 * at_s);

        lines[0][i] += wave;
        lines[1][i] += at_s > 165.0 && at_s < 165.0 + length_s ? 0.02 * wave : wave;
    }
    return close_told(&synth, "dead_line", SIGNAL_PABD);
}

/* More than half of 20 s, every 10 s from the start. */
static void test_dead_window(void **state)
{
    (void)state;
    assert_close(flip_between(is_dead_for, 5.0, 30.0), 10.463, 0.06);
}

static double still_rate_hz;

static bool is_still(double amplitude)
{
    struct synth synth;

    open_still(&synth, still_rate_hz);
    double *lines[] = {synth_writable(&synth, SIGNAL_PVES), synth_writable(&synth, SIGNAL_PABD)};

    for (size_t i = 0; i < synth.channels[0].sample_count; i++) {
        const double at_s = (double)i / still_rate_hz;

        lines[0][i] += 0.5 * sin(2.0 * 3.14159265 * at_s);
        lines[1][i] += amplitude * sin(2.0 * 3.14159265 * 0.4 * at_s);
    }
    return close_told(&synth, "dead_line", SIGNAL_PABD);
}

/* What is slower than 0.5 Hz is taken off by a mean over 1 s to both sides. */
static void test_dead_band(void **state)
{
    (void)state;
    still_rate_hz = 10.0;
    assert_close(flip_between(is_still, 0.02, 0.1), 0.06029, 5e-4);
    still_rate_hz = 9.9;
    assert_close(flip_between(is_still, 0.02, 0.1), 0.0676, 5e-4);
}

/* ---- Falls and steps ---- */

/* pabd falls to `level` within `within_s` for `for_s`. */
static bool is_out(double level, double within_s, double for_s)
{
    struct synth synth;
    struct line_pair how = line_pair_sound();

    how.noise = 0.0;
    how.cough_count = 0;
    line_pair_to(&how.pabd, 230.0, within_s, level);
    line_pair_to(&how.pabd, 230.0 + within_s + for_s, 0.02, 22.0);
    line_pair_open(&synth, &how);
    return close_told(&synth, "catheter_out", SIGNAL_PABD);
}

static bool is_out_at(double level)
{
    return is_out(level, 0.5, 60.0);
}

static bool is_out_within(double within_s)
{
    return is_out(2.0, within_s, 60.0);
}

static bool is_out_for(double for_s)
{
    return is_out(2.0, 0.02, for_s);
}

static void test_out(void **state)
{
    (void)state;
    assert_close(flip_between(is_out_at, 3.0, 7.0), 5.0, 0.02);
    assert_close(flip_between(is_out_within, 1.0, 12.0), 10.0, 0.04);
    assert_close(flip_between(is_out_for, 1.0, 10.0), 4.478, 0.02);
}

static double step_rate_hz;

static bool is_step_within(double within_s)
{
    struct line_pair how = line_pair_sound();

    how.rate_hz = step_rate_hz;
    how.noise = 0.0;
    how.cough_count = 0;
    line_pair_to(&how.pves, 230.0, within_s, 55.0);
    return is_told(&how, "pressure_step", SIGNAL_PVES);
}

/* At first 19, and after `first_s` 26 cmH2O higher. */
static bool is_step_at_once(double first_s)
{
    struct line_pair how = line_pair_sound();

    how.noise = 0.0;
    how.cough_count = 0;
    line_pair_to(&how.pves, 230.0, 0.02, 46.5);
    line_pair_to(&how.pves, 230.1, 0.02, 44.0);
    line_pair_to(&how.pves, 230.1 + first_s, 0.02, 51.0);
    return is_told(&how, "pressure_step", SIGNAL_PVES);
}

static bool is_marker_near(double marker_s)
{
    struct line_pair how = line_pair_sound();
    struct synth synth;

    how.noise = 0.0;
    line_pair_to(&how.pabd, 230.0, 0.02, 2.0);
    line_pair_open(&synth, &how);
    synth_event(&synth, EVENT_POSITION_CHANGE, marker_s);
    return !close_told(&synth, "catheter_out", SIGNAL_PABD);
}

static void test_step(void **state)
{
    (void)state;
    step_rate_hz = 12.0;
    assert_close(flip_between(is_step_within, 0.2, 3.0), 0.75, 0.005);
    step_rate_hz = 11.9;
    assert_close(flip_between(is_step_within, 0.2, 3.0), 0.63, 0.005);
    assert_close(flip_between(is_step_at_once, 0.0, 1.9), 1.068, 0.01);
    assert_close(flip_between(is_marker_near, 222.0, 229.0), 225.03, 0.03);
}

/* ---- Drift ---- */

static bool drifts_in(double length_s)
{
    struct line_pair how = line_pair_sound();

    how.noise = 0.0;
    how.filling_stop_s = 30.0 + length_s - 5.0;
    how.permission_s = 30.0 + length_s;
    how.end_s = 40.0 + length_s;
    how.pabd.points[0][1] = 20.0;
    line_pair_to(&how.pabd, 30.0, length_s, 20.0 + 12.0 * length_s / 600.0);
    return is_told(&how, "drift", SIGNAL_PABD);
}

/* Both lines go up by `rise` over a minute in the middle of 12 min. */
static bool drifts_by(double rise)
{
    struct line_pair how = line_pair_sound();

    how.noise = 0.0;
    how.filling_stop_s = 740.0;
    how.permission_s = 750.0;
    how.end_s = 760.0;
    line_pair_to(&how.pabd, 360.0, 60.0, 22.0 + rise);
    line_pair_to(&how.pves, 360.0, 60.0, 25.0 + rise);
    return is_told(&how, "drift", SIGNAL_PABD);
}

/* From 300 s on; between the first and the last fifth, whose middles are 576 s apart. */
static void test_drift(void **state)
{
    (void)state;
    assert_close(flip_between(drifts_in, 200.0, 400.0), 300.0, 1.0);
    assert_close(flip_between(drifts_by, 5.0, 15.0), 9.6, 0.02);
}

/* ---- Negative pdet ---- */

static double negative_rate_hz;

/* 9.6 s below, a pulse of 3 samples, 9.6 s below: one stretch when the mean over a second hides
 * the pulse. */
static bool hides_a_pulse(double height)
{
    struct synth synth;

    open_still(&synth, negative_rate_hz);
    double *pves = synth_writable(&synth, SIGNAL_PVES);
    const size_t middle = (size_t)(200.0 * negative_rate_hz);
    const size_t half = (size_t)(9.6 * negative_rate_hz);

    for (size_t i = middle - half; i < middle + half; i++) {
        pves[i] = 22.0 - 8.0;
    }
    for (size_t i = middle; i < middle + 3; i++) {
        pves[i] += height;
    }
    return close_told(&synth, "negative_pdet", SIGNAL_PDET);
}

static void test_negative_mean(void **state)
{
    (void)state;
    negative_rate_hz = 12.0;
    assert_close(flip_between(hides_a_pulse, 2.0, 30.0), 3.0 * 13.0 / 3.0, 0.1);
    negative_rate_hz = 11.9;
    assert_close(flip_between(hides_a_pulse, 2.0, 30.0), 3.0 * 11.0 / 3.0, 0.1);
}

/* ---- Clipping ---- */

/* Two plateaus of `length` samples at 60 cmH2O, `drop` lower for as many (at most 200) beside them,
 * on a line at rest that moves by `step`. */
static bool is_cut(double rate_hz, size_t length, size_t shoulder, double drop, double step)
{
    struct synth synth;

    open_still(&synth, rate_hz);
    double *pves = synth_writable(&synth, SIGNAL_PVES);
    double *pabd = synth_writable(&synth, SIGNAL_PABD);

    for (size_t i = 0; i < synth.channels[0].sample_count; i++) {
        pves[i] += i % 2 == 0 ? step : 0.0;
    }
    for (size_t k = 0; k < 2; k++) {
        const size_t first = (size_t)(rate_hz * (150.0 + 60.0 * (double)k));

        for (size_t i = first - shoulder; i < first + length + shoulder; i++) {
            pves[i] = i >= first && i < first + length ? 60.0 : 60.0 - drop;
            pabd[i] = 57.0; /* else it were a flush */
        }
    }
    return close_told(&synth, "clipped", SIGNAL_PVES);
}

static bool is_cut_by(double drop)
{
    return is_cut(50.0, 10, 20, drop, 0.1);
}

static bool is_cut_by_steps(double drop)
{
    return is_cut(50.0, 10, 20, drop, 1.0);
}

static double beside_rate_hz;

static bool is_cut_beside(double shoulder)
{
    return is_cut(beside_rate_hz, 100, (size_t)shoulder, 1.0, 0.1);
}

/* 5 cmH2O, or 10 steps, lower; at most half a second beside it; at least 3 samples. */
static void test_cut(void **state)
{
    (void)state;
    assert_close(flip_between(is_cut_by, 3.0, 20.0), 5.0, 0.02);
    assert_close(flip_between(is_cut_by_steps, 3.0, 20.0), 10.0, 0.02);
    beside_rate_hz = 50.0;
    assert_close(flip_between(is_cut_beside, 15.0, 35.0), 25.0, 0.02);
    beside_rate_hz = 49.5;
    assert_close(flip_between(is_cut_beside, 15.0, 35.0), 24.0, 0.02);
    assert_true(is_cut(50.0, 3, 0, 30.0, 0.1));
    assert_false(is_cut(50.0, 2, 0, 30.0, 0.1));
}

/* One plateau of `length` samples alone. */
static bool is_one_cut(size_t length)
{
    struct synth synth;

    open_still(&synth, 50.0);
    double *pves = synth_writable(&synth, SIGNAL_PVES);

    for (size_t i = 0; i < synth.channels[0].sample_count; i++) {
        pves[i] += i % 2 == 0 ? 0.1 : 0.0;
    }
    for (size_t i = 10000; i < 10000 + length; i++) {
        pves[i] = 60.0;
    }
    return close_told(&synth, "clipped", SIGNAL_PVES);
}

static void test_one_cut(void **state)
{
    (void)state;
    assert_true(is_one_cut(5));
    assert_false(is_one_cut(4));
}

/* A slow wave that is cut at 96 cmH2O for a while. */
static bool is_saturated_for(double length_s)
{
    struct synth synth;

    open_still(&synth, 200.0);
    double *pves = synth_writable(&synth, SIGNAL_PVES);
    const size_t count = synth.channels[0].sample_count;

    for (size_t i = 0; i < count; i++) {
        const double off_s = fabs((double)i / 200.0 - 250.0025) - 0.5 * length_s;

        pves[i] = fmax(25.0, 96.0 - (off_s > 0.0 ? 0.1 + 2.0 * off_s : 0.0));
    }
    return close_told(&synth, "clipped", SIGNAL_PVES);
}

static void test_saturated(void **state)
{
    (void)state;
    assert_close(flip_between(is_saturated_for, 0.3, 0.8), 0.505, 0.002);
}

/* ---- Events ---- */

static bool is_flush_for(double length_s)
{
    struct line_pair how = line_pair_sound();

    how.noise = 0.0;
    line_pair_to(&how.pabd, 230.0, 0.02, 122.0);
    line_pair_to(&how.pabd, 230.0 + length_s, 0.02, 22.0);
    return is_told(&how, "flush", SIGNAL_PABD);
}

static bool is_rectal_for(double length_s)
{
    struct line_pair how = line_pair_sound();

    how.noise = 0.0;
    how.cough_count = 2;
    line_pair_to(&how.pabd, 230.0, 4.0, 32.0);
    line_pair_to(&how.pabd, 230.0 + length_s, 4.0, 22.0);
    return is_told(&how, "rectal_contraction", SIGNAL_PABD);
}

static void test_events(void **state)
{
    (void)state;
    assert_close(flip_between(is_flush_for, 1.2, 4.0), 1.804, 0.02);
    assert_close(flip_between(is_rectal_for, 15.0, 45.0), 28.44, 0.1);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_level_before),  cmocka_unit_test(test_reach),
        cmocka_unit_test(test_width),         cmocka_unit_test(test_watched_before),
        cmocka_unit_test(test_watched_after), cmocka_unit_test(test_rates),
        cmocka_unit_test(test_marker),        cmocka_unit_test(test_damped),
        cmocka_unit_test(test_dead_window),   cmocka_unit_test(test_dead_band),
        cmocka_unit_test(test_out),           cmocka_unit_test(test_step),
        cmocka_unit_test(test_drift),         cmocka_unit_test(test_negative_mean),
        cmocka_unit_test(test_cut),           cmocka_unit_test(test_one_cut),
        cmocka_unit_test(test_saturated),     cmocka_unit_test(test_events),
    };

    return cmocka_run_group_tests_name("quality: limits", tests, NULL, NULL);
}
