/* Limits of where a voiding begins and ends, of the trickle and the rest beside it, of markers, and
 * of where the volume signal is read. Each on both sides. */
#include "support/assert_close.h"
#include "support/flip.h"
#include "support/synth.h"

#include "analysis/filling/filling.h"

#include <math.h>

enum { RATE_HZ = 50 };

/* A study, and the voiding found in it. */
struct opened {
    struct synth synth;
    struct analysis_choices choices;
    struct analysis_result result;
    struct study study;
    struct flow_record record;
    struct void_phase phase;
};

static double *add_zeros(struct opened *opened, enum signal_kind signal, double rate_hz,
                         size_t count)
{
    static const double zero = 0.0;
    const struct synth_sampling sampling = {.rate_hz = rate_hz,
                                            .end_s = (double)(count - 1) / rate_hz};

    return synth_channel(&opened->synth, signal, sampling, constant_value, &zero);
}

static void set_level(double *samples, size_t first, size_t end, double level)
{
    for (size_t i = first; i < end; i++) {
        samples[i] = level;
    }
}

static double *begin(struct opened *opened, enum recording_type type, size_t count)
{
    synth_open(&opened->synth, type);
    return add_zeros(opened, SIGNAL_FLOW, RATE_HZ, count);
}

static void find_voiding(struct opened *opened)
{
    struct synth *synth = &opened->synth;

    choices_standard(&opened->choices);
    opened->result = (struct analysis_result){.has_filling = false};
    assert_true(study_open(&opened->study, &synth->recording, &opened->choices,
                           &synth->memory.memory, &opened->result));
    assert_true(flow_open(&opened->study, &opened->record));
    opened->phase = flow_find_void(&opened->study, &opened->record,
                                   flow_limits_free(&opened->study, &opened->record));
    assert_true(opened->phase.found);
}

/* ---- The trickle and the rest beside a voiding ---- */

/* How far the voiding reaches beyond its end when a trickle follows, and then nothing. */
static double tail_s(double trickle_ml_s, size_t samples)
{
    struct opened opened;

    double *flow = begin(&opened, RECORDING_UROFLOWMETRY, 5000);

    set_level(flow, 1000, 2000, 4.0);
    set_level(flow, 2000, 2000 + samples, trickle_ml_s);
    find_voiding(&opened);
    const double end_s = flow_with_tails(&opened.record, &opened.phase).to_s;
    const double after_s = end_s - opened.phase.span.to_s;

    synth_close(&opened.synth);
    return after_s;
}

static bool is_followed(double trickle_ml_s)
{
    return tail_s(trickle_ml_s, 300) > 3.0;
}

/* Followed down to 0.05 mL/s, for 10 s at most. */
static void test_tails(void **state)
{
    (void)state;
    assert_close(flip_between(is_followed, 0.03, 0.07), 0.05, 0.0001);
    assert_close(tail_s(0.2, 480), 10.0, 0.021);
    assert_close(tail_s(0.2, 650), 10.0, 0.021);
}

/* Flow that steps up at a sample begins half a sample before it. */
static struct void_phase voiding_between(size_t first, size_t end, size_t count)
{
    struct opened opened;

    set_level(begin(&opened, RECORDING_UROFLOWMETRY, count), first, end, 4.0);
    find_voiding(&opened);
    synth_close(&opened.synth);
    return opened.phase;
}

/* The rest is read where 5 s of it lie a second before the onset or 10 s after the end. */
static void test_shortest_rest(void **state)
{
    (void)state;
    assert_false(voiding_between(299, 1000, 4000).before.known);
    assert_true(voiding_between(303, 1000, 4000).before.known);
    assert_false(voiding_between(500, 1000, 1748).after.known);
    assert_true(voiding_between(500, 1000, 1752).after.known);
}

