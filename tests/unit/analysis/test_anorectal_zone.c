/* Which anal sensors count: those in the anal high-pressure zone at rest. */
#include "support/assert_close.h"
#include "support/step_trace.h"

#include <math.h>
#include <string.h>

enum { SENSORS_MAX = 4 };

static const double rate_hz = 10.0;
static const double end_s = 300.0;
static const double rectal = 8.0;
static const double pulse_from_s = 250.0;
static const double pulse_to_s = 256.0;

/* Sensors from the outermost on, at their levels; a squeeze shows in one of them alone. */
struct zone_case {
    size_t sensors;
    double levels[SENSORS_MAX];
    bool has_rectal;
    size_t squeezed;
    bool counts;
};

static void add_rectal(struct synth *synth)
{
    const struct synth_sampling sampling = {.rate_hz = rate_hz, .end_s = end_s};

    synth_channel(synth, SIGNAL_PRECT, sampling, constant_value, &rectal);
}

static void add_sensor(struct synth *synth, unsigned number, struct step_trace trace)
{
    step_trace_add(synth, (enum signal_kind)(SIGNAL_PANAL + number), rate_hz, end_s, &trace);
}

/* Whether a pulse to 200 mmHg is seen. */
static bool is_seen(struct synth *synth)
{
    const struct measure highest = synth_run(synth)->anorectal.squeeze_pressure_max;

    assert_int_equal(highest.state, MEASURE_PRESENT);
    return highest.value > 190.0;
}

static void check(const struct zone_case *zone)
{
    struct synth synth;

    synth_open(&synth, RECORDING_ANORECTAL_MANOMETRY);
    for (size_t i = 0; i < zone->sensors; i++) {
        struct step_trace trace = step_trace_at(zone->levels[i]);

        if (i == zone->squeezed) {
            step_trace_pulse(&trace, pulse_from_s, pulse_to_s, 200.0);
        }
        add_sensor(&synth, 1 + (unsigned)i, trace);
    }
    if (zone->has_rectal) {
        add_rectal(&synth);
    }
    synth_event(&synth, EVENT_SQUEEZE, pulse_from_s);
    assert_int_equal(is_seen(&synth), zone->counts);
    synth_close(&synth);
}

/* More than 5 mmHg above the rectal pressure, side by side with the highest, on both sides. */
static void test_above_rectal(void **state)
{
    static const struct zone_case cases[] = {
        {3, {12.95, 60.0, 40.0}, true, 0, false},     {3, {13.05, 60.0, 40.0}, true, 0, true},
        {3, {40.0, 60.0, 12.95}, true, 2, false},     {3, {40.0, 60.0, 13.05}, true, 2, true},
        {4, {60.0, 40.0, 8.0, 30.0}, true, 3, false}, /* beyond one that does not count */
        {4, {30.0, 8.0, 40.0, 60.0}, true, 0, false}, {4, {60.0, 40.0, 14.0, 30.0}, true, 3, true},
        {3, {60.0, 40.0, 8.0}, true, 0, true},
    };

    (void)state;
    for (size_t i = 0; i < sizeof cases / sizeof cases[0]; i++) {
        print_message("case %zu\n", i);
        check(&cases[i]);
    }
}

/* One sensor always counts: the highest, however low. */
static void test_none_above(void **state)
{
    static const struct zone_case cases[] = {
        {3, {2.0, 9.0, 8.0}, true, 1, true},
        {3, {2.0, 9.0, 8.0}, true, 2, false},
        {1, {3.0}, true, 0, true},
        {1, {3.0}, false, 0, true},
    };

    (void)state;
    for (size_t i = 0; i < sizeof cases / sizeof cases[0]; i++) {
        print_message("case %zu\n", i);
        check(&cases[i]);
    }
}

/* Without rectal pressure: more than 5 mmHg above the lowest on the same side, or above 20 mmHg
 * when all there are higher. */
