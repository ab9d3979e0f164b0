/* Every limit of the search for involuntary contractions, just below and just above it, on lines
 * made of boxes and ramps. */
#include "support/assert_close.h"
#include "support/synth.h"

#include "analysis/study.h"

#include <math.h>
#include <string.h>

enum { STEPS_MAX = 8 };

/* A change of pves (0), pabd (1) or both (2) from one time to another; a ramp when it ends with
 * another height than it begins with. */
struct step {
    int line;
    double from_s;
    double to_s;
    double from_cmh2o;
    double to_cmh2o;
};

struct lines {
    double rate_hz;
    double permission_s; /* 0: none */
    double stop_s;
    struct step steps[STEPS_MAX];
};

struct step_line {
    const struct lines *lines;
    int line;
};

static double line_value(double at_s, const void *context)
{
    const struct step_line *own = context;
    double value = own->line == 0 ? 24.0 : 20.0;

    for (size_t i = 0; i < STEPS_MAX; i++) {
        const struct step *step = &own->lines->steps[i];

        if ((step->line == own->line || step->line == 2) && at_s >= step->from_s - 1e-6 &&
            at_s < step->to_s - 1e-6) {
            value += step->from_cmh2o + (step->to_cmh2o - step->from_cmh2o) *
                                            (at_s - step->from_s) / (step->to_s - step->from_s);
        }
    }
    return value;
}

/* The recording lasts 600 s; 270 mL are infused from 30 to 570 s. */
static const struct filling_measures *run(struct synth *synth, const struct lines *lines)
{
    static const double vinf_points[][2] = {{30.0, 0.0}, {570.0, 270.0}};
    static const struct polyline vinf = {2, vinf_points};
    const struct synth_sampling sampling = {.rate_hz = lines->rate_hz, .end_s = 600.0};
    const struct step_line pves = {lines, 0};
    const struct step_line pabd = {lines, 1};

    synth_open(synth, RECORDING_CYSTOMETRY);
    synth_channel(synth, SIGNAL_PVES, sampling, line_value, &pves);
    synth_channel(synth, SIGNAL_PABD, sampling, line_value, &pabd);
    synth_channel(synth, SIGNAL_VINF, (struct synth_sampling){.rate_hz = 2.0, .end_s = 600.0},
                  polyline_value, &vinf);
    synth_event(synth, EVENT_FILLING_START, 30.0);
    if (lines->permission_s > 0.0) {
        synth_event(synth, EVENT_PERMISSION_TO_VOID, lines->permission_s);
    }
    if (lines->stop_s > 0.0) {
        synth_event(synth, EVENT_FILLING_STOP, lines->stop_s);
    }
    return &synth_run(synth)->filling;
}

static const struct involuntary_contraction *first(const struct filling_measures *filling)
{
    assert_true(filling->involuntary_contractions.count > 0);
    return filling->involuntary_contractions.items;
}

static size_t count_of(struct lines lines)
{
    struct synth synth;
    const size_t count = run(&synth, &lines)->involuntary_contractions.count;

    synth_close(&synth);
    return count;
}

static struct involuntary_contraction one_of(struct lines lines)
{
    struct synth synth;
    const struct involuntary_contraction found = *first(run(&synth, &lines));

    synth_close(&synth);
    return found;
}

#define BOX(line, from_s, to_s, height)                                                            \
    {                                                                                              \
        line, from_s, to_s, height, height                                                         \
    }

/* It begins where it is a tenth of its height, or 1 cmH2O, above the level. */
static void test_edges(void **state)
{
    const struct involuntary_contraction high = one_of((struct lines){
        10.0, 570.0, 0.0, {{0, 300.0, 380.0, 0.0, 40.0}, {0, 380.0, 420.0, 40.0, 0.0}}});
    const struct involuntary_contraction low = one_of((struct lines){
        10.0, 570.0, 0.0, {{0, 300.05, 360.05, 0.0, 6.6}, {0, 360.05, 400.05, 6.6, 0.0}}});

    (void)state;
    assert_close(high.start_s, 307.9, 0.06); /* 0.5 cmH2O a second */
    assert_close(high.end_s, 416.1, 0.06);
    assert_close(high.peak_s, 380.0, 0.45); /* of the largest mean */
    /* 0.11 cmH2O a second; the level is drawn up by 0.04 cmH2O, as it begins so slowly. */
    assert_close(low.start_s, 300.05 + (1.0 + 0.04) / 0.11, 0.06);
}

