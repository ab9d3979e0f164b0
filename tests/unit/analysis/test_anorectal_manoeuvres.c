/* Squeezes, coughs and pushes: where they are sought, by marker and without, and how they are read.
 */
#include "support/assert_close.h"
#include "support/step_trace.h"

#include <math.h>
#include <string.h>

static const double fast_hz = 200.0;
static const double end_s = 400.0;

static const struct anorectal_measures *run(struct synth *synth)
{
    return &synth_run(synth)->anorectal;
}

static void open_anal(struct synth *synth, const struct step_trace *anal)
{
    synth_open(synth, RECORDING_ANORECTAL_MANOMETRY);
    step_trace_add(synth, SIGNAL_PANAL, fast_hz, end_s, anal);
}

static void open_both(struct synth *synth, const struct step_trace *anal,
                      const struct step_trace *rectal)
{
    open_anal(synth, anal);
    step_trace_add(synth, SIGNAL_PRECT, fast_hz, end_s, rectal);
}

static size_t count_kind(const struct anorectal_measures *measures, const char *kind)
{
    const struct anorectal_manoeuvre *items = measures->manoeuvres.items;
    size_t count = 0;

    for (size_t i = 0; i < measures->manoeuvres.count; i++) {
        count += strcmp(items[i].kind, kind) == 0 ? 1 : 0;
    }
    return count;
}

/* A steady rise of 2 mmHg/s from the marker on ends where the window does: 10 s for a squeeze, 4 s
 * for a cough, 20 s for a push; an endurance of half of 35 s for a long squeeze. */
static void test_windows(void **state)
{
    struct step_trace rising = step_trace_at(60.0);
    struct synth synth;

    (void)state;
    step_trace_ramp(&rising, 200.0, 60.0);
    step_trace_ramp(&rising, 300.0, 260.0);
    open_both(&synth, &rising, &rising);
    synth_event(&synth, EVENT_SQUEEZE, 200.0);
    assert_close(run(&synth)->squeeze_pressure_max.value, 80.0, 0.1);
    synth.events[0].code = EVENT_COUGH;
    assert_close(run(&synth)->cough_increment.value, 8.0, 0.1);
    synth.events[0].code = EVENT_PUSH;
    assert_close(run(&synth)->push_rectal_rise.value, 40.0, 0.2);
    synth.events[0].code = EVENT_LONG_SQUEEZE;
    const struct anorectal_manoeuvre *item = run(&synth)->manoeuvres.items;

    assert_string_equal(item->kind, "long_squeeze");
    assert_close(item->anal_peak_mmhg, 130.0, 0.1);
    /* The next manoeuvre ends it. */
    synth_event(&synth, EVENT_COUGH, 205.0);
    item = run(&synth)->manoeuvres.items;
    assert_close(item->anal_peak_mmhg, 70.0, 0.1);
    synth_close(&synth);
}

/* A squeeze may begin up to 2 s before its marker. Averages of 0.5 s reach the full rise until a
 * quarter of a second before it ends, and lose 2 mmHg a hundredth of a second from there on. */
static void test_late_marker(void **state)
{
    static const double lateness_s[] = {1.73, 1.77};
    static const double increments[] = {100.0, 95.5};

    (void)state;
    for (size_t i = 0; i < 2; i++) {
        struct step_trace anal = step_trace_at(60.0);
        struct synth synth;

        step_trace_pulse(&anal, 199.0, 200.0, 160.0);
        open_anal(&synth, &anal);
        synth_event(&synth, EVENT_SQUEEZE, 200.0 + lateness_s[i]);
        assert_close(run(&synth)->squeeze_increment.value, increments[i], 1.2);
        synth_close(&synth);
    }
}

/* The level just before is the median of the 5 s that end where the rise begins, a quarter of a
 * second before the step, as the averages have it: what fills more than half of them. */
static void test_level_before(void **state)
{
    static const double lengths_s[] = {2.775, 2.715};
    static const bool raised[] = {true, false};

    (void)state;
    for (size_t i = 0; i < 2; i++) {
        struct step_trace anal = step_trace_at(60.0);
        struct synth synth;

        step_trace_to(&anal, 200.0 - lengths_s[i], 70.0);
        step_trace_to(&anal, 200.0, 170.0);
        step_trace_to(&anal, 205.0, 60.0);
        open_anal(&synth, &anal);
        synth_event(&synth, EVENT_SQUEEZE, 200.0);
        const struct anorectal_manoeuvre *item = run(&synth)->manoeuvres.items;

        assert_int_equal(item->anal_rest_mmhg > 65.0, raised[i]);
        synth_close(&synth);
    }
}

/* It begins where a tenth of the rise is reached: in a rise of 30 s, after 3 s, and the median of
 * the 5 s before lies half a second into the rise. */