static void test_without_rectal(void **state)
{
    static const struct zone_case cases[] = {
        {4, {0.0, 60.0, 12.9, 8.0}, false, 2, false}, {4, {0.0, 60.0, 13.1, 8.0}, false, 2, true},
        {4, {0.0, 5.1, 60.0, 8.0}, false, 1, true},   {4, {0.0, 4.9, 60.0, 8.0}, false, 1, false},
        {4, {0.0, 30.0, 60.0, 8.0}, false, 3, false}, {3, {60.0, 24.9, 20.3}, false, 1, false},
        {3, {60.0, 25.1, 20.3}, false, 1, true},      {2, {40.0, 60.0}, false, 0, true},
    };

    (void)state;
    for (size_t i = 0; i < sizeof cases / sizeof cases[0]; i++) {
        print_message("case %zu\n", i);
        check(&cases[i]);
    }
}

/* Rest is where the marker says; else the minute before the first manoeuvre; else, or where less
 * than 10 s remain, all of the recording. The second sensor is in the canal for a while only. */
static void test_when_at_rest(void **state)
{
    static const struct {
        double rest_s; /* 0: no marker */
        double first_s;
        double from_s;
        double to_s;
        bool counts;
    } cases[] = {
        {100.0, 240.0, 100.0, 131.0, true},  /* most of 100 to 160 s */
        {100.0, 240.0, 100.0, 129.0, false}, /* less */
        {100.0, 240.0, 160.0, 240.0, false},
        {100.0, 122.0, 100.0, 111.0, true}, /* of 20 s */
        {100.0, 122.0, 100.0, 109.0, false},
        {100.0, 112.2, 100.0, 106.0, true},  /* of 10.2 s */
        {100.0, 111.8, 100.0, 106.0, false}, /* of 60 s */
        {0.0, 242.0, 209.0, 240.0, true},
        {0.0, 242.0, 211.0, 240.0, false},
        {0.0, 242.0, 180.0, 211.0, true},
        {0.0, 242.0, 180.0, 209.0, false},
        {0.0, 12.2, 0.0, 6.0, true},
        {0.0, 11.8, 0.0, 6.0, false}, /* of 300 s, with the squeeze */
        {0.0, 11.8, 0.0, 145.0, true},
        {0.0, 11.8, 0.0, 143.0, false},
    };

    (void)state;
    for (size_t i = 0; i < sizeof cases / sizeof cases[0]; i++) {
        struct step_trace trace = step_trace_at(rectal);
        struct synth synth;

        print_message("case %zu\n", i);
        step_trace_pulse(&trace, cases[i].from_s, cases[i].to_s, 40.0);
        step_trace_pulse(&trace, pulse_from_s, pulse_to_s, 200.0);
        synth_open(&synth, RECORDING_ANORECTAL_MANOMETRY);
        add_sensor(&synth, 1, step_trace_at(60.0));
        add_sensor(&synth, 2, trace);
        add_rectal(&synth);
        if (cases[i].rest_s > 0.0) {
            synth_event(&synth, EVENT_REST, cases[i].rest_s);
        }
        synth_event(&synth, EVENT_COUGH, cases[i].first_s);
        synth_event(&synth, EVENT_SQUEEZE, pulse_from_s);
        assert_int_equal(is_seen(&synth), cases[i].counts);
        synth_close(&synth);
    }
}

/* Markers of all kinds end the rest before them; others do not. */
static void test_what_ends_rest(void **state)
{
    static const struct {
        enum event_code code;
        bool ends;
    } cases[] = {{EVENT_SQUEEZE, true}, {EVENT_LONG_SQUEEZE, true},    {EVENT_COUGH, true},
                 {EVENT_PUSH, true},    {EVENT_BALLOON, true},         {EVENT_FILLING_START, true},
                 {EVENT_ZERO, false},   {EVENT_FIRST_SENSATION, false}};

    (void)state;
    for (size_t i = 0; i < sizeof cases / sizeof cases[0]; i++) {
        struct step_trace trace = step_trace_at(rectal);
        struct synth synth;

        print_message("case %zu\n", i);
        step_trace_pulse(&trace, 60.0, 118.0, 40.0);
        step_trace_pulse(&trace, pulse_from_s, pulse_to_s, 200.0);
        synth_open(&synth, RECORDING_ANORECTAL_MANOMETRY);
        add_sensor(&synth, 1, step_trace_at(60.0));
        add_sensor(&synth, 2, trace);
        add_rectal(&synth);
        synth_event(&synth, cases[i].code, 120.0);
        synth_event(&synth, EVENT_FILLING_STOP, 125.0);
        synth_event(&synth, EVENT_SQUEEZE, pulse_from_s);
        assert_int_equal(is_seen(&synth), cases[i].ends);
        synth_close(&synth);
    }
}