/* A contraction of 20 cmH2O with a box of some samples and 25 cmH2O on it. */
static struct lines with_box(double rate_hz, size_t samples)
{
    const double from_s = ceil(360.0 * rate_hz) / rate_hz;

    return (struct lines){rate_hz,
                          570.0,
                          0.0,
                          {{0, 300.0, 340.0, 0.0, 20.0},
                           BOX(0, 340.0, 400.0, 20.0),
                           BOX(0, from_s, from_s + (double)samples / rate_hz, 25.0)}};
}

/* The height that edges and length go by is a median over 21 samples at 10 Hz and 19 at 9.85 Hz:
 * ten are the minority, or the majority, so that little of the contraction is above half of it. The
 * amplitude is a mean over as many. */
static void test_windows(void **state)
{
    (void)state;
    assert_close(one_of(with_box(10.0, 10)).start_s, 304.0, 0.2);
    assert_close(one_of(with_box(10.0, 10)).amplitude_cmh2o, 20.0 + 25.0 * 10.0 / 21.0, 0.2);
    assert_int_equal(count_of(with_box(9.85, 10)), 0);
    assert_close(one_of(with_box(9.85, 9)).amplitude_cmh2o, 20.0 + 25.0 * 9.0 / 19.0, 0.2);
}

/* A candidate stands four fifths of the smallest amplitude above the level. */
static void test_candidates(void **state)
{
    static const double heights[] = {3.96, 4.04};

    (void)state;
    for (size_t i = 0; i < 2; i++) {
        assert_int_equal(
            count_of((struct lines){
                10.0, 570.0, 0.0, {BOX(0, 300.0, 330.0, heights[i]), BOX(0, 315.0, 315.9, 20.0)}}),
            i);
    }
}

static void test_apart(void **state)
{
    static const double valleys[] = {10.1, 9.9};

    (void)state;
    for (size_t i = 0; i < 2; i++) {
        assert_int_equal(
            count_of((struct lines){10.0,
                                    570.0,
                                    0.0,
                                    {BOX(0, 300.0, 320.0, 20.0), BOX(0, 320.0, 330.0, valleys[i]),
                                     BOX(0, 330.0, 350.0, 19.999)}}),
            i + 1);
    }
}

static void test_length(void **state)
{
    (void)state;
    assert_int_equal(count_of((struct lines){10.0, 570.0, 0.0, {BOX(0, 300.0, 304.9, 20.0)}}), 0);
    assert_int_equal(count_of((struct lines){10.0, 570.0, 0.0, {BOX(0, 300.0, 305.0, 20.0)}}), 1);
}

/* pabd that falls by half of what pves rises: then it may be mirrored. */
static void test_share_of_pabd(void **state)
{
    static const double falls[] = {-10.1, -9.9};

    (void)state;
    for (size_t i = 0; i < 2; i++) {
        assert_int_equal(
            count_of((struct lines){
                10.0, 570.0, 0.0, {BOX(0, 300.0, 330.0, 20.0), BOX(1, 300.0, 330.0, falls[i])}}),
            i);
    }
}

/* The changes are taken against a median of 10 s: both lines lie 8 cmH2O higher in 51, or 50, of
 * its 101 samples. */
static void test_level_before(void **state)
{
    static const double until_s[] = {294.95, 294.85};

    (void)state;
    for (size_t i = 0; i < 2; i++) {
        assert_int_equal(
            count_of((struct lines){
                10.0, 570.0, 0.0, {BOX(2, 288.0, until_s[i], 8.0), BOX(0, 300.0, 330.0, 20.0)}}),
            i);
    }
}

/* Missing samples are bridged for 15 s: 149 of them, not 151, after which it does not start from a
 * level. */