/* Over 60 s at most, ending a second before the onset. */
static void test_longest_rest(void **state)
{
    const struct void_phase phase = voiding_between(4000, 5000, 10000);

    (void)state;
    assert_close(phase.span.from_s - phase.before.span.to_s, 1.0, 1e-9);
    assert_close(phase.before.span.to_s - phase.before.span.from_s, 60.0, 1e-9);
    assert_close(phase.after.span.from_s - phase.span.to_s, 10.0, 1e-9);
    assert_close(phase.after.span.to_s - phase.after.span.from_s, 60.0, 1e-9);
}

/* ---- Markers ---- */

/* Flow begins at 19.99 s; the marker is late by less than 2 s, or by more. */
static bool is_start_cut(double late_s)
{
    struct opened opened;

    set_level(begin(&opened, RECORDING_UROFLOWMETRY, 4000), 1000, 2000, 4.0);
    synth_event(&opened.synth, EVENT_VOID_START, 19.99 + late_s);
    find_voiding(&opened);
    synth_close(&opened.synth);
    return opened.phase.start_cut;
}

static void test_late_start(void **state)
{
    (void)state;
    assert_close(flip_between(is_start_cut, 1.0, 3.0), 2.0, 0.002);
}

/* The signals end at 79.98 s. */
static bool is_told_after(double after_s)
{
    struct opened opened;

    set_level(begin(&opened, RECORDING_UROFLOWMETRY, 4000), 1000, 2000, 4.0);
    synth_event(&opened.synth, EVENT_URGENCY, 79.98 + after_s);
    const bool told = synth_quality(synth_run(&opened.synth), "marker_outside") != NULL;

    synth_close(&opened.synth);
    return told;
}

static bool is_told_before(double before_s)
{
    return is_told_after(-79.98 - before_s);
}

static void test_marker_outside(void **state)
{
    (void)state;
    assert_close(flip_between(is_told_after, 1.0, 3.0), 2.0, 0.002);
    assert_close(flip_between(is_told_before, 1.0, 3.0), 2.0, 0.002);
}

/* ---- The voiding of a cystometry without markers ---- */

/* A flow of `flow_ml`, after which `infused_ml` more is infused. */
static bool is_voiding(double flow_ml, double infused_ml)
{
    struct opened opened;

    /* Of 200 samples at 50 Hz a quarter of one lies outside the run. */
    set_level(begin(&opened, RECORDING_CYSTOMETRY, 3000), 1000, 1200,
              flow_ml / 4.0 * 200.0 / 199.75);
    double *infused = add_zeros(&opened, SIGNAL_VINF, RATE_HZ, 3000);

    set_level(infused, 0, 3000, 100.0);
    set_level(infused, 1500, 3000, 100.0 + infused_ml);
    find_voiding(&opened);
    const bool voids = filling_voiding_start(&opened.study, &opened.record).known;

    synth_close(&opened.synth);
    return voids;
}

static bool is_voiding_of(double flow_ml)
{
    return is_voiding(flow_ml, 0.0);
}

static bool is_voiding_before(double infused_ml)
{
    return is_voiding(15.0, infused_ml);
}

/* From 10 mL on, and when no more than 10 mL are infused after it. */
static void test_voiding_or_leak(void **state)
{
    (void)state;
    assert_close(flip_between(is_voiding_of, 8.0, 12.0), 10.0, 0.01);
    assert_close(flip_between(is_voiding_before, 8.0, 12.0), 10.0, 0.01);
}

/* ---- Where the volume signal is read ---- */

/* Volume of a voiding that with its trickle lasts from 19 to 41 s: as long as two samples of flow
 * are in the average. The signal stands at 0 and steps to 200 mL within it; beside it, it steps by
 * 10 mL more at a sample. */
