/* Limits and windows of the search for leaks: each answer changes where its limit stands. */
#include "support/assert_close.h"
#include "support/flip.h"
#include "support/leak_case.h"

#include <math.h>
#include <string.h>

static struct leak_case scene;

static size_t count_leaks(const struct leak_case *how)
{
    struct synth synth;

    leak_case_open(&synth, how);
    const size_t count = synth_run(&synth)->filling.leaks.count;

    synth_close(&synth);
    return count;
}

/* One loss of `ml`, as long as scene.losses[0] says. */
static bool is_leak(double ml)
{
    struct leak_case how = scene;

    how.losses[0].ml = ml;
    return count_leaks(&how) == 1;
}

static void one_loss(double rate_hz, double length_s)
{
    scene = leak_case_quiet();
    scene.rate_hz = rate_hz;
    leak_case_loss(&scene, 200.0, 1.0, length_s);
}

/* 1 mL within 2 s; of a loss of 3 s, cut by windows of 20 and of 18 samples. */
static void test_spurt(void **state)
{
    (void)state;
    one_loss(50.0, 0.4);
    assert_close(flip_between(is_leak, 0.5, 2.0), 1.0, 0.008);
    one_loss(10.0, 4.0);
    const double whole = flip_between(is_leak, 0.8, 1.9);

    one_loss(9.9, 4.0);
    const double cut = flip_between(is_leak, 0.8, 1.9);

    assert_close(whole, 1.0 / sin(3.14159265 / 2.0 * 2.0 / 4.0), 0.02);
    assert_close(cut, 1.0 / sin(3.14159265 / 2.0 * 18.0 / 9.9 / 4.0), 0.02);
}

/* 2 mL within 10 s. */
static void test_dribble(void **state)
{
    (void)state;
    one_loss(10.0, 7.0);
    assert_close(flip_between(is_leak, 1.0, 3.0), 2.0, 0.015);
    one_loss(10.0, 25.0);
    assert_close(flip_between(is_leak, 2.2, 5.0), 2.0 / sin(3.14159265 / 2.0 * 10.0 / 25.0), 0.03);
}

/* Five robust standard deviations of a meter that is restless: of what it is without a loss. */
static void test_noise(void **state)
{
    (void)state;
    one_loss(10.0, 0.4);
    scene.noise = 6.0;
    assert_close(flip_between(is_leak, 0.8, 12.0), 3.499, 0.02);
}

/* The vessel as it is given: a jump at 200 s, and a blip of `blip` before filling that shows its
 * resolution. */
static bool is_jump_leak(double jump, double blip)
{
    struct leak_case how = leak_case_quiet();
    struct synth synth;

    leak_case_open(&synth, &how);
    double *volume = synth_writable(&synth, SIGNAL_VVOID);
    const size_t count = synth.channels[3].sample_count;

    assert_int_equal(synth.channels[3].signal, SIGNAL_VVOID);
    for (size_t i = 0; i < count; i++) {
        volume[i] = i >= 10000 ? jump : 0.0;
    }
    volume[500] = blip;
    const bool found = synth_run(&synth)->filling.leaks.count == 1;

    synth_close(&synth);
    return found;
}

static bool is_leak_of_fine_steps(double jump)
{
    return is_jump_leak(jump, 0.9);
}

static bool is_leak_of_coarse_steps(double jump)
{
    return is_jump_leak(jump, 1.2);
}

/* One and a half steps of the resolution, counted as 1 mL at most. */
static void test_steps(void **state)
{
    (void)state;
    assert_close(flip_between(is_leak_of_fine_steps, 1.0, 2.0), 1.35, 0.01);
    assert_close(flip_between(is_leak_of_coarse_steps, 1.25, 2.0), 1.5, 0.01);
}

/* Numbers of a restless meter, summed over losses, rates and shapes: they hold where its windows,
 * shares and rates are what they are, and nowhere else. */