static void test_bridge(void **state)
{
    static const double to_s[] = {324.8, 325.0};

    (void)state;
    for (size_t i = 0; i < 2; i++) {
        const struct lines lines = {10.0, 570.0, 0.0, {BOX(0, 300.0, 350.0, 20.0)}};
        struct synth synth;

        (void)run(&synth, &lines);
        synth_lose(&synth, SIGNAL_PVES, 310.0, to_s[i]);
        assert_int_equal(synth_run(&synth)->filling.involuntary_contractions.count, 1 - i);
        synth_close(&synth);
    }
}

/* One second around a strain is left out: a spike on the contraction beside it counts or not. */
static void test_mask(void **state)
{
    static const struct {
        double rate_hz;
        size_t after;
        bool counts;
    } rows[] = {{10.0, 10, false}, {10.0, 11, true}, {9.85, 9, false}, {9.85, 10, true}};

    (void)state;
    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
        const double rate_hz = rows[i].rate_hz;
        const double fall_s = 3300.0 / rate_hz;
        struct lines lines = {
            rate_hz, 570.0, 0.0, {BOX(0, 300.0, 360.0, 20.0), BOX(2, fall_s - 8.0, fall_s, 40.0)}};
        struct synth synth;
        const struct strain *strains = run(&synth, &lines)->strains.items;
        const double spike_s = strains[0].end_s + (double)rows[i].after / rate_hz;

        synth_close(&synth);
        lines.steps[2] = (struct step)BOX(0, spike_s, spike_s + 1.0 / rate_hz, 25.0);
        assert_close(one_of(lines).amplitude_cmh2o > 21.0, rows[i].counts, 0.0);
    }
}

/* Terminal: from 243 of 270 mL on (at 516 s), the pump stopped up to 5 s after its end. */
static void test_terminal(void **state)
{
    static const struct {
        double from_s;
        double stop_s;
        const char *kind;
    } rows[] = {{512.0, 530.0, "phasic"},
                {520.0, 530.0, "terminal"},
                {520.0, 544.95, "terminal"},
                {520.0, 545.05, "phasic"}};

    (void)state;
    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
        const struct involuntary_contraction found = one_of(
            (struct lines){10.0, 570.0, rows[i].stop_s, {BOX(0, rows[i].from_s, 540.0, 20.0)}});

        assert_close(found.end_s, 540.0, 1e-6);
        assert_string_equal(found.kind, rows[i].kind);
    }
}

/* Not over at permission: the voiding's when it began in the last 20 s and is still above four
 * fifths of its height. */
static void test_before_permission(void **state)
{
    (void)state;
    assert_int_equal(count_of((struct lines){10.0, 570.0, 0.0, {BOX(0, 550.3, 599.0, 20.0)}}), 0);
    assert_int_equal(count_of((struct lines){10.0, 570.0, 0.0, {BOX(0, 549.9, 599.0, 20.0)}}), 1);
    assert_int_equal(
        count_of((struct lines){
            10.0, 570.0, 0.0, {BOX(0, 555.0, 564.0, 20.0), BOX(0, 564.0, 599.0, 16.15)}}),
        0);
    assert_int_equal(
        count_of((struct lines){
            10.0, 570.0, 0.0, {BOX(0, 555.0, 564.0, 20.0), BOX(0, 564.0, 599.0, 15.85)}}),
        1);
}

/* Without permission, a contraction that ends the filling by voiding is not one of the filling when
 * the pump had stopped before it. */
static void test_voiding_without_permission(void **state)
{
    static const double stops_s[] = {495.0, 494.8};

    (void)state;
    for (size_t i = 0; i < 2; i++) {
        const struct lines lines = {10.0, 0.0, stops_s[i], {BOX(0, 500.1, 560.0, 40.0)}};
        const struct half_sine flow = {.start_s = 515.0, .length_s = 40.0, .peak = 15.0};
        struct synth synth;

        (void)run(&synth, &lines);
        synth_channel(&synth, SIGNAL_FLOW, (struct synth_sampling){.rate_hz = 10.0, .end_s = 600.0},
                      half_sine_value, &flow);
        const struct filling_measures *filling = &synth_run(&synth)->filling;

        assert_int_equal(filling->involuntary_contractions.count, 1 - i);
        synth_close(&synth);
    }
}