/* A sensor that is missing at rest is judged by all that it shows; one that is missing altogether
 * does not end the zone; without any level all sensors count. panal has no place: it counts. */
static void test_unknown_levels(void **state)
{
    struct step_trace pulse = step_trace_at(40.0);
    struct step_trace low = step_trace_at(rectal);
    struct synth synth;

    (void)state;
    step_trace_pulse(&pulse, pulse_from_s, pulse_to_s, 200.0);
    step_trace_pulse(&low, pulse_from_s, pulse_to_s, 200.0);
    for (size_t i = 0; i < 3; i++) {
        synth_open(&synth, RECORDING_ANORECTAL_MANOMETRY);
        add_sensor(&synth, 1, step_trace_at(60.0));
        add_sensor(&synth, 2, step_trace_at(30.0));
        add_sensor(&synth, 3, pulse);
        add_rectal(&synth);
        if (i == 1) {
            synth_lose(&synth, SIGNAL_PANAL2, 0.0, 235.0); /* most of it */
        }
        if (i == 2) {
            synth_lose(&synth, SIGNAL_PANAL3, 170.0, 240.0);
            synth_lose(&synth, SIGNAL_PRECT, 170.0, 240.0);
        }
        synth_event(&synth, EVENT_SQUEEZE, pulse_from_s);
        assert_true(is_seen(&synth));
        synth_close(&synth);
    }
    synth_open(&synth, RECORDING_ANORECTAL_MANOMETRY);
    add_sensor(&synth, 1, low);
    add_sensor(&synth, 2, step_trace_at(60.0));
    synth_lose(&synth, SIGNAL_PANAL1, 0.0, 235.0);
    synth_lose(&synth, SIGNAL_PANAL2, 0.0, 235.0);
    synth_event(&synth, EVENT_SQUEEZE, pulse_from_s);
    assert_true(is_seen(&synth));
    synth_close(&synth);
    synth_open(&synth, RECORDING_ANORECTAL_MANOMETRY);
    add_sensor(&synth, 0, low);
    add_sensor(&synth, 1, step_trace_at(60.0));
    add_rectal(&synth);
    synth_event(&synth, EVENT_SQUEEZE, pulse_from_s);
    assert_true(is_seen(&synth));
    synth_close(&synth);
}