static void test_meter_numbers(void **state)
{
    static const struct {
        double rate_hz;
        double onsets_s;
        double lost_ml;
    } rows[] = {{10.0, 14.13074, 0.0364},
                {10.1, 14.02258, -0.61799},
                {8.0, 13.31124, 0.23508},
                {7.9, 14.00599, -0.24193},
                {9.9, 14.31792, 0.02834}};

    (void)state;
    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
        struct leak_case how = leak_case_quiet();
        struct synth synth;
        double onsets_s = 0.0;
        double lost_ml = 0.0;

        how.rate_hz = rows[i].rate_hz;
        how.noise = 0.5;
        for (int k = 0; k < 22; k++) {
            const double length_s = k % 3 == 0 ? 10.0 : 0.5 + 0.2 * k;

            leak_case_loss(&how, 40.0 + 21.0 * k + 0.13 * k, 4.0 + 0.3 * k, length_s);
        }
        leak_case_open(&synth, &how);
        const struct filling_measures *filling = &synth_run(&synth)->filling;
        const struct leak *leaks = filling->leaks.items;

        assert_int_equal(filling->leaks.count, 22);
        for (size_t k = 0; k < 22; k++) {
            onsets_s += leaks[k].at_s - how.losses[k].at_s - how.delay_s;
            lost_ml += leaks[k].lost_ml - how.losses[k].ml;
        }
        assert_close(onsets_s, rows[i].onsets_s, 1e-4);
        assert_close(lost_ml, rows[i].lost_ml, 1e-4);
        synth_close(&synth);
    }
}

/* ---- Markers ---- */

static bool marker_is_the_leak(double marker_s)
{
    struct leak_case how = leak_case_quiet();
    struct synth synth;

    leak_case_loss(&how, 200.0, 5.0, 1.0);
    leak_case_open(&synth, &how);
    synth_event(&synth, EVENT_LEAK, marker_s);
    const bool one = synth_run(&synth)->filling.leaks.count == 1;

    synth_close(&synth);
    return one;
}

/* 3 s before its start to 5 s after its end, which lie near 200.8 and 201.8 s. */
static void test_marker_at_a_leak(void **state)
{
    const double early_s = flip_between(marker_is_the_leak, 195.0, 199.0);
    const double late_s = flip_between(marker_is_the_leak, 210.0, 203.0);

    (void)state;
    /* On the meter from 200.851 to 201.748 s. */
    assert_close(early_s, 200.851 - 3.0, 0.02);
    assert_close(late_s, 201.748 + 5.0, 0.02);
}

static bool markers_are_one(double apart_s)
{
    struct leak_case how = leak_case_quiet();
    struct synth synth;

    how.meter = LEAK_METER_NONE;
    leak_case_open(&synth, &how);
    synth_event(&synth, EVENT_LEAK, 200.0);
    synth_event(&synth, EVENT_LEAK, 200.0 + apart_s);
    const bool one = synth_run(&synth)->filling.leaks.count == 1;

    synth_close(&synth);
    return one;
}

static void test_markers_apart(void **state)
{
    (void)state;
    assert_close(flip_between(markers_are_one, 1.0, 3.0), 2.0, 0.01);
}

/* ---- Cause ---- */

static bool has_cause(const struct leak_case *how, double marker_s, const char *cause)
{
    struct synth synth;

    leak_case_open(&synth, how);
    synth_event(&synth, EVENT_LEAK, marker_s);
    const struct filling_measures *filling = &synth_run(&synth)->filling;
    const struct leak *leak = filling->leaks.items;

    assert_int_equal(filling->leaks.count, 1);
    const bool is = strcmp(leak->cause, cause) == 0;

    synth_close(&synth);
    return is;
}

static struct leak_case strained(void)
{
    struct leak_case how = leak_case_quiet();

    how.meter = LEAK_METER_NONE;
    leak_case_stress(&how, 200.0, 60.0, 10.0);
    return how;
}

static bool marked_is_strain(double marker_s)
{
    const struct leak_case how = strained();

    return has_cause(&how, marker_s, "valsalva");
}