/* Classes were made for voluntary voiding: none is given when a contraction empties the bladder
 * that nobody permitted. */
static void test_no_class_for_involuntary_voiding(void **state)
{
    static const double stops_s[] = {495.0, 494.8};

    (void)state;
    for (size_t i = 0; i < 2; i++) {
        const bool voluntary = i == 1;
        const struct lines lines = {10.0, 0.0, stops_s[i], {BOX(0, 500.1, 560.0, 40.0)}};
        const struct half_sine flow = {.start_s = 515.0, .length_s = 40.0, .peak = 15.0};
        struct synth synth;

        (void)run(&synth, &lines);
        synth_channel(&synth, SIGNAL_FLOW, (struct synth_sampling){.rate_hz = 10.0, .end_s = 600.0},
                      half_sine_value, &flow);
        const struct analysis_result *result = synth_run(&synth);
        const struct quality_finding *told = synth_quality(result, "involuntary_voiding");

        assert_true(result->has_voiding);
        assert_int_equal(result->voiding.booi.state, MEASURE_PRESENT);
        assert_int_equal(synth_class(result, "ics_obstruction") != NULL, voluntary);
        assert_int_equal(synth_class(result, "ura_obstruction") != NULL, voluntary);
        assert_int_equal(told == NULL, voluntary);
        if (told != NULL) {
            assert_close(told->from_s, 500.1, 0.5);
            assert_close(told->to_s, 515.4, 0.5);
        }
        synth_close(&synth);
    }
}

/* The contraction from 512 s on is 3.4 s old when the voiding that it makes begins, at 515.4 s. */
static struct involuntary_contraction emptying(struct lines lines, enum event_code code,
                                               double marker_s)
{
    const struct half_sine flow = {.start_s = 515.0, .length_s = 40.0, .peak = 15.0};
    struct involuntary_contraction found = {.kind = NULL};
    struct synth synth;

    (void)run(&synth, &lines);
    synth_channel(&synth, SIGNAL_FLOW, (struct synth_sampling){.rate_hz = 10.0, .end_s = 600.0},
                  half_sine_value, &flow);
    synth_event(&synth, code, marker_s);
    const struct analysis_result *result = synth_run(&synth);

    if (result->filling.involuntary_contractions.count > 0) {
        const struct finding *leakage = synth_finding(result, "overactivity_with_leakage");

        found = *first(&result->filling);
        /* Its flow is the voiding and stands in no list of leaks. */
        assert_non_null(leakage);
        assert_int_equal(leakage->basis_count, result->filling.leaks.count > 0 ? 2 : 1);
        assert_string_equal(leakage->basis[0], "filling.involuntary_contractions");
    }
    synth_close(&synth);
    return found;
}

/* Without permission it is involuntary when it began while filling and an urgency or leak marker
 * lies beside its start; it is seen up to 60 s after the onset of flow. */
static void test_emptying(void **state)
{
    static const struct {
        double stop_s;
        enum event_code code;
        double marker_s;
        bool found;
    } rows[] = {{511.0, EVENT_URGENCY, 513.0, true},  {511.0, EVENT_LEAK, 516.0, true},
                {511.0, EVENT_COUGH, 513.0, false},   {511.0, EVENT_URGENCY, 506.85, false},
                {511.0, EVENT_URGENCY, 506.95, true}, {511.0, EVENT_LEAK, 520.25, true},
                {511.0, EVENT_LEAK, 520.55, false},   {506.95, EVENT_URGENCY, 513.0, true},
                {506.8, EVENT_URGENCY, 513.0, false}};

    (void)state;
    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
        const struct involuntary_contraction found =
            emptying((struct lines){10.0, 0.0, rows[i].stop_s, {BOX(0, 512.0, 560.0, 25.0)}},
                     rows[i].code, rows[i].marker_s);

        print_message("row %zu\n", i);
        assert_int_equal(found.kind != NULL, rows[i].found);
        if (found.kind != NULL) {
            assert_string_equal(found.kind, "terminal");
            assert_true(found.leak);
            assert_close(found.start_s, 511.9, 1e-6);
            assert_close(found.end_s, 560.0, 1e-6);
            assert_close(found.amplitude_cmh2o, 25.0, 0.5);
        }
    }
    for (size_t i = 0; i < 2; i++) {
        const struct involuntary_contraction found =
            emptying((struct lines){10.0,
                                    0.0,
                                    511.0,
                                    {BOX(0, 512.0, 585.0, 25.0),
                                     BOX(0, i == 0 ? 573.9 : 575.5, 585.0, 25.0)}},
                     EVENT_URGENCY, 513.0);

        assert_int_equal(found.amplitude_cmh2o > 45.0, i == 0);
    }
    /* Straining that empties it is none. */
    assert_null(emptying((struct lines){10.0, 0.0, 511.0, {BOX(2, 512.0, 560.0, 25.0)}},
                         EVENT_URGENCY, 513.0)
                    .kind);
}

