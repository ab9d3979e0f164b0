/* The contraction around the flow: every rule on both sides of its limit. */
#include "support/assert_close.h"
#include "support/synth.h"

#include <math.h>
#include <string.h>

enum { POINTS = 24 };

/* A voiding of 20 s at 10 mL/s; measurable flow from 200.05 to 219.95 s (a step of 0.1 s, 0.05 s of
 * it above 0.5 mL/s), no flow delay. Pressures as given. */
struct scene {
    double rate_hz;
    double pdet[POINTS][2];
    size_t pdet_count;
    double pabd[POINTS][2];
    size_t pabd_count;
    double end_s;
};

static const double flow_points[][2] = {{200.0, 0.0}, {200.1, 10.0}, {220.0, 10.0}, {220.1, 0.0}};

static double pves_value(double at_s, const void *context)
{
    const struct scene *scene = context;
    const struct polyline pdet = {scene->pdet_count, scene->pdet};
    const struct polyline pabd = {scene->pabd_count, scene->pabd};

    return polyline_value(at_s, &pdet) + polyline_value(at_s, &pabd);
}

static double pabd_value(double at_s, const void *context)
{
    const struct scene *scene = context;
    const struct polyline pabd = {scene->pabd_count, scene->pabd};

    return polyline_value(at_s, &pabd);
}

static struct voiding_measures run(const struct scene *scene)
{
    const struct polyline flow = {4, flow_points};
    const struct synth_sampling sampling = {.rate_hz = scene->rate_hz, .end_s = scene->end_s};
    struct synth synth;

    synth_open(&synth, RECORDING_PRESSURE_FLOW);
    synth.recording.conditions.flow_delay_s = (struct optional_number){true, 0.0};
    synth_channel(&synth, SIGNAL_FLOW, sampling, polyline_value, &flow);
    synth_channel(&synth, SIGNAL_PVES, sampling, pves_value, scene);
    synth_channel(&synth, SIGNAL_PABD, sampling, pabd_value, scene);
    const struct voiding_measures voiding = synth_run(&synth)->voiding;

    synth_close(&synth);
    return voiding;
}

static struct scene scene_of(const double (*pdet)[2], size_t count)
{
    struct scene scene = {.rate_hz = 50.0, .pabd_count = 1, .end_s = 270.0};

    scene.pabd[0][1] = 20.0;
    memcpy(scene.pdet, pdet, count * sizeof *pdet);
    scene.pdet_count = count;
    return scene;
}

#define SCENE(points) scene_of((points), sizeof(points) / sizeof((points)[0]))

static void assert_absent(const struct measure *measure, const char *reason)
{
    assert_int_equal(measure->state, MEASURE_ABSENT);
    if (strstr(measure->reason, reason) == NULL) {
        fail_msg("reason \"%s\" does not say \"%s\"", measure->reason, reason);
    }
}

/* A rise that is slow at first: 20 % of it lie at 185.0 s, 50 % at 189.875 s, so it starts at
 * 185 - 4.875*2/3 = 181.75 s. */
static void test_start_of_a_bent_rise(void **state)
{
    static const double points[][2] = {{0.0, 10.0},   {180.0, 10.0}, {189.0, 28.0},
                                       {193.0, 60.0}, {220.0, 60.0}, {225.0, 10.0}};
    const struct scene scene = SCENE(points);
    const struct voiding_measures voiding = run(&scene);

    (void)state;
    assert_close(voiding.premicturition_pressure.value, 10.0, 1e-6);
    assert_close(voiding.premicturition_pressure.at_s, 181.75, 0.02);
    assert_close(voiding.opening_time.value, 200.05 - 181.75, 0.06);
    assert_close(voiding.opening_time.value + voiding.opening_time.at_s,
                 voiding.opening_pressure.at_s, 1e-9);
}

/* A level that falls by 3 cmH2O/s before a rise of 20 cmH2O/s. With the level L, the line through
 * the rise leaves it at (L - 10)/20 s, its lower half takes 0.015*(50 - L) s, and the median of the
 * 2 s before that gives 16.75 - 0.195 L; twice, from the lowest 1 s average, 11.304: 13.91, and a
 * little more since the 1 s average rounds the corner. */
static void test_premicturition_window(void **state)
{
    static const double points[][2] = {{0.0, 100.0},  {150.0, 100.0}, {180.0, 10.0},
                                       {182.0, 50.0}, {220.0, 50.0},  {225.0, 10.0}};
    const struct scene scene = SCENE(points);

    (void)state;
    assert_close(run(&scene).premicturition_pressure.value, 13.93, 0.03);
}