static bool metered_is_strain(double loss_s)
{
    struct leak_case how = strained();
    struct synth synth;

    how.meter = LEAK_METER_VOLUME;
    leak_case_loss(&how, loss_s, 5.0, 0.2);
    leak_case_open(&synth, &how);
    const struct leak *leak = synth_run(&synth)->filling.leaks.items;
    const bool is = strcmp(leak->cause, "valsalva") == 0;

    synth_close(&synth);
    return is;
}

/* A strain ends up to 5 s before a marker and begins up to 1 s after it; with a meter 1 s to both
 * sides. Between the two flips lies the strain itself, the same both times. */
static void test_cause_window(void **state)
{
    const double marked_s =
        flip_between(marked_is_strain, 222.0, 205.0) - flip_between(marked_is_strain, 195.0, 205.0);
    const double metered_s = flip_between(metered_is_strain, 222.0, 205.0) -
                             flip_between(metered_is_strain, 195.0, 205.0);

    (void)state;
    assert_close(marked_s - metered_s, 4.0, 0.015);
    assert_close(flip_between(marked_is_strain, 195.0, 205.0), 200.2, 0.05);
}

static bool is_detrusor_at(double pdet)
{
    struct leak_case how = leak_case_quiet();

    how.meter = LEAK_METER_NONE;
    how.pdet_end = pdet;
    return has_cause(&how, 480.0, "detrusor");
}

static bool is_abdomen_at(double pabd)
{
    struct leak_case how = leak_case_quiet();

    how.meter = LEAK_METER_NONE;
    how.pdet_end = 30.0;
    how.pabd_end = pabd * 480.0 / 450.0;
    return has_cause(&how, 480.0, "unclear");
}

static void test_raised_pressure(void **state)
{
    (void)state;
    assert_close(flip_between(is_detrusor_at, 5.0, 15.0), 10.0, 0.05);
    assert_close(flip_between(is_abdomen_at, 5.0, 25.0), 15.0, 0.1);
}

/* A cough within a contraction that began `after_s` before it. */
static bool is_cough_after(double after_s)
{
    struct leak_case how = leak_case_quiet();

    how.meter = LEAK_METER_NONE;
    leak_case_contraction(&how, 250.0, 40.0, 60.0);
    leak_case_stress(&how, 250.0 + after_s, 60.0, 0.0);
    return has_cause(&how, 250.0 + after_s + 0.5, "cough");
}

/* A contraction that was under way for 2 s may have caused it too: it is seen to begin 6.2 s after
 * it does, and the cough a little before its peak. */
static void test_under_way(void **state)
{
    (void)state;
    assert_close(flip_between(is_cough_after, 1.0, 16.0), 8.489, 0.02);
}

/* A jolt on a meter of flow alone. */
static bool is_jolt_leak(double cough_s, double rate_hz, double length_s)
{
    struct leak_case how = leak_case_quiet();
    struct synth synth;

    how.rate_hz = rate_hz;
    how.meter = LEAK_METER_FLOW;
    leak_case_stress(&how, cough_s, 80.0, 0.0);
    leak_case_loss(&how, 400.0, 40.0, 20.0);
    leak_case_open(&synth, &how);
    double *flow = synth_writable(&synth, SIGNAL_FLOW);
    const size_t first = (size_t)(300.0 * rate_hz);

    for (size_t k = 0; k < (size_t)round(length_s * rate_hz); k++) {
        flow[first + k] += 15.0;
    }
    const bool found = synth_run(&synth)->filling.leaks.count == 2;

    synth_close(&synth);
    return found;
}

static bool is_jolt_leak_after(double cough_s)
{
    return is_jolt_leak(cough_s, 50.0, 0.4);
}

static bool is_jolt_leak_of(double length_s)
{
    return is_jolt_leak(299.3, 200.0, length_s);
}

/* At most 2 s after the end of a cough, and 0.25 s long with the samples at both ends. */
static void test_jolt(void **state)
{
    (void)state;
    assert_close(flip_between(is_jolt_leak_after, 295.0, 299.4), 297.379, 0.02);
    assert_close(flip_between(is_jolt_leak_of, 0.15, 0.4), 0.2425, 0.001);
}

/* ---- Pressures ---- */

