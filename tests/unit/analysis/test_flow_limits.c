/* Limits of what is made of a flow, or of a volume that flow is derived from: averages, medians,
 * regression, and the runs found in it. Each on both sides. */
#include "support/assert_close.h"
#include "support/flip.h"
#include "support/synth.h"

#include "analysis/filling/infusion.h"
#include "analysis/flow/flow.h"
#include "analysis/signal/derive.h"
#include "analysis/signal/integrate.h"

#include <math.h>

/* A study of one channel, and the flow found in it. */
struct opened {
    struct synth synth;
    struct analysis_choices choices;
    struct analysis_result result;
    struct study study;
    struct flow_record record;
};

/* A level of some samples, first to last but one. */
struct box {
    size_t first;
    size_t end;
    double level;
};

/* A channel of zeros with one box, not yet opened. */
static double *add_box(struct opened *opened, enum signal_kind signal, double rate_hz, size_t count,
                       struct box box)
{
    static const double zero = 0.0;
    const struct synth_sampling sampling = {.rate_hz = rate_hz,
                                            .end_s = (double)(count - 1) / rate_hz};

    synth_open(&opened->synth, RECORDING_UROFLOWMETRY);
    double *samples = synth_channel(&opened->synth, signal, sampling, constant_value, &zero);

    for (size_t i = box.first; i < box.end; i++) {
        samples[i] = box.level;
    }
    return samples;
}

static void open_record(struct opened *opened)
{
    struct synth *synth = &opened->synth;

    choices_standard(&opened->choices);
    opened->result = (struct analysis_result){.has_filling = false};
    assert_true(study_open(&opened->study, &synth->recording, &opened->choices,
                           &synth->memory.memory, &opened->result));
    assert_true(flow_open(&opened->study, &opened->record));
}

static void open_box(struct opened *opened, double rate_hz, size_t count, struct box box)
{
    (void)add_box(opened, SIGNAL_FLOW, rate_hz, count, box);
    open_record(opened);
}

/* ---- Averages and medians ---- */

/* Missing samples are bridged up to a second from present sample to present sample. */
static void test_bridged_flow(void **state)
{
    (void)state;
    for (size_t lost = 49; lost <= 50; lost++) {
        struct opened opened;

        double *samples = add_box(&opened, SIGNAL_FLOW, 50.0, 2000, (struct box){500, 1500, 4.0});

        for (size_t i = 0; i < lost; i++) {
            samples[1000 + i] = SERIES_MISSING;
        }
        open_record(&opened);
        assert_int_equal(opened.record.run_count, lost == 49 ? 1 : 2);
        assert_int_equal(isnan(opened.record.smoothed.samples[1020]), lost == 50);
        const struct void_phase phase = flow_find_void(
            &opened.study, &opened.record, flow_limits_free(&opened.study, &opened.record));

        assert_int_equal(phase.gap_inside, lost == 50);
        synth_close(&opened.synth);
    }
}

/* The infused volume is read up to a second beside its signal. */
static void test_bridged_infusion(void **state)
{
    static const double volumes_ml[] = {100.0, 110.0, 120.0};

    static const struct {
        double at_s;
        double volume_ml;
    } rows[] = {{3.99, SERIES_MISSING}, {4.01, 100.0}, {7.99, 120.0}, {8.01, SERIES_MISSING}};
    static const struct recording recording = {.type = RECORDING_CYSTOMETRY};
    const struct study study = {.recording = &recording, .vinf = {1.0, 5.0, 3, volumes_ml}};

    (void)state;
    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
        const struct infused infused = infusion_volume(&study, rows[i].at_s);

        assert_int_equal(infused.known, !isnan(rows[i].volume_ml));
        if (infused.known) {
            assert_close(infused.volume_ml, rows[i].volume_ml, 0.0);
        }
    }
}

/* The 2 s average at 50 Hz sees 50 samples to both sides: 101. */
static void test_average(void **state)
{
    struct opened opened;

    (void)state;
    open_box(&opened, 50.0, 2000, (struct box){500, 1500, 4.0});
    assert_close(opened.record.smoothed.samples[449], 0.0, 1e-12);
    assert_close(opened.record.smoothed.samples[450], 4.0 / 101.0, 1e-12);
    assert_close(opened.record.smoothed.samples[549], 4.0 * 100.0 / 101.0, 1e-12);
    assert_close(opened.record.smoothed.samples[550], 4.0, 1e-12);
    synth_close(&opened.synth);
}