static void test_onset(void **state)
{
    struct step_trace anal = step_trace_at(60.0);
    struct synth synth;

    (void)state;
    step_trace_ramp(&anal, 200.0, 60.0);
    step_trace_ramp(&anal, 230.0, 160.0);
    step_trace_ramp(&anal, 240.0, 160.0);
    open_anal(&synth, &anal);
    synth_event(&synth, EVENT_LONG_SQUEEZE, 200.0);
    const struct anorectal_manoeuvre *item = run(&synth)->manoeuvres.items;

    assert_close(item->anal_rest_mmhg, 60.0 + 0.5 * 100.0 / 30.0, 0.05);
    synth_close(&synth);
}

/* A dip shorter than a second does not end a squeeze. */
static void test_dips(void **state)
{
    static const double dips_s[] = {0.99, 1.01};
    static const double durations_s[] = {6.0, 3.0};

    (void)state;
    for (size_t i = 0; i < 2; i++) {
        struct step_trace anal = step_trace_at(60.0);
        struct synth synth;

        step_trace_to(&anal, 200.0, 160.0);
        step_trace_to(&anal, 203.0, 60.0);
        step_trace_to(&anal, 203.0 + dips_s[i], 160.0);
        step_trace_to(&anal, 206.0, 60.0);
        open_anal(&synth, &anal);
        synth_event(&synth, EVENT_SQUEEZE, 200.0);
        assert_close(run(&synth)->squeeze_duration.value, durations_s[i], 0.05);
        synth_close(&synth);
    }
}

/* The best of several, and what is said when there is none. */
static void test_squeezes_missing(void **state)
{
    struct step_trace anal = step_trace_at(60.0);
    struct synth synth;

    (void)state;
    open_anal(&synth, &anal);
    assert_non_null(strstr(run(&synth)->squeeze_increment.reason, "no squeeze is marked"));
    assert_non_null(strstr(run(&synth)->long_squeeze_endurance.reason, "no long squeeze"));
    assert_non_null(strstr(run(&synth)->push_rectal_rise.reason, "no push is marked"));
    assert_non_null(strstr(run(&synth)->cough_increment.reason, "no cough is marked"));
    assert_int_equal(run(&synth)->manoeuvres.state, MEASURE_PRESENT);
    assert_int_equal(run(&synth)->manoeuvres.count, 0);
    synth_event(&synth, EVENT_SQUEEZE, 200.0);
    synth_lose(&synth, SIGNAL_PANAL, 190.0, 220.0);
    assert_non_null(strstr(run(&synth)->squeeze_increment.reason, "missing"));
    synth_close(&synth);
}

/* A long squeeze that the record cuts: at least what is seen. */
static void test_unseen_end(void **state)
{
    struct step_trace anal = step_trace_at(60.0);
    struct synth synth;

    (void)state;
    step_trace_to(&anal, 390.0, 160.0);
    open_anal(&synth, &anal);
    synth_event(&synth, EVENT_LONG_SQUEEZE, 390.0);
    const struct measure endurance = run(&synth)->long_squeeze_endurance;

    assert_close(endurance.value, 10.0, 0.05);
    assert_non_null(strstr(endurance.method, "at least this long: the end is not seen"));
    synth_close(&synth);
}

/* A rectal rise from 5 mmHg on shows when the patient pushes; below, 15 s are taken from the
 * marker. The anal pressure falls after the rectal rise is over. */
static void test_push_seen(void **state)
{
    static const double rises[] = {5.05, 4.95};
    static const double residuals[] = {60.0, 40.0};

    (void)state;
    for (size_t i = 0; i < 2; i++) {
        struct step_trace anal = step_trace_at(60.0);
        struct step_trace rectal = step_trace_at(10.0);
        struct synth synth;

        step_trace_pulse(&anal, 208.0, 212.0, 40.0);
        step_trace_pulse(&rectal, 200.0, 206.0, 10.0 + rises[i]);
        open_both(&synth, &anal, &rectal);
        synth_event(&synth, EVENT_PUSH, 200.0);
        assert_close(run(&synth)->push_anal_residual.value, residuals[i], 1e-6);
        synth_close(&synth);
    }
}

/* Without rectal pressure: 15 s from the marker, without the last second; the lowest there of a
 * steady fall of 4 mmHg/s. And without the first, of a steady rise. */