/* Both lines rise to a point at 230 s and fall again, by `slope` cmH2O a second. */
static void add_point(struct synth *synth, double rate_hz, double slope, double most)
{
    double *lines[] = {synth_writable(synth, SIGNAL_PVES), synth_writable(synth, SIGNAL_PABD)};

    for (size_t i = (size_t)(200.0 * rate_hz); i < (size_t)(260.0 * rate_hz); i++) {
        const double rise = most - slope * fabs((double)i / rate_hz - 230.0);

        lines[0][i] += fmax(0.0, rise);
        lines[1][i] += fmax(0.0, rise);
    }
}

/* The median over half a second at the point of a strain, over rates that put samples at the ends
 * of the window or beside them. */
static void test_window_at_a_point(void **state)
{
    double sum = 0.0;

    (void)state;
    for (int rate = 40; rate <= 50; rate++) {
        struct leak_case how = leak_case_quiet();
        struct synth synth;

        how.rate_hz = rate;
        how.meter = LEAK_METER_NONE;
        leak_case_open(&synth, &how);
        add_point(&synth, rate, 16.0, 64.0);
        synth_event(&synth, EVENT_LEAK, 230.0);
        const struct leak *leak = synth_run(&synth)->filling.leaks.items;

        assert_string_equal(leak->cause, "valsalva");
        sum += leak->pves_leak_cmh2o;
        synth_close(&synth);
    }
    assert_close(sum, 846.95971, 1e-4);
}

/* A cough whose pves goes on rising: its highest within half a second of the cough. */
static void test_peak_of_a_cough(void **state)
{
    double sum = 0.0;

    (void)state;
    for (int rate = 40; rate <= 50; rate++) {
        struct leak_case how = leak_case_quiet();
        struct synth synth;

        how.rate_hz = rate;
        how.meter = LEAK_METER_NONE;
        leak_case_stress(&how, 230.0, 60.0, 0.0);
        leak_case_open(&synth, &how);
        double *pves = synth_writable(&synth, SIGNAL_PVES);

        for (size_t i = (size_t)(230.3 * rate); i < (size_t)(230.8 * rate); i++) {
            pves[i] = 70.0 + 40.0 * ((double)i / rate - 230.3);
        }
        synth_event(&synth, EVENT_LEAK, 231.0);
        const struct leak *leak = synth_run(&synth)->filling.leaks.items;

        assert_string_equal(leak->cause, "cough");
        sum += leak->pves_leak_cmh2o;
        synth_close(&synth);
    }
    assert_close(sum, 855.76894, 1e-4);
}

/* Read on a slope, where nothing happens: pves 2 s before, the middle of 2 s that end 1 s before.
 */
static void test_level_before(void **state)
{
    struct leak_case how = leak_case_quiet();
    struct synth synth;

    (void)state;
    how.meter = LEAK_METER_NONE;
    how.pdet_end = 42.0; /* 0.1 cmH2O a second */
    leak_case_open(&synth, &how);
    synth_event(&synth, EVENT_LEAK, 200.0);
    const struct leak *leak = synth_run(&synth)->filling.leaks.items;

    assert_close(leak->pves_baseline_cmh2o, leak_case_pves(&how, 198.0), 5e-4);
    assert_close(leak->pves_leak_cmh2o, leak_case_pves(&how, 200.0), 5e-4);
    synth_close(&synth);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_spurt),
        cmocka_unit_test(test_dribble),
        cmocka_unit_test(test_noise),
        cmocka_unit_test(test_steps),
        cmocka_unit_test(test_meter_numbers),
        cmocka_unit_test(test_marker_at_a_leak),
        cmocka_unit_test(test_markers_apart),
        cmocka_unit_test(test_cause_window),
        cmocka_unit_test(test_raised_pressure),
        cmocka_unit_test(test_level_before),
        cmocka_unit_test(test_under_way),
        cmocka_unit_test(test_jolt),
        cmocka_unit_test(test_window_at_a_point),
        cmocka_unit_test(test_peak_of_a_cough),
    };

    return cmocka_run_group_tests_name("leaks: limits", tests, NULL, NULL);
}