/* A rise of less than 5 cmH2O to the opening has no start. */
static void test_smallest_rise(void **state)
{
    static const double tops[] = {14.96, 15.04};

    (void)state;
    for (size_t i = 0; i < 2; i++) {
        const double points[][2] = {{0.0, 10.0}, {190.0, 10.0}, {192.0, tops[i]}, {230.0, tops[i]}};
        const struct scene scene = SCENE(points);
        const struct voiding_measures voiding = run(&scene);

        if (i == 0) {
            assert_absent(&voiding.premicturition_pressure, "did not rise by 5");
            assert_absent(&voiding.opening_time, "did not rise by 5");
        } else {
            assert_close(voiding.premicturition_pressure.value, 10.0, 1e-6);
            assert_close(voiding.opening_time.value, 10.05, 0.1);
        }
    }
}

/* An earlier hump hides what lies before it when it is more than 5 cmH2O above the level after it:
 * then the rise is one of 4.5 cmH2O, else of 6.5. */
static void test_earlier_event(void **state)
{
    static const double humps[] = {14.96, 15.04};

    (void)state;
    for (size_t i = 0; i < 2; i++) {
        const double points[][2] = {{0.0, 8.0},        {150.0, 8.0},  {152.0, humps[i]},
                                    {158.0, humps[i]}, {160.0, 10.0}, {190.0, 10.0},
                                    {192.0, 14.5},     {230.0, 14.5}};
        const struct scene scene = SCENE(points);
        const struct voiding_measures voiding = run(&scene);

        assert_int_equal(voiding.premicturition_pressure.state,
                         i == 0 ? MEASURE_PRESENT : MEASURE_ABSENT);
    }
}

/* The start is sought for 120 s before the opening, at 200.05 s. */
static void test_how_far_back(void **state)
{
    static const double steps_s[] = {79.2, 81.0};

    (void)state;
    for (size_t i = 0; i < 2; i++) {
        const double points[][2] = {
            {0.0, 10.0}, {steps_s[i], 10.0}, {steps_s[i] + 0.2, 30.0}, {230.0, 30.0}};
        const struct scene scene = SCENE(points);
        const struct voiding_measures voiding = run(&scene);

        if (i == 0) {
            assert_absent(&voiding.opening_time, "did not rise");
        } else {
            assert_close(voiding.opening_time.value, 200.05 - 81.1, 0.5);
        }
    }
}

static struct scene after_scene(double peak, double from_s, double pabd_change)
{
    const double points[][2] = {{0.0, 10.0},          {190.0, 10.0},       {195.0, 40.0},
                                {222.0, 40.0},        {from_s, 40.0},      {from_s + 2.0, peak},
                                {from_s + 6.0, peak}, {from_s + 8.0, 10.0}};
    struct scene scene = SCENE(points);

    scene.pabd[0][0] = from_s;
    scene.pabd[1][0] = from_s + 2.0;
    scene.pabd[1][1] = 20.0 + pabd_change;
    scene.pabd_count = 2;
    return scene;
}

/* From 10 cmH2O over the closing pressure on. */
static void test_smallest_after_contraction(void **state)
{
    const struct scene small = after_scene(49.9, 228.0, 0.0);
    const struct scene large = after_scene(50.1, 228.0, 0.0);
    const struct measure none = run(&small).after_contraction;
    const struct measure found = run(&large).after_contraction;

    (void)state;
    assert_absent(&none, "none found");
    assert_close(found.value, 10.1, 0.01);
    assert_close(found.at_s, 230.5, 0.6);
    assert_int_equal(found.part_count, 1);
    assert_string_equal(found.parts[0].code, "peak_pdet");
    assert_close(found.parts[0].value, 50.1, 0.01);
}

/* Within 30 s after the flow, which ends at 220.1 s: a rise from 249.8 s on is too late. */
static void test_latest_after_contraction(void **state)
{
    const struct scene late = after_scene(120.0, 249.95, 0.0);
    const struct scene early = after_scene(120.0, 248.7, 0.0);
    struct scene cut = after_scene(40.0, 228.0, 0.0);

    (void)state;
    const struct measure none = run(&late).after_contraction;
    const struct measure found = run(&early).after_contraction;

    assert_absent(&none, "within 30 s");
    /* 40 cmH2O/s from 248.7 s on, read at 250.1 s. */
    assert_close(found.value, 56.0, 6.0);
    cut.end_s = 235.0;
    const struct measure short_end = run(&cut).after_contraction;

    assert_absent(&short_end, "less than 30 s were recorded");
}

