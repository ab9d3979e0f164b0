/* When coughs were asked for, events that are told, pump and markers. */
#include "support/assert_close.h"
#include "support/line_pair.h"
#include "support/pressure_flow.h"

#include <string.h>

static struct line_pair without_coughs(void)
{
    struct line_pair how = line_pair_sound();

    how.cough_count = 0;
    return how;
}

static void add_cough(struct line_pair *how, double at_s)
{
    how->coughs[how->cough_count++] = (struct pair_cough){at_s, 50.0, 50.0, 1.0, 0.0, true};
}

static size_t count_told(const struct line_pair *how, const char *code)
{
    struct synth synth;

    line_pair_open(&synth, how);
    const size_t count = line_pair_count(synth_run(&synth), code);

    synth_close(&synth);
    return count;
}

static void test_no_cough(void **state)
{
    struct line_pair how = without_coughs();

    (void)state;
    assert_int_equal(count_told(&how, "no_cough_test"), 1);
    assert_int_equal(count_told(&how, "cough_gap"), 0);
    assert_int_equal(count_told(&how, "no_cough_at_start"), 0);
    add_cough(&how, 100.0);
    assert_int_equal(count_told(&how, "no_cough_test"), 0);
}

/* Within 60 s of the start of filling, or before. */
static void test_start(void **state)
{
    struct line_pair how = without_coughs();

    (void)state;
    add_cough(&how, 89.2);
    assert_int_equal(count_told(&how, "no_cough_at_start"), 0);
    how.coughs[0].at_s = 90.8;
    assert_int_equal(count_told(&how, "no_cough_at_start"), 1);
    how.coughs[0].at_s = 10.0;
    assert_int_equal(count_told(&how, "no_cough_at_start"), 0);
}

/* More than 2 min and more than 100 mL: both. */
static void test_gaps(void **state)
{
    static const struct {
        double gap_s;
        double rate_ml_min;
        size_t told;
    } rows[] = {{121.0, 60.0, 1}, {119.0, 60.0, 0}, {125.0, 48.4, 1}, {125.0, 47.6, 0}};

    (void)state;
    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
        struct line_pair how = without_coughs();

        how.rate_ml_min = rows[i].rate_ml_min;
        how.filling_stop_s = 350.0;
        how.permission_s = 355.0;
        add_cough(&how, 20.0);
        add_cough(&how, 80.0);
        add_cough(&how, 80.0 + rows[i].gap_s);
        add_cough(&how, 270.0);
        add_cough(&how, 330.0);
        assert_int_equal(count_told(&how, "cough_gap"), rows[i].told);
    }
}

/* Coughs around the voiding of a pressure-flow study: permission at 530 s, flow from 546 to 584. */
static void test_around_voiding(void **state)
{
    static const struct {
        double at_s;
        bool before;
        bool after;
    } rows[] = {{471.0, true, false},
                {469.0, false, false},
                {540.0, true, false},
                {590.0, false, true},
                {580.0, false, false}};

    (void)state;
    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
        struct synth synth;

        pressure_flow_open(&synth, (struct pressure_flow_case){.rate_hz = 25.0, .noise = 0.3});
        /* The last of its own coughs is at 526 s: taken away at 25 Hz, in both lines and as a
         * marker. */
        double *lines[] = {synth_writable(&synth, SIGNAL_PVES),
                           synth_writable(&synth, SIGNAL_PABD)};

        for (size_t k = 0; k < 2; k++) {
            for (size_t j = 13100; j < 13200; j++) {
                lines[k][j] = lines[k][j - 100];
            }
        }
        for (size_t k = 0; k < synth.recording.event_count; k++) {
            if (synth.events[k].code == EVENT_COUGH && synth.events[k].at_s > 500.0) {
                synth.events[k].at_s = rows[i].at_s;
            }
        }
        const struct analysis_result *result = synth_run(&synth);

        assert_int_equal(line_pair_count(result, "no_cough_before_voiding") == 0, rows[i].before);
        assert_int_equal(line_pair_count(result, "no_cough_after_voiding") == 0, rows[i].after);
        synth_close(&synth);
    }
}