static void test_push_unseen(void **state)
{
    static const double levels[2][2] = {{100.0, 20.0}, {20.0, 100.0}};
    static const double residuals[] = {44.0, 24.0};

    (void)state;
    for (size_t i = 0; i < 2; i++) {
        struct step_trace anal = step_trace_at(100.0);
        struct synth synth;

        step_trace_to(&anal, 198.0, levels[i][0]);
        step_trace_ramp(&anal, 200.0, levels[i][0]);
        step_trace_ramp(&anal, 220.0, levels[i][1]);
        step_trace_to(&anal, 221.0, 100.0);
        open_anal(&synth, &anal);
        synth_event(&synth, EVENT_PUSH, 200.0);
        const struct anorectal_measures *measures = run(&synth);

        assert_close(measures->push_anal_residual.value, residuals[i], 0.06);
        assert_int_equal(measures->push_rectal_rise.state, MEASURE_ABSENT);
        assert_non_null(strstr(measures->push_anal_residual.method, "without rectal pressure"));
        synth_close(&synth);
    }
}

/* The push with the best gradient is told of three. */
static void test_best_push(void **state)
{
    struct step_trace anal = step_trace_at(60.0);
    struct step_trace rectal = step_trace_at(10.0);
    struct synth synth;

    (void)state;
    step_trace_pulse(&anal, 100.0, 115.0, 30.0);
    step_trace_pulse(&anal, 150.0, 165.0, 40.0);
    step_trace_pulse(&anal, 200.0, 215.0, 70.0);
    step_trace_pulse(&rectal, 100.0, 115.0, 30.0);
    step_trace_pulse(&rectal, 150.0, 165.0, 60.0);
    step_trace_pulse(&rectal, 200.0, 215.0, 80.0);
    open_both(&synth, &anal, &rectal);
    synth_event(&synth, EVENT_PUSH, 100.0);
    synth_event(&synth, EVENT_PUSH, 150.0);
    synth_event(&synth, EVENT_PUSH, 200.0);
    const struct anorectal_measures *measures = run(&synth);
    const struct anorectal_manoeuvre *items = measures->manoeuvres.items;

    assert_close(measures->rectoanal_gradient.value, 20.0, 1e-6);
    assert_close(measures->push_rectal_rise.value, 50.0, 1e-6);
    assert_close(measures->push_anal_relaxation.value, 100.0 / 3.0, 1e-3);
    assert_int_equal(measures->manoeuvres.count, 3);
    assert_close(items[2].rectal_rise_mmhg, 70.0, 1e-6);
    assert_close(items[2].change_percent, -100.0 / 6.0, 1e-3);
    assert_close(items[0].change_percent, 50.0, 1e-3);
    synth_close(&synth);
}

/* Of a resting pressure below 10 mmHg no percentage is told. */
static void test_low_rest(void **state)
{
    static const double rests[] = {9.9, 10.1};

    (void)state;
    for (size_t i = 0; i < 2; i++) {
        struct step_trace anal = step_trace_at(rests[i]);
        struct synth synth;

        step_trace_pulse(&anal, 200.0, 215.0, 5.0);
        open_anal(&synth, &anal);
        synth_event(&synth, EVENT_PUSH, 200.0);
        assert_int_equal(run(&synth)->push_anal_relaxation.state,
                         i == 0 ? MEASURE_ABSENT : MEASURE_PRESENT);
        assert_close(run(&synth)->push_anal_residual.value, 5.0, 1e-6);
        synth_close(&synth);
    }
}

/* ---- Without markers ---- */

struct found_case {
    double height;
    double length_s;
    const char *kind; /* NULL: nothing is found */
};

/* Rises of 15 mmHg for 1 to 45 s are squeezes, from 15 s on long ones. */
static void test_found_squeezes(void **state)
{
    static const struct found_case cases[] = {
        {14.9, 5.0, NULL},       {15.1, 5.0, "squeeze"},       {30.0, 0.99, NULL},
        {30.0, 1.01, "squeeze"}, {30.0, 14.9, "squeeze"},      {30.0, 15.1, "long_squeeze"},
        {30.0, 45.2, NULL},      {30.0, 44.8, "long_squeeze"},
    };

    (void)state;
    for (size_t i = 0; i < sizeof cases / sizeof cases[0]; i++) {
        struct step_trace anal = step_trace_at(60.0);
        struct step_trace rectal = step_trace_at(10.0);
        struct synth synth;

        step_trace_pulse(&anal, 200.0, 200.0 + cases[i].length_s, 60.0 + cases[i].height);
        open_both(&synth, &anal, &rectal);
        const struct analysis_result *result = synth_run(&synth);

        print_message("case %zu\n", i);
        assert_int_equal(result->anorectal.manoeuvres.count, cases[i].kind != NULL);
        if (cases[i].kind != NULL) {
            assert_int_equal(count_kind(&result->anorectal, cases[i].kind), 1);
            assert_non_null(synth_quality(result, "found_without_marker"));
        }
        synth_close(&synth);
    }
}