/* From 0.999 Hz on there is an average, of three samples then. */
static void test_slowest_average(void **state)
{
    static const struct {
        double rate_hz;
        bool averaged;
    } rows[] = {{0.99, false}, {0.9985, false}, {0.9995, true}, {1.0, true}};

    (void)state;
    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
        struct opened opened;

        open_box(&opened, rows[i].rate_hz, 60, (struct box){20, 40, 3.0});
        assert_int_equal(opened.record.smoothed.count, rows[i].averaged ? 60 : 0);
        if (rows[i].averaged) {
            assert_close(opened.record.smoothed.samples[19], 1.0, 1e-12);
            assert_close(opened.record.smoothed.samples[20], 2.0, 1e-12);
        }
        synth_close(&opened.synth);
    }
}

/* Onset and end are found on a median over 0.25 s to both sides: 12 samples at 48 Hz, 11 below. A
 * pulse of half the window passes, a shorter one does not. */
static void test_median(void **state)
{
    static const struct {
        double rate_hz;
        size_t samples;
        bool passes;
    } rows[] = {{48.0, 12, false}, {48.0, 13, true}, {47.9, 11, false}, {47.9, 12, true}};

    (void)state;
    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
        struct opened opened;

        open_box(&opened, rows[i].rate_hz, 1000, (struct box){500, 500 + rows[i].samples, 4.0});
        assert_close(opened.record.detected.samples[500 + rows[i].samples / 2],
                     rows[i].passes ? 4.0 : 0.0, 0.0);
        synth_close(&opened.synth);
    }
}

/* ---- Flow from volume ---- */

/* The regression sees 0.25 s to both sides, 12 samples at 48 Hz and 11 below: what one sample that
 * is off does to the slope at its farthest neighbour. */
static void test_regression(void **state)
{
    static const struct {
        double rate_hz;
        size_t half;
        double squares; /* sum of the squares of -half..half */
    } rows[] = {{48.0, 12, 1300.0}, {47.9, 11, 1012.0}};

    (void)state;
    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
        const double half = (double)rows[i].half;
        const double rate_hz = rows[i].rate_hz;
        struct opened opened;

        double *samples = add_box(&opened, SIGNAL_VVOID, rate_hz, 400, (struct box){0, 0, 0.0});

        for (size_t k = 0; k < 400; k++) {
            samples[k] = 10.0 * (double)k / rate_hz + (k == 200 ? 0.02 : 0.0);
        }
        open_record(&opened);
        const double *flow = opened.study.flow.samples;

        assert_true(opened.study.flow_derived);
        assert_close(flow[200 - rows[i].half - 1], 10.0, 1e-6);
        assert_close(flow[200 - rows[i].half], 10.0 + 0.02 * half / rows[i].squares * rate_hz,
                     1e-6);
        synth_close(&opened.synth);
    }
}

/* Changes of up to 0.001 mL are none: neither the resolution nor the end of a level. */
static void test_smallest_change(void **state)
{
    static const double changes_ml[] = {0.00099, 0.00101};

    (void)state;
    for (size_t i = 0; i < 2; i++) {
        const double small[] = {0.0, changes_ml[i], 1.0 + changes_ml[i]};
        const struct series volume = {10.0, 0.0, 3, small};
        double joined[3];

        assert_close(derive_step(&volume), i == 0 ? 1.0 : 0.00101, 1e-12);
        /* One level that rises by a step: drawn out from its first sample; or two. */
        derive_join_steps(&volume, 1.0, joined);
        assert_close(joined[1], i == 0 ? 0.5 * (1.0 + changes_ml[0]) : changes_ml[1], 1e-12);
    }
}

enum { LEVELS_MOST = 400 };

/* Volume that stands at a level for some samples, and rises. */
struct levels {
    size_t count;
    double samples[LEVELS_MOST];
    double joined[LEVELS_MOST];
};

static void hold(struct levels *levels, double level_ml, size_t samples)
{
    assert_true(levels->count + samples <= LEVELS_MOST);
    for (size_t i = 0; i < samples; i++) {
        levels->samples[levels->count++] = level_ml;
    }
}

/* At 10 Hz, with steps of 1 mL. */
static void join(struct levels *levels)
{
    const struct series volume = {10.0, 0.0, levels->count, levels->samples};

    derive_join_steps(&volume, 1.0, levels->joined);
}

/* A rise of up to 1.5 steps is a single one, and joined. */
static void test_single_step(void **state)
{
    static const double rises_ml[] = {1.49, 1.51};

    (void)state;
    for (size_t i = 0; i < 2; i++) {
        struct levels levels = {.count = 0};

        hold(&levels, 0.0, 10);
        hold(&levels, rises_ml[i], 10);
        join(&levels);
        assert_close(levels.joined[5], i == 0 ? 0.745 : 0.0, 1e-9);
    }
}