/* Below 8 Hz a cough is not compared. */
static void test_slow_lines(void **state)
{
    (void)state;
    for (int i = 0; i < 2; i++) {
        struct line_pair how = line_pair_sound();

        how.rate_hz = i == 0 ? 7.95 : 8.05;
        how.noise = 0.0;
        how.coughs[3].pabd_rise = 20.0;
        assert_int_equal(count_told(&how, "unequal_cough_response"), i == 0 ? 0 : 1);
    }
}

/* In one line alone, without a marker, it may be a knock on the tube; with one within 5 s it is no
 * response. */
static void test_knock_on_a_tube(void **state)
{
    static const struct {
        double marker_s;
        size_t told;
    } rows[] = {{0.0, 0}, {195.1, 1}, {194.85, 0}, {204.9, 1}, {205.15, 0}};

    (void)state;
    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
        struct line_pair how = line_pair_sound();
        struct synth synth;

        how.noise = 0.0;
        how.coughs[3].pabd_rise = 0.0;
        how.coughs[3].marked = false;
        line_pair_open(&synth, &how);
        synth_event(&synth, EVENT_COUGH, rows[i].marker_s);
        const struct quality_finding *finding =
            line_pair_finding(synth_run(&synth), "no_cough_response", SIGNAL_PABD);

        assert_int_equal(finding != NULL ? 1 : 0, rows[i].told);
        synth_close(&synth);
    }
}

/* A long series of failing coughs is one finding; many in turn are not all listed. */
static void test_groups(void **state)
{
    struct line_pair how = line_pair_sound();

    (void)state;
    for (size_t i = 2; i < how.cough_count; i++) {
        how.coughs[i].pabd_rise = 25.0;
    }
    struct synth synth;

    line_pair_open(&synth, &how);
    const struct analysis_result *result = synth_run(&synth);
    const struct quality_finding *finding =
        line_pair_finding(result, "unequal_cough_response", SIGNAL_PABD);

    assert_int_equal(line_pair_count(result, "unequal_cough_response"), 1);
    assert_close(finding->from_s, 80.0, 0.1);
    assert_close(finding->to_s, 360.0, 0.1);
    assert_int_equal(finding->severity, QUALITY_WARNING);
    synth_close(&synth);
}

/* Entered rate against the slope: 15 % and 3 mL/min. */
static void test_pump_rate(void **state)
{
    static const struct {
        double entered;
        double slope;
        size_t told;
    } rows[] = {{50.0, 57.4, 0}, {50.0, 57.6, 1},  {50.0, 42.6, 0},
                {50.0, 42.4, 1}, {15.0, 17.95, 0}, {15.0, 18.05, 1}};

    (void)state;
    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
        struct line_pair how = line_pair_sound();
        struct synth synth;

        how.rate_ml_min = rows[i].slope;
        line_pair_open(&synth, &how);
        synth.recording.conditions.filling_rate_ml_min =
            (struct optional_number){true, rows[i].entered};
        assert_int_equal(line_pair_count(synth_run(&synth), "pump_rate_mismatch"), rows[i].told);
        synth_close(&synth);
    }
}

/* The volume stands for 30 s while the markers say that the pump runs, or the other way round. */
static void test_pump_markers(void **state)
{
    static const struct {
        double stop_marker_s; /* the pump itself stops at 200 s */
        const char *code;
    } rows[] = {
        {232.0, "infusion_stands"}, {225.0, NULL}, {168.0, "infusion_unmarked"}, {175.0, NULL}};

    (void)state;
    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
        struct line_pair how = line_pair_sound();
        struct synth synth;

        how.filling_stop_s = 200.0;
        line_pair_open(&synth, &how);
        for (size_t k = 0; k < synth.recording.event_count; k++) {
            if (synth.events[k].code == EVENT_FILLING_STOP) {
                synth.events[k].at_s = rows[i].stop_marker_s;
            }
        }
        const struct analysis_result *result = synth_run(&synth);
        const size_t told = line_pair_count(result, "infusion_stands") +
                            line_pair_count(result, "infusion_unmarked");

        assert_int_equal(told, rows[i].code != NULL ? 1 : 0);
        assert_true(rows[i].code == NULL || line_pair_count(result, rows[i].code) == 1);
        synth_close(&synth);
    }
}