/* Not where pabd changed by half of it or more: up with a strain, or down with the rectum. */
static void test_matched_after_contraction(void **state)
{
    static const struct {
        double change;
        bool found;
    } rows[] = {{9.9, true}, {10.1, false}, {-9.9, true}, {-10.1, false}};

    (void)state;
    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
        const struct scene scene = after_scene(60.0, 228.0, rows[i].change);
        const struct measure measure = run(&scene).after_contraction;

        if (rows[i].found) {
            assert_close(measure.value, 20.0, 0.05);
        } else {
            assert_absent(&measure, "went with pabd");
        }
    }
}

/* The lowest pressure while flow goes on, not in a pause of it. */
static void test_lowest_leaves_pauses_out(void **state)
{
    static const double flow[][2] = {{50.0, 0.0}, {50.1, 10.0}, {60.0, 10.0}, {60.1, 0.0},
                                     {70.0, 0.0}, {70.1, 10.0}, {80.0, 10.0}, {80.1, 0.0}};
    static const double pdet[][2] = {{0.0, 10.0},  {40.0, 10.0}, {45.0, 50.0}, {61.0, 50.0},
                                     {63.0, 20.0}, {67.0, 20.0}, {69.0, 50.0}, {74.0, 50.0},
                                     {75.0, 40.0}, {77.0, 40.0}, {78.0, 50.0}, {100.0, 50.0}};
    const struct polyline flow_line = {8, flow};
    const struct polyline pdet_line = {12, pdet};
    const struct synth_sampling sampling = {.rate_hz = 50.0, .end_s = 100.0};
    struct synth synth;

    (void)state;
    synth_open(&synth, RECORDING_PRESSURE_FLOW);
    synth.recording.conditions.flow_delay_s = (struct optional_number){true, 0.0};
    synth_channel(&synth, SIGNAL_FLOW, sampling, polyline_value, &flow_line);
    synth_channel(&synth, SIGNAL_PDET, sampling, polyline_value, &pdet_line);
    const struct measure lowest = synth_run(&synth)->voiding.pdet_min_void;

    assert_close(lowest.value, 40.0, 1e-6);
    assert_close(lowest.at_s, 76.0, 1.0);
    synth_close(&synth);
}

/* ---- Straining ---- */

/* Level flow for 100 s (200 to 300 s), pabd 20 before; what pabd does is up to the test. */
static struct measure straining_of(const double (*pabd)[2], size_t count, double coupling,
                                   double pdet)
{
    struct scene scene = {.rate_hz = 50.0, .pdet_count = 3, .pabd_count = count};
    const struct synth_sampling sampling = {.rate_hz = 50.0, .end_s = 340.0};
    static const double base[][2] = {{200.0, 0.0}, {200.1, 10.0}, {300.0, 10.0}, {300.1, 0.0}};
    const struct polyline flow = {4, base};
    struct synth synth;

    memcpy(scene.pabd, pabd, count * sizeof *pabd);
    scene.pdet[0][1] = 5.0;
    scene.pdet[1][0] = 190.0;
    scene.pdet[1][1] = 5.0;
    scene.pdet[2][0] = 195.0;
    scene.pdet[2][1] = pdet;
    synth_open(&synth, RECORDING_PRESSURE_FLOW);
    synth.recording.conditions.flow_delay_s = (struct optional_number){true, 0.0};
    double *samples = synth_channel(&synth, SIGNAL_FLOW, sampling, polyline_value, &flow);

    for (size_t i = 10005; i < 15000; i++) {
        samples[i] += coupling * (pabd_value((double)i / 50.0, &scene) - 20.0);
    }
    synth_channel(&synth, SIGNAL_PVES, sampling, pves_value, &scene);
    synth_channel(&synth, SIGNAL_PABD, sampling, pabd_value, &scene);
    const struct measure measure = synth_run(&synth)->voiding.straining;

    assert_int_equal(measure.state, MEASURE_PRESENT);
    synth_close(&synth);
    return measure;
}

/* pabd raised by `rise` from 210 s on for `length_s`. */
static struct measure raised(double rise, double length_s, double coupling)
{
    const double pabd[][2] = {{0.0, 20.0},
                              {210.0, 20.0},
                              {210.1, 20.0 + rise},
                              {210.0 + length_s, 20.0 + rise},
                              {210.1 + length_s, 20.0}};

    return straining_of(pabd, 5, coupling, 40.0);
}