/* A level left three times slower than those around it is a pause: held, and left as fast as the
 * next. The one before is left at a third of a step per sample or so, it at a ninth. */
static void test_pause(void **state)
{
    static const struct {
        double before_ml;
        double after_ml;
        bool pauses;
    } rows[] = {{1.01, 1.01, true}, {0.99, 1.01, false}, {1.01, 0.99, false}};

    (void)state;
    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
        const double level_ml = rows[i].before_ml;
        struct levels levels = {.count = 0};

        hold(&levels, 0.0, 3);
        hold(&levels, level_ml, 9);
        hold(&levels, level_ml + 1.0, 3);
        hold(&levels, level_ml + 1.0 + rows[i].after_ml, 3);
        join(&levels);
        assert_close(levels.joined[3 + 5], rows[i].pauses ? level_ml : level_ml + 5.0 / 9.0, 1e-9);
    }
}

/* Between slow levels a step is left at a fifth of the threshold, 0.1 mL/s, when its own rise is
 * slower: 0.05 mL/s here. */
static void test_slow_step(void **state)
{
    struct levels levels = {.count = 0};

    (void)state;
    hold(&levels, 0.0, 200);
    hold(&levels, 1.0, 100);
    join(&levels);
    assert_close(levels.joined[150], 0.5, 1e-9);
    assert_close(levels.joined[90], 0.0, 1e-9);
}

enum { EDGE_HALF = 5, EDGE_AT = 240, EDGE_COUNT = 300 };

/* A volume that stands still, or trembles from sample to sample, and rises from EDGE_AT on. */
struct edge {
    double rms_ml; /* root mean square distance of the rise alone from the line through it */
    double step_ml;
    size_t tremble_from;
    size_t tremble_end;
    double tremble_ml;
};

static void edge_samples(const struct edge *edge, double samples[EDGE_COUNT])
{
    /* A kink of slope s is s*t/2 + s*|t|/2; |t| over -5..5 has the variance 10 - (30/11)^2. */
    const double slope = edge->rms_ml / (0.5 * sqrt(10.0 - 900.0 / 121.0));

    for (size_t i = 0; i < EDGE_COUNT; i++) {
        const bool trembles = i >= edge->tremble_from && i < edge->tremble_end;

        samples[i] = i > EDGE_AT ? slope * (double)(i - EDGE_AT) : 0.0;
        samples[i] += trembles ? (i % 2 == 0 ? 1.0 : -1.0) * edge->tremble_ml : 0.0;
    }
}

/* Whether the slope at the kink is that of one side, rather than half of the rise. */
static bool takes_a_side(const struct edge *edge)
{
    double samples[EDGE_COUNT];
    double scratch[2 * EDGE_COUNT];
    double flow[EDGE_COUNT];
    const struct series volume = {10.0, 0.0, EDGE_COUNT, samples};

    edge_samples(edge, samples);
    derive_flow(&volume, 0.5, edge->step_ml, scratch, flow);
    return fabs(flow[EDGE_AT] / flow[EDGE_COUNT - 1] - 0.5) > 0.1;
}

static bool is_edge_without_steps(double rms_ml)
{
    return takes_a_side(&(struct edge){.rms_ml = rms_ml});
}

static bool is_edge_at_half_steps(double rms_ml)
{
    return takes_a_side(&(struct edge){.rms_ml = rms_ml, .step_ml = 0.5});
}

static bool is_edge_at_large_steps(double rms_ml)
{
    return takes_a_side(&(struct edge){.rms_ml = rms_ml, .step_ml = 8.0});
}

/* An edge is 0.05 mL off the line, or 0.3 steps, counted as 1 mL at most. */
static void test_edge_distance(void **state)
{
    (void)state;
    assert_close(flip_between(is_edge_without_steps, 0.04, 0.06), 0.05, 0.0002);
    assert_close(flip_between(is_edge_at_half_steps, 0.12, 0.18), 0.15, 0.0005);
    assert_close(flip_between(is_edge_at_large_steps, 0.25, 0.35), 0.3, 0.001);
}

static bool is_edge_in_noise(double rms_ml)
{
    return takes_a_side(
        &(struct edge){.rms_ml = rms_ml, .tremble_from = 0, .tremble_end = 200, .tremble_ml = 0.2});
}

/* Beside most of a signal that trembles by 0.2 mL, an edge has four times the usual mean square: a
 * line through 11 such samples leaves 120/121 of it. */
static void test_edge_in_noise(void **state)
{
    (void)state;
    assert_close(flip_between(is_edge_in_noise, 0.3, 0.5), 2.0 * 0.2 * sqrt(120.0 / 121.0), 0.001);
}

static const struct edge trembling_edge = {
    .rms_ml = 1.0, .tremble_from = EDGE_AT - 14, .tremble_end = EDGE_AT + 15};