/* A flush is told as a warning on its line, so that what is read there is doubtful. */
static void test_flush(void **state)
{
    struct line_pair how = line_pair_sound();
    struct synth synth;

    (void)state;
    line_pair_to(&how.pabd, 230.0, 0.2, 150.0);
    line_pair_to(&how.pabd, 236.0, 0.2, 22.0);
    line_pair_open(&synth, &how);
    const struct quality_finding *flush =
        line_pair_finding(synth_run(&synth), "flush", SIGNAL_PABD);

    assert_non_null(flush);
    assert_int_equal(flush->severity, QUALITY_WARNING);
    assert_close(flush->from_s, 230.0, 1.0);
    assert_close(flush->to_s, 236.2, 1.0);
    synth_close(&synth);
}

/* Once the patient may void, both lines 22 and 21 up for good are straining and no change of
 * position, pabd 12 up for 10 s no rectal contraction, and pves 30 up at once no step of the
 * line. */
static void test_once_voiding(void **state)
{
    static const struct {
        const char *code;
        double pves;
        double pabd;
        double back_s;
        double within_s;
    } rows[] = {{"position_unmarked", 22.0, 21.0, 330.0, 4.0},
                {"rectal_contraction", 0.0, 12.0, 240.0, 4.0},
                {"pressure_step", 30.0, 0.0, 330.0, 0.1}};

    (void)state;
    for (size_t i = 0; i < 2 * sizeof rows / sizeof rows[0]; i++) {
        const size_t k = i / 2;
        const bool voiding = i % 2 == 1;
        struct line_pair how = line_pair_sound();
        struct synth synth;

        how.noise = 0.0;
        how.filling_stop_s = voiding ? 140.0 : 330.0;
        how.permission_s = voiding ? 150.0 : 340.0;
        line_pair_to(&how.pves, 230.0, rows[k].within_s, 25.0 + rows[k].pves);
        line_pair_to(&how.pves, rows[k].back_s, 4.0, 25.0);
        line_pair_to(&how.pabd, 230.0, rows[k].within_s, 22.0 + rows[k].pabd);
        line_pair_to(&how.pabd, rows[k].back_s, 4.0, 22.0);
        line_pair_open(&synth, &how);
        assert_int_equal(line_pair_count(synth_run(&synth), rows[k].code) > 0, !voiding);
        synth_close(&synth);
    }
}

/* Nobody marked the permission: both lines go up at 230 s, and flow begins 8 s or 16 s later. The
 * 10 s before it belong to the voiding. */
static void test_about_to_void(void **state)
{
    static const double flows_s[] = {238.0, 246.0};

    (void)state;
    for (size_t i = 0; i < 2; i++) {
        struct line_pair how = line_pair_sound();
        const struct half_sine flow = {.start_s = flows_s[i], .length_s = 40.0, .peak = 15.0};
        struct synth synth;

        how.noise = 0.0;
        how.filling_stop_s = 220.0;
        line_pair_to(&how.pves, 230.0, 4.0, 47.0);
        line_pair_to(&how.pabd, 230.0, 4.0, 43.0);
        line_pair_open(&synth, &how);
        synth_channel(&synth, SIGNAL_FLOW, (struct synth_sampling){.rate_hz = 10.0, .end_s = 360.0},
                      half_sine_value, &flow);
        for (size_t k = 0; k < synth.recording.event_count; k++) {
            if (synth.events[k].code == EVENT_PERMISSION_TO_VOID) {
                synth.events[k].code = EVENT_COMMENT;
            }
        }
        assert_int_equal(line_pair_count(synth_run(&synth), "position_unmarked"), i);
        synth_close(&synth);
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_no_cough),     cmocka_unit_test(test_start),
        cmocka_unit_test(test_gaps),         cmocka_unit_test(test_around_voiding),
        cmocka_unit_test(test_slow_lines),   cmocka_unit_test(test_knock_on_a_tube),
        cmocka_unit_test(test_groups),       cmocka_unit_test(test_pump_rate),
        cmocka_unit_test(test_pump_markers), cmocka_unit_test(test_flush),
        cmocka_unit_test(test_once_voiding), cmocka_unit_test(test_about_to_void),
    };

    return cmocka_run_group_tests_name("quality pressures", tests, NULL, NULL);
}