/* Rises of the rectal pressure shorter than 2 s are coughs, longer ones pushes. */
static void test_found_pushes(void **state)
{
    static const struct found_case cases[] = {
        {14.9, 5.0, NULL},    {15.1, 5.0, "push"}, {30.0, 1.97, "cough"},
        {30.0, 2.03, "push"}, {40.0, 45.2, NULL},  {40.0, 44.8, "push"},
    };

    (void)state;
    for (size_t i = 0; i < sizeof cases / sizeof cases[0]; i++) {
        struct step_trace anal = step_trace_at(60.0);
        struct step_trace rectal = step_trace_at(10.0);
        struct synth synth;

        step_trace_pulse(&rectal, 200.0, 200.0 + cases[i].length_s, 10.0 + cases[i].height);
        /* The anal pressure rises along: no squeeze. */
        step_trace_pulse(&anal, 200.0, 200.0 + cases[i].length_s, 60.0 + cases[i].height);
        open_both(&synth, &anal, &rectal);
        const struct anorectal_measures *measures = run(&synth);

        print_message("case %zu\n", i);
        if (cases[i].kind != NULL) {
            assert_int_equal(count_kind(measures, cases[i].kind), 1);
            assert_int_equal(measures->manoeuvres.count, 1);
        } else {
            assert_int_equal(count_kind(measures, "push"), 0);
            assert_int_equal(count_kind(measures, "cough"), 0);
        }
        synth_close(&synth);
    }
}

/* The usual level is the median of two minutes: raised for more than half of them, it is the level.
 */
static void test_usual_level(void **state)
{
    static const double lengths_s[] = {29.7, 30.4};
    static const size_t found[] = {2, 0};

    (void)state;
    for (size_t i = 0; i < 2; i++) {
        struct step_trace anal = step_trace_at(60.0);
        struct synth synth;

        step_trace_pulse(&anal, 200.0, 200.0 + lengths_s[i], 90.0);
        step_trace_pulse(&anal, 240.0, 240.0 + lengths_s[i], 90.0);
        open_anal(&synth, &anal);
        assert_int_equal(count_kind(run(&synth), "long_squeeze"), found[i]);
        synth_close(&synth);
    }
}

/* Marked kinds are not sought, nor coughs where anything is marked; what belongs to a marked one is
 * no other. */
static void test_marked_is_not_sought(void **state)
{
    struct step_trace anal = step_trace_at(60.0);
    struct step_trace rectal = step_trace_at(10.0);
    struct synth synth;

    (void)state;
    step_trace_pulse(&anal, 100.0, 105.0, 120.0);
    step_trace_pulse(&rectal, 150.0, 165.0, 50.0);
    step_trace_pulse(&anal, 200.0, 205.0, 130.0);
    step_trace_pulse(&rectal, 250.0, 251.0, 50.0);
    open_both(&synth, &anal, &rectal);
    assert_int_equal(run(&synth)->manoeuvres.count, 4);
    assert_int_equal(count_kind(run(&synth), "cough"), 1);
    synth_event(&synth, EVENT_SQUEEZE, 100.0);
    assert_int_equal(count_kind(run(&synth), "squeeze"), 1);
    assert_int_equal(count_kind(run(&synth), "cough"), 0);
    assert_int_equal(count_kind(run(&synth), "push"), 1);
    synth.events[0].code = EVENT_PUSH;
    assert_int_equal(count_kind(run(&synth), "squeeze"), 1);
    assert_int_equal(count_kind(run(&synth), "push"), 1);
    synth_close(&synth);
}

/* Half a minute after an inflation is its own. */
static void test_inflation_is_not_sought(void **state)
{
    static const double later_s[] = {29.9, 30.1};

    (void)state;
    for (size_t i = 0; i < 2; i++) {
        struct step_trace anal = step_trace_at(60.0);
        struct synth synth;

        step_trace_pulse(&anal, 200.0 + later_s[i], 236.0, 90.0);
        open_anal(&synth, &anal);
        step_trace_event(&synth, EVENT_BALLOON, 200.0, 40.0);
        assert_int_equal(count_kind(run(&synth), "squeeze"), i);
        synth_close(&synth);
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_windows),
        cmocka_unit_test(test_late_marker),
        cmocka_unit_test(test_level_before),
        cmocka_unit_test(test_onset),
        cmocka_unit_test(test_dips),
        cmocka_unit_test(test_squeezes_missing),
        cmocka_unit_test(test_unseen_end),
        cmocka_unit_test(test_push_seen),
        cmocka_unit_test(test_push_unseen),
        cmocka_unit_test(test_best_push),
        cmocka_unit_test(test_low_rest),
        cmocka_unit_test(test_found_squeezes),
        cmocka_unit_test(test_found_pushes),
        cmocka_unit_test(test_usual_level),
        cmocka_unit_test(test_marked_is_not_sought),
        cmocka_unit_test(test_inflation_is_not_sought),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
