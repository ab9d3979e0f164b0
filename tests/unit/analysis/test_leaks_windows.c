/* Windows and lengths around losses of urine, at sampling rates that put a sample just within and
 * just beyond their ends. */
#include "support/assert_close.h"
#include "support/flip.h"
#include "support/leak_case.h"

#include <math.h>
#include <string.h>

/* ---- Pressures ---- */

/* A marked leak at rest; around it pves is higher by 2 cmH2O for 12 samples. Returns how much
 * higher it is read. */
static double read_over_rest(double rate_hz)
{
    struct leak_case how = leak_case_quiet();
    struct synth synth;
    const size_t middle = (size_t)(200.0 * rate_hz);

    how.rate_hz = rate_hz;
    how.meter = LEAK_METER_NONE;
    leak_case_open(&synth, &how);
    double *pves = synth_writable(&synth, SIGNAL_PVES);

    for (size_t i = middle - 6; i < middle + 6; i++) {
        pves[i] += 2.0;
    }
    synth_event(&synth, EVENT_LEAK, (double)middle / rate_hz);
    const struct filling_measures *filling = &synth_run(&synth)->filling;
    const struct leak *leak = filling->leaks.items;

    assert_int_equal(filling->leaks.count, 1);
    const double read = leak->pves_leak_cmh2o - 15.0;

    synth_close(&synth);
    return read;
}

/* The median over a quarter of a second to both sides: of 25 samples at 48 Hz, which are at rest,
 * and of 23 at 47.5 Hz, which are not. */
static void test_reading(void **state)
{
    (void)state;
    assert_close(read_over_rest(48.0), 0.0, 1e-6);
    assert_close(read_over_rest(47.5), 2.0, 1e-6);
}

/* A cough with a single higher sample of pves so many samples after its peak. */
static bool is_peak_after(double rate_hz, size_t samples)
{
    struct leak_case how = leak_case_quiet();
    struct synth synth;
    const size_t peak = (size_t)(230.0 * rate_hz);

    how.rate_hz = rate_hz;
    how.meter = LEAK_METER_NONE;
    leak_case_stress(&how, (double)peak / rate_hz, 60.0, 0.0);
    leak_case_open(&synth, &how);
    synth_writable(&synth, SIGNAL_PVES)[peak + samples] = 80.0;
    synth_event(&synth, EVENT_LEAK, 231.0);
    const struct leak *leak = synth_run(&synth)->filling.leaks.items;

    assert_string_equal(leak->cause, "cough");
    const bool is = leak->pves_leak_cmh2o > 79.0;

    synth_close(&synth);
    return is;
}

/* The highest pves within half a second of the peak: 25 samples at 50 Hz, 24 at 49.5 Hz. */
static void test_peak(void **state)
{
    (void)state;
    assert_true(is_peak_after(50.0, 25));
    assert_false(is_peak_after(50.0, 26));
    assert_true(is_peak_after(49.5, 24));
    assert_false(is_peak_after(49.5, 25));
}

/* ---- On the meter ---- */

/* 4 mL that come at once, while volume creeps up by 0.1 mL a second: what is taken as lost. */
static double lost_on_a_slope(double rate_hz)
{
    struct leak_case how = leak_case_quiet();
    struct synth synth;

    how.rate_hz = rate_hz;
    leak_case_open(&synth, &how);
    double *volume = synth_writable(&synth, SIGNAL_VVOID);
    const size_t count = synth.channels[3].sample_count;
    const size_t jump = (size_t)(200.0 * rate_hz);

    assert_int_equal(synth.channels[3].signal, SIGNAL_VVOID);
    for (size_t i = 0; i < count; i++) {
        volume[i] = 0.1 * (double)i / rate_hz + (i >= jump ? 4.0 : 0.0);
    }
    const struct filling_measures *filling = &synth_run(&synth)->filling;
    const struct leak *leak = filling->leaks.items;

    assert_int_equal(filling->leaks.count, 1);
    const double lost_ml = leak->lost_ml;

    synth_close(&synth);
    return lost_ml;
}

/* Levels are medians over 1 s before and after it. Their middles lie 53 samples apart at 10 Hz, and
 * 50 at 9.95 Hz, where a second holds one sample less. */
static void test_level(void **state)
{
    (void)state;
    assert_close(lost_on_a_slope(10.0), 4.0 + 0.1 * 53.0 / 10.0, 1e-6);
    assert_close(lost_on_a_slope(9.95), 4.0 + 0.1 * 50.0 / 9.95, 1e-6);
}

