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

/* Both lines rise to a point and fall again, pabd by half as much. */
static bool is_a_cough(double width_s)
{
    struct line_pair how = line_pair_sound();

    how.noise = 0.0;
    line_pair_to(&how.pves, 230.0 - width_s, width_s, 75.0);
    line_pair_to(&how.pves, 230.0, width_s, 25.0);
    line_pair_to(&how.pabd, 230.0 - width_s, width_s, 47.0);
    line_pair_to(&how.pabd, 230.0, width_s, 22.0);
    return is_told(&how, "unequal_cough_response", SIGNAL_PABD);
}

/* From 0.15 to 1.5 s at half height. */
static void test_width(void **state)
{
    (void)state;
    assert_close(flip_between(is_a_cough, 0.08, 0.5), 0.15, 0.002);
    assert_close(flip_between(is_a_cough, 0.8, 1.9), 1.479, 0.01);
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
                     10.0,
                 0.15);
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

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_level_before),  cmocka_unit_test(test_reach),
        cmocka_unit_test(test_width),         cmocka_unit_test(test_watched_before),
        cmocka_unit_test(test_watched_after), cmocka_unit_test(test_rates),
        cmocka_unit_test(test_marker),
    };

    return cmocka_run_group_tests_name("quality: limits", tests, NULL, NULL);
}