/* What a sensor in the rectum shows changes no value of any manoeuvre. */
static void test_all_manoeuvres(void **state)
{
    struct step_trace anal = step_trace_at(60.0);
    struct step_trace deep = step_trace_at(rectal);
    struct synth synth;

    (void)state;
    step_trace_pulse(&anal, 80.0, 85.0, 140.0);   /* squeeze */
    step_trace_pulse(&anal, 110.0, 130.0, 120.0); /* long squeeze */
    step_trace_pulse(&anal, 170.0, 170.6, 110.0); /* cough */
    step_trace_pulse(&anal, 200.0, 214.0, 39.0);  /* push: 35 % of 60 mmHg away */
    step_trace_pulse(&anal, 251.0, 260.0, 30.0);  /* reflex */
    step_trace_pulse(&deep, 80.0, 85.0, 190.0);
    step_trace_pulse(&deep, 110.0, 140.0, 190.0);
    step_trace_pulse(&deep, 170.0, 170.6, 190.0);
    step_trace_pulse(&deep, 200.0, 214.0, 91.0);
    step_trace_pulse(&deep, 250.0, 280.0, 70.0);
    synth_open(&synth, RECORDING_ANORECTAL_MANOMETRY);
    add_sensor(&synth, 1, anal);
    add_sensor(&synth, 2, deep);
    step_trace_add(&synth, SIGNAL_PRECT, rate_hz, end_s, &deep);
    synth_event(&synth, EVENT_SQUEEZE, 80.0);
    synth_event(&synth, EVENT_LONG_SQUEEZE, 110.0);
    synth_event(&synth, EVENT_COUGH, 170.0);
    synth_event(&synth, EVENT_PUSH, 200.0);
    step_trace_event(&synth, EVENT_BALLOON, 250.0, 50.0);
    const struct anorectal_measures *measures = &synth_run(&synth)->anorectal;

    assert_close(measures->resting_pressure.value, 60.0, 1e-6);
    assert_non_null(strstr(measures->resting_pressure.method, "high-pressure zone"));
    assert_close(measures->squeeze_increment.value, 80.0, 1e-6);
    assert_close(measures->squeeze_pressure_max.value, 140.0, 1e-6);
    assert_close(measures->long_squeeze_endurance.value, 20.0, 0.1);
    assert_close(measures->cough_increment.value, 50.0, 1e-6);
    assert_close(measures->cough_gradient.value, 110.0 - 190.0, 1e-6);
    assert_close(measures->push_anal_relaxation.value, 35.0, 1e-6);
    assert_close(measures->rectoanal_gradient.value, 91.0 - 39.0, 1e-6);
    assert_string_equal(measures->rair.word, "present");
    assert_close(measures->rair.parts[1].value, 50.0, 1e-6);
    synth_close(&synth);
}

/* On a pull-through all sensors of one level count, because they lie in the rectum before. */
static void test_pull(void **state)
{
    struct step_trace canal = step_trace_at(rectal);
    struct synth synth;

    (void)state;
    step_trace_pulse(&canal, 110.0, 140.0, 60.0);
    for (size_t i = 0; i < 2; i++) {
        const bool puller = i == 1;
        struct step_trace way = step_trace_at(0.0);

        step_trace_ramp(&way, 100.0, 0.0);
        step_trace_ramp(&way, 150.0, 50.0);
        synth_open(&synth, RECORDING_ANORECTAL_MANOMETRY);
        add_sensor(&synth, 1, step_trace_at(rectal + 1.0));
        add_sensor(&synth, 2, canal);
        add_rectal(&synth);
        if (puller) {
            step_trace_add(&synth, SIGNAL_PULLER, rate_hz, end_s, &way);
        } else {
            synth_event(&synth, EVENT_PULL_START, 100.0);
            synth_event(&synth, EVENT_PULL_END, 150.0);
            synth.recording.conditions.puller_speed_mm_s = (struct optional_number){true, 1.0};
        }
        synth_event(&synth, EVENT_SQUEEZE, 290.0); /* so that none is sought */
        assert_close(synth_run(&synth)->anorectal.functional_canal_length.value, 30.0, 1.0);
        synth_close(&synth);
    }
}

/* Samples so far apart that a minute holds none. */
static void test_slow(void **state)
{
    struct synth synth;

    (void)state;
    synth_open(&synth, RECORDING_ANORECTAL_MANOMETRY);
    for (unsigned i = 0; i < 2; i++) {
        const double level = 60.0 - 20.0 * (double)i;
        const struct synth_sampling sampling = {.rate_hz = 0.01, .end_s = 4000.0};

        synth_channel(&synth, (enum signal_kind)(SIGNAL_PANAL1 + i), sampling, constant_value,
                      &level);
    }
    assert_close(synth_run(&synth)->anorectal.resting_pressure.value, 60.0, 1e-9);
    synth_close(&synth);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_above_rectal),   cmocka_unit_test(test_none_above),
        cmocka_unit_test(test_without_rectal), cmocka_unit_test(test_when_at_rest),
        cmocka_unit_test(test_what_ends_rest), cmocka_unit_test(test_unknown_levels),
        cmocka_unit_test(test_all_manoeuvres), cmocka_unit_test(test_pull),
        cmocka_unit_test(test_slow),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