/* A jolt of 12 samples on a meter of flow alone, right after a cough. */
static bool is_jolt_leak(double rate_hz)
{
    struct leak_case how = leak_case_quiet();
    struct synth synth;

    how.rate_hz = rate_hz;
    how.meter = LEAK_METER_FLOW;
    leak_case_stress(&how, 299.3, 80.0, 0.0);
    leak_case_loss(&how, 400.0, 40.0, 20.0);
    leak_case_open(&synth, &how);
    double *flow = synth_writable(&synth, SIGNAL_FLOW);

    for (size_t i = 0; i < 12; i++) {
        flow[(size_t)(300.0 * rate_hz) + i] += 15.0;
    }
    const bool found = synth_run(&synth)->filling.leaks.count == 2;

    synth_close(&synth);
    return found;
}

/* It lasts at least 0.25 s: 12 samples at 47.5 Hz do, at 48.5 Hz they do not. */
static void test_shortest_jolt(void **state)
{
    (void)state;
    assert_true(is_jolt_leak(47.5));
    assert_false(is_jolt_leak(48.5));
}

/* A strain, and a jolt on a meter of flow that begins to record so much later. */
static struct synth jolted;

static const struct filling_measures *run_jolt(double later_s)
{
    struct leak_case how = leak_case_quiet();

    how.meter = LEAK_METER_FLOW;
    leak_case_stress(&how, 290.0, 80.0, 10.0);
    leak_case_loss(&how, 400.0, 40.0, 20.0);
    leak_case_open(&jolted, &how);
    double *flow = synth_writable(&jolted, SIGNAL_FLOW);

    for (size_t i = 0; i < 20; i++) {
        flow[15000 + i] += 15.0;
    }
    jolted.channels[3].start_s = later_s;
    return &synth_run(&jolted)->filling;
}

static bool is_provoked(double later_s)
{
    const bool found = run_jolt(later_s)->leaks.count == 2;

    synth_close(&jolted);
    return found;
}

/* It begins at most 2 s after the end of the strain. */
static void test_after_a_strain(void **state)
{
    const double later_s = flip_between(is_provoked, 0.0, 4.0);

    (void)state;
    const struct filling_measures *filling = run_jolt(later_s - 0.002);
    const struct leak *leak = filling->leaks.items;
    const struct strain *strain = filling->strains.items;

    assert_int_equal(filling->leaks.count, 2);
    assert_int_equal(filling->strains.count, 1);
    assert_close(leak->at_s - strain->end_s, 2.0, 0.02);
    synth_close(&jolted);
}

/* ---- Cause ---- */

/* A strain within a contraction that began `after_s` before it. */
static struct synth strained;

static const struct filling_measures *run_strain(double after_s)
{
    struct leak_case how = leak_case_quiet();

    how.rate_hz = 9.6;
    how.meter = LEAK_METER_NONE;
    leak_case_contraction(&how, 250.0, 40.0, 60.0);
    leak_case_stress(&how, 250.0 + after_s, 60.0, 5.0);
    leak_case_open(&strained, &how);
    synth_event(&strained, EVENT_LEAK, 250.0 + after_s + 3.0);
    return &synth_run(&strained)->filling;
}

static bool is_unclear(double after_s)
{
    const struct leak *leak = run_strain(after_s)->leaks.items;
    const bool is = strcmp(leak->cause, "unclear") == 0;

    synth_close(&strained);
    return is;
}

static double under_way_s(double after_s)
{
    const struct filling_measures *filling = run_strain(after_s);
    const struct involuntary_contraction *contraction = filling->involuntary_contractions.items;
    const struct strain *strain = filling->strains.items;

    assert_int_equal(filling->strains.count, 1);
    assert_int_equal(filling->involuntary_contractions.count, 1);
    const double length_s = strain->start_s - contraction->start_s;

    synth_close(&strained);
    return length_s;
}

/* The contraction was under way for 2 s: in steps of a sample at 9.6 Hz, 20 of them, not
 * 19, which are 1.98 s. */
static void test_under_way(void **state)
{
    const double after_s = flip_between(is_unclear, 1.0, 16.0);

    (void)state;
    assert_close(under_way_s(after_s - 0.02), 19.0 / 9.6, 1e-6);
    assert_close(under_way_s(after_s + 0.02), 20.0 / 9.6, 1e-6);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_reading),        cmocka_unit_test(test_peak),
        cmocka_unit_test(test_level),          cmocka_unit_test(test_shortest_jolt),
        cmocka_unit_test(test_after_a_strain), cmocka_unit_test(test_under_way),
    };

    return cmocka_run_group_tests_name("leaks: windows", tests, NULL, NULL);
}