static bool is_blurred(double tremble_ml)
{
    struct edge edge = trembling_edge;

    edge.tremble_ml = tremble_ml;
    return !takes_a_side(&edge);
}

/* A side is taken when its line has a fifth of the mean square, or less. */
static void test_edge_side(void **state)
{
    struct edge edge = trembling_edge;
    double samples[EDGE_COUNT];
    double slope[EDGE_COUNT];
    double residual[EDGE_COUNT];
    const struct series volume = {10.0, 0.0, EDGE_COUNT, samples};

    (void)state;
    edge.tremble_ml = flip_between(is_blurred, 0.05, 1.0);
    edge_samples(&edge, samples);
    integrate_lines(&volume, 0.5, slope, residual);
    assert_close(residual[EDGE_AT - EDGE_HALF] / residual[EDGE_AT], 0.2, 0.001);
}

/* ---- Runs ---- */

static size_t runs_of(double rate_hz, struct box box)
{
    struct opened opened;

    open_box(&opened, rate_hz, 2000, box);
    const size_t count = opened.record.run_count;

    synth_close(&opened.synth);
    return count;
}

/* On from 0.5 mL/s. */
static void test_threshold(void **state)
{
    (void)state;
    assert_int_equal(runs_of(50.0, (struct box){500, 1500, 0.495}), 0);
    assert_int_equal(runs_of(50.0, (struct box){500, 1500, 0.5}), 1);
}

/* For half a second: 24 samples at 48 Hz, not at 48.5 Hz. */
static void test_shortest_run(void **state)
{
    (void)state;
    assert_int_equal(runs_of(48.0, (struct box){500, 524, 4.0}), 1);
    assert_int_equal(runs_of(48.5, (struct box){500, 524, 4.0}), 0);
}

/* A gap is flow below the threshold for a second: 49 samples at 49.5 Hz are none, 50 samples at
 * 49.8 Hz are one. */
static void test_shortest_gap(void **state)
{
    static const struct {
        double rate_hz;
        size_t samples;
        size_t runs;
    } rows[] = {{49.5, 49, 1}, {49.8, 50, 2}};

    (void)state;
    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
        struct opened opened;

        double *samples =
            add_box(&opened, SIGNAL_FLOW, rows[i].rate_hz, 2000, (struct box){500, 1500, 4.0});

        for (size_t k = 0; k < rows[i].samples; k++) {
            samples[1000 + k] = 0.0;
        }
        open_record(&opened);
        assert_int_equal(opened.record.run_count, rows[i].runs);
        synth_close(&opened.synth);
    }
}

/* A change of 15 mL/s in a second is flow that grows, and its moment of onset interpolated; a
 * faster one lies midway between its samples. */
static void test_step(void **state)
{
    static const double levels_ml_s[] = {1.49, 1.51};

    (void)state;
    for (size_t i = 0; i < 2; i++) {
        struct opened opened;

        open_box(&opened, 10.0, 500, (struct box){100, 300, levels_ml_s[i]});
        assert_int_equal(opened.record.run_count, 1);
        assert_close(opened.record.runs[0].span.from_s, i == 0 ? 9.9 + 0.05 / 1.49 : 9.95, 1e-6);
        synth_close(&opened.synth);
    }
}

/* Of the two steps at its ends, each halved, a box of 50 samples loses a quarter of a sample. */
static bool is_a_run(double level_ml_s)
{
    return runs_of(50.0, (struct box){500, 550, level_ml_s}) == 1;
}

/* A run makes at least 1 mL. */
static void test_smallest_run(void **state)
{
    (void)state;
    assert_close(flip_between(is_a_run, 0.9, 1.1) * 49.75 / 50.0, 1.0, 0.001);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_bridged_flow),
        cmocka_unit_test(test_bridged_infusion),
        cmocka_unit_test(test_average),
        cmocka_unit_test(test_slowest_average),
        cmocka_unit_test(test_median),
        cmocka_unit_test(test_regression),
        cmocka_unit_test(test_smallest_change),
        cmocka_unit_test(test_single_step),
        cmocka_unit_test(test_pause),
        cmocka_unit_test(test_slow_step),
        cmocka_unit_test(test_edge_distance),
        cmocka_unit_test(test_edge_in_noise),
        cmocka_unit_test(test_edge_side),
        cmocka_unit_test(test_threshold),
        cmocka_unit_test(test_shortest_run),
        cmocka_unit_test(test_shortest_gap),
        cmocka_unit_test(test_step),
        cmocka_unit_test(test_smallest_run),
    };

    return cmocka_run_group_tests_name("flow_limits", tests, NULL, NULL);
}