/* A cough that ends 5 s before, or one sample more. */
static void test_after_cough(void **state)
{
    (void)state;
    for (size_t i = 0; i < 2; i++) {
        const double cough_s = 294.5 - 0.1 * (double)i;
        const struct involuntary_contraction found = one_of((struct lines){
            10.0, 570.0, 0.0, {BOX(2, cough_s, cough_s + 0.5, 40.0), BOX(0, 300.0, 330.0, 20.0)}});

        assert_close(found.start_s, 299.9, 1e-6);
        assert_int_equal(found.after_cough, i == 0);
    }
}

static void test_urgency(void **state)
{
    static const double times_s[] = {294.85, 294.95, 334.95, 335.05};

    (void)state;
    for (size_t i = 0; i < 4; i++) {
        const struct lines lines = {10.0, 570.0, 0.0, {BOX(0, 300.0, 330.0, 20.0)}};
        struct synth synth;

        (void)run(&synth, &lines);
        synth_event(&synth, EVENT_URGENCY, times_s[i]);
        assert_int_equal(first(&synth_run(&synth)->filling)->urgency, i == 1 || i == 2);
        synth_close(&synth);
    }
}

/* The numbers of one recording with slow waves, to the last digit that is told: the level and all
 * that follows from it. Whoever means to change them raises ANALYSIS_VERSION. */
static void test_numbers_stay(void **state)
{
    static const struct lines lines = {10.0,
                                       570.0,
                                       0.0,
                                       {{2, 0.0, 100.0, 0.0, 3.0},
                                        {0, 0.0, 150.0, 0.0, 2.0},
                                        {0, 150.0, 300.0, 2.0, 0.5},
                                        {0, 300.0, 450.0, 0.5, 3.0},
                                        {0, 450.0, 600.0, 3.0, 2.0},
                                        {0, 250.0, 280.0, 0.0, 12.0},
                                        {0, 280.0, 310.0, 12.0, 0.0}}};
    struct synth synth;

    (void)state;
    assert_close(first(run(&synth, &lines))->amplitude_cmh2o, 11.165711, 1e-5);
    assert_int_equal(synth.events[0].code, EVENT_FILLING_START);
    synth.events[0].at_s = 200.0;
    assert_close(first(&synth_run(&synth)->filling)->amplitude_cmh2o, 11.267323, 1e-5);
    synth_close(&synth);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_edges),
        cmocka_unit_test(test_windows),
        cmocka_unit_test(test_candidates),
        cmocka_unit_test(test_apart),
        cmocka_unit_test(test_length),
        cmocka_unit_test(test_share_of_pabd),
        cmocka_unit_test(test_level_before),
        cmocka_unit_test(test_bridge),
        cmocka_unit_test(test_mask),
        cmocka_unit_test(test_terminal),
        cmocka_unit_test(test_before_permission),
        cmocka_unit_test(test_voiding_without_permission),
        cmocka_unit_test(test_no_class_for_involuntary_voiding),
        cmocka_unit_test(test_emptying),
        cmocka_unit_test(test_after_cough),
        cmocka_unit_test(test_urgency),
        cmocka_unit_test(test_numbers_stay),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