static double volume_after(size_t later)
{
    struct opened opened;

    set_level(begin(&opened, RECORDING_UROFLOWMETRY, 4000), 999, 2002, 4.0);
    double *volume = add_zeros(&opened, SIGNAL_VVOID, RATE_HZ, 4000);

    set_level(volume, 2000, 4000, 200.0);
    set_level(volume, later, 4000, 210.0);
    find_voiding(&opened);
    assert_close(flow_with_tails(&opened.record, &opened.phase).to_s, 41.0, 1e-9);
    const double volume_ml = synth_run(&opened.synth)->uroflow.voided_volume.value;

    synth_close(&opened.synth);
    return volume_ml;
}

static double volume_before(size_t later)
{
    struct opened opened;

    set_level(begin(&opened, RECORDING_UROFLOWMETRY, 4000), 999, 2002, 4.0);
    double *volume = add_zeros(&opened, SIGNAL_VVOID, RATE_HZ, 4000);

    set_level(volume, later, 4000, 10.0);
    set_level(volume, 2000, 4000, 210.0);
    find_voiding(&opened);
    assert_close(flow_with_tails(&opened.record, &opened.phase).from_s, 19.0, 1e-9);
    const double volume_ml = synth_run(&opened.synth)->uroflow.voided_volume.value;

    synth_close(&opened.synth);
    return volume_ml;
}

/* The level after, or before, is the median of a second: 51 samples, of which 26 or 25 lie on the
 * far side of the step. */
static void test_volume_level(void **state)
{
    (void)state;
    assert_close(volume_after(2050 + 26), 200.0, 1e-9);
    assert_close(volume_after(2050 + 25), 210.0, 1e-9);
    assert_close(volume_before(950 - 25), 200.0, 1e-9);
    assert_close(volume_before(950 - 24), 210.0, 1e-9);
}

/* Volume that rises while no flow is found. */
static bool is_volume_alone(double rise_ml)
{
    struct opened opened;

    (void)begin(&opened, RECORDING_UROFLOWMETRY, 2000);
    set_level(add_zeros(&opened, SIGNAL_VVOID, RATE_HZ, 2000), 1000, 2000, rise_ml);
    const struct measure volume = synth_run(&opened.synth)->uroflow.voided_volume;

    synth_close(&opened.synth);
    return volume.state == MEASURE_PRESENT;
}

static void test_volume_alone(void **state)
{
    (void)state;
    assert_close(flip_between(is_volume_alone, 4.0, 6.0), 5.0, 0.005);
}

/* Where a marker cuts the flow the volume is the median over 0.15 s to both sides: 15 samples at
 * 46.7 Hz, 13 at 46.6 Hz. Seven of them lie higher. */
static void test_volume_at_a_cut(void **state)
{
    static const double rows[][2] = {{46.7, 100.0}, {46.6, 150.0}};

    (void)state;
    for (size_t i = 0; i < 2; i++) {
        struct opened opened;

        synth_open(&opened.synth, RECORDING_UROFLOWMETRY);
        set_level(add_zeros(&opened, SIGNAL_FLOW, rows[i][0], 3000), 1000, 2000, 4.0);
        double *volume = add_zeros(&opened, SIGNAL_VVOID, rows[i][0], 3000);

        set_level(volume, 1400, 3000, 100.0);
        set_level(volume, 1497, 1504, 150.0);
        synth_event(&opened.synth, EVENT_VOID_END, 1500.0 / rows[i][0]);
        assert_close(synth_run(&opened.synth)->uroflow.voided_volume.value, rows[i][1], 1e-9);
        synth_close(&opened.synth);
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_tails),           cmocka_unit_test(test_shortest_rest),
        cmocka_unit_test(test_longest_rest),    cmocka_unit_test(test_late_start),
        cmocka_unit_test(test_marker_outside),  cmocka_unit_test(test_voiding_or_leak),
        cmocka_unit_test(test_volume_level),    cmocka_unit_test(test_volume_alone),
        cmocka_unit_test(test_volume_at_a_cut),
    };

    return cmocka_run_group_tests_name("flow_markers", tests, NULL, NULL);
}