/* 10 cmH2O, and a fifth of the flow time. */
static void test_straining_limits(void **state)
{
    (void)state;
    assert_close(raised(9.95, 60.0, 2.0).value, 0.0, 0.0);
    assert_close(raised(10.05, 60.0, 2.0).value, 1.0, 0.0);
    const struct measure brief = raised(30.0, 19.4, 0.2);
    const struct measure long_enough = raised(30.0, 19.9, 0.2);

    assert_close(brief.parts[0].value, 19.8, 0.15);
    assert_true(brief.parts[0].value < 20.0);
    assert_close(brief.value, 0.0, 0.0);
    assert_close(long_enough.parts[0].value, 20.25, 0.14);
    assert_close(long_enough.value, 1.0, 0.0);
}

/* Changes of flow that go with pabd in part: from a correlation of 0.5 on. */
static void test_straining_correlation(void **state)
{
    double low = 0.0;
    double high = 0.4;

    (void)state;
    assert_close(raised(30.0, 60.0, low).value, 0.0, 0.0);
    assert_close(raised(30.0, 60.0, high).value, 1.0, 0.0);
    for (int i = 0; i < 14; i++) {
        const double middle = 0.5 * (low + high);

        if (raised(30.0, 60.0, middle).value > 0.5) {
            high = middle;
        } else {
            low = middle;
        }
    }
    assert_close(raised(30.0, 60.0, low).parts[1].value, 0.5, 0.004);
    assert_close(raised(30.0, 60.0, high).parts[1].value, 0.5, 0.004);
}

/* Without an effect on the flow, when pabd rises by more than pdet does: here pdet does not. */
static void test_straining_without_contraction(void **state)
{
    const double pabd[][2] = {{0.0, 20.0}, {195.0, 20.0}, {196.0, 60.0}, {310.0, 60.0}};

    (void)state;
    assert_close(straining_of(pabd, 4, 0.0, 5.0).value, 1.0, 0.0);
}

/* The level before is a median over the 30 s before the opening: a press counts as the level when
 * it lasts for more than half of that. */
static void test_straining_level(void **state)
{
    static const double from_s[] = {185.2, 184.85};

    (void)state;
    for (size_t i = 0; i < 2; i++) {
        const double pabd[][2] = {
            {0.0, 20.0}, {from_s[i], 20.0}, {from_s[i] + 0.02, 60.0}, {310.0, 60.0}};

        assert_close(straining_of(pabd, 4, 0.0, 5.0).value, i == 0 ? 1.0 : 0.0, 0.0);
    }
}

/* Half of the flow time needs a known pabd. */
static void test_straining_missing(void **state)
{
    static const double lost_to_s[] = {209.94, 210.16};

    (void)state;
    for (size_t i = 0; i < 2; i++) {
        static const double pabd = 20.0;
        static const double pves = 60.0;
        const struct polyline flow = {4, flow_points};
        const struct synth_sampling sampling = {.rate_hz = 50.0, .end_s = 240.0};
        struct synth synth;

        synth_open(&synth, RECORDING_PRESSURE_FLOW);
        synth.recording.conditions.flow_delay_s = (struct optional_number){true, 0.0};
        synth_channel(&synth, SIGNAL_FLOW, sampling, polyline_value, &flow);
        synth_channel(&synth, SIGNAL_PVES, sampling, constant_value, &pves);
        synth_channel(&synth, SIGNAL_PABD, sampling, constant_value, &pabd);
        synth_lose(&synth, SIGNAL_PABD, 200.0, lost_to_s[i]);
        const struct measure measure = synth_run(&synth)->voiding.straining;

        if (i == 0) {
            assert_int_equal(measure.state, MEASURE_PRESENT);
            assert_close(measure.value, 0.0, 0.0);
        } else {
            assert_absent(&measure, "missing during the flow");
        }
        synth_close(&synth);
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_start_of_a_bent_rise),
        cmocka_unit_test(test_premicturition_window),
        cmocka_unit_test(test_smallest_rise),
        cmocka_unit_test(test_earlier_event),
        cmocka_unit_test(test_how_far_back),
        cmocka_unit_test(test_smallest_after_contraction),
        cmocka_unit_test(test_latest_after_contraction),
        cmocka_unit_test(test_matched_after_contraction),
        cmocka_unit_test(test_lowest_leaves_pauses_out),
        cmocka_unit_test(test_straining_limits),
        cmocka_unit_test(test_straining_correlation),
        cmocka_unit_test(test_straining_without_contraction),
        cmocka_unit_test(test_straining_level),
        cmocka_unit_test(test_straining_missing),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
