/* Functional length of the anal canal: pull-throughs and sensors. */
#include "support/assert_close.h"
#include "support/step_trace.h"

#include <math.h>
#include <string.h>

static const double end_s = 200.0;

static struct measure length_of(struct synth *synth)
{
    return synth_run(synth)->anorectal.functional_canal_length;
}

/* Above the rectal pressure of 10: 50 mmHg from 10 to 40 mm, with edges of 5 mm. */
static struct step_trace canal(double begin_s, double speed_mm_s)
{
    struct step_trace anal = step_trace_at(10.0);

    step_trace_ramp(&anal, begin_s + 10.0 / speed_mm_s, 10.0);
    step_trace_ramp(&anal, begin_s + 15.0 / speed_mm_s, 60.0);
    step_trace_ramp(&anal, begin_s + 35.0 / speed_mm_s, 60.0);
    step_trace_ramp(&anal, begin_s + 40.0 / speed_mm_s, 10.0);
    return anal;
}

static void add_speed(struct synth *synth, double mm_s)
{
    synth->recording.conditions.puller_speed_mm_s = (struct optional_number){true, mm_s};
}

static void open_pull(struct synth *synth, const struct step_trace *anal, double to_s)
{
    const double rectal = 10.0;

    synth_open(synth, RECORDING_ANORECTAL_MANOMETRY);
    step_trace_add(synth, SIGNAL_PANAL, 50.0, end_s, anal);
    synth_channel(synth, SIGNAL_PRECT, (struct synth_sampling){.rate_hz = 10.0, .end_s = end_s},
                  constant_value, &rectal);
    synth_event(synth, EVENT_PULL_START, 80.0);
    synth_event(synth, EVENT_PULL_END, to_s);
}

/* 5 of 50 mmHg are passed half a millimetre into each edge: 29 mm. */
static void test_by_markers(void **state)
{
    struct step_trace anal = canal(80.0, 1.0);
    struct synth synth;

    (void)state;
    open_pull(&synth, &anal, 130.0);
    assert_non_null(strstr(length_of(&synth).reason, "speed"));
    add_speed(&synth, 1.0);
    const struct measure length = length_of(&synth);

    assert_close(length.value, 29.0, 0.15);
    assert_null(strstr(length.method, "at least"));
    add_speed(&synth, 2.0);
    assert_close(length_of(&synth).value, 58.0, 0.4);
    add_speed(&synth, 0.0);
    assert_int_equal(length_of(&synth).state, MEASURE_ABSENT);
    synth_close(&synth);
    /* The pull ends within the canal. */
    open_pull(&synth, &anal, 110.0);
    add_speed(&synth, 1.0);
    const struct measure cut = length_of(&synth);

    assert_close(cut.value, 19.5, 0.6);
    assert_non_null(strstr(cut.method, "at least"));
    synth_close(&synth);
}

/* A puller channel tells position and time; where it does not move there is no pull. */
static void test_puller_moves(void **state)
{
    static const double moved_mm[] = {0.495, 0.505};

    (void)state;
    for (size_t i = 0; i < 2; i++) {
        struct step_trace anal = step_trace_at(60.0);
        struct step_trace puller = step_trace_at(0.0);
        struct synth synth;

        step_trace_pulse(&puller, 80.0, 100.0, moved_mm[i]);
        synth_open(&synth, RECORDING_ANORECTAL_MANOMETRY);
        step_trace_add(&synth, SIGNAL_PANAL, 50.0, end_s, &anal);
        step_trace_add(&synth, SIGNAL_PULLER, 50.0, end_s, &puller);
        const struct measure length = length_of(&synth);

        assert_int_equal(strstr(length.reason, "no pull-through") != NULL, i == 0);
        synth_close(&synth);
    }
}

/* Stations: at 0, `second`, 20, 40 and 60 mm, 10 s each, with means above the rectal pressure. */
static void open_stations(struct synth *synth, double second_mm, double second_above,
                          double early_s, double early_above)
{
    const double positions_mm[] = {0.0, second_mm, 20.0, 40.0, 60.0};
    const double above[] = {4.0, second_above, 50.0, 30.0, 0.0};
    struct step_trace anal = step_trace_at(10.0 + early_above);
    struct step_trace puller = step_trace_at(0.0);
    const double rectal = 10.0;

    /* The first station is held before the pull begins at 100 s. */
    step_trace_to(&anal, 100.0 - early_s, 10.0 + above[0]);
    for (int i = 1; i < 5; i++) {
        step_trace_to(&puller, 90.0 + 10.0 * i, positions_mm[i]);
        step_trace_to(&anal, 90.0 + 10.0 * i, 10.0 + above[i]);
    }
    synth_open(synth, RECORDING_ANORECTAL_MANOMETRY);
    synth_event(synth, EVENT_SQUEEZE, 195.0); /* so that none is sought */
    synth_event(synth, EVENT_PUSH, 198.0);
    step_trace_add(synth, SIGNAL_PANAL, 50.0, end_s, &anal);
    step_trace_add(synth, SIGNAL_PULLER, 50.0, end_s, &puller);
    synth_channel(synth, SIGNAL_PRECT, (struct synth_sampling){.rate_hz = 50.0, .end_s = end_s},
                  constant_value, &rectal);
}

/* Positions within one millimetre are one: together with its neighbour the first station is above 5
 * mmHg, and the canal begins beyond the pull. */
static void test_joined_positions(void **state)
{
    static const double second_mm[] = {0.99, 1.01};

    (void)state;
    for (size_t i = 0; i < 2; i++) {
        struct synth synth;

        open_stations(&synth, second_mm[i], 30.0, 50.0, 4.0);
        const struct measure length = length_of(&synth);

        assert_int_equal(strstr(length.method, "at least") != NULL, i == 0);
        synth_close(&synth);
    }
}

/* From 4 mmHg at 0 to 50 at 20 mm, and from 30 at 40 to 0 at 60 mm. */
static void test_stations(void **state)
{
    struct synth synth;

    (void)state;
    open_stations(&synth, 10.0, 27.0, 50.0, 4.0);
    const struct measure length = length_of(&synth);

    assert_close(length.value, 40.0 + 20.0 * 25.0 / 30.0 - 10.0 / 23.0, 0.3);
    synth_close(&synth);
}

/* The first station counts for 5 s before the puller moves: much pressure before that is outside.
 */
static void test_dwell(void **state)
{
    static const double early_s[] = {5.06, 4.94};

    (void)state;
    for (size_t i = 0; i < 2; i++) {
        struct synth synth;

        open_stations(&synth, 10.0, 27.0, early_s[i], 350.0);
        assert_int_equal(strstr(length_of(&synth).method, "at least") != NULL, i == 1);
        synth_close(&synth);
    }
}

/* What lies beyond 300 mm is no canal: of one from 290 to 310 mm, 10 mm are seen. */
static void test_longest_pull(void **state)
{
    struct step_trace anal = step_trace_at(10.0);
    struct synth synth;

    (void)state;
    step_trace_pulse(&anal, 80.0 + 29.0, 80.0 + 31.0, 60.0);
    open_pull(&synth, &anal, 115.0);
    synth_event(&synth, EVENT_SQUEEZE, 195.0);
    add_speed(&synth, 10.0);
    const struct measure length = length_of(&synth);

    assert_close(length.value, 10.0, 1.0);
    assert_non_null(strstr(length.method, "at least"));
    synth_close(&synth);
}

/* Without rectal pressure: the first second of the pull stands for it, whatever fills most of it.
 */
static void test_without_rectal(void **state)
{
    static const double lengths_s[] = {0.5375, 0.5225};

    (void)state;
    for (size_t i = 0; i < 2; i++) {
        struct step_trace anal = canal(80.0, 1.0);
        struct synth synth;

        synth_open(&synth, RECORDING_ANORECTAL_MANOMETRY);
        double *samples = step_trace_add(&synth, SIGNAL_PANAL, 200.0, end_s, &anal);

        for (size_t k = 16000; (double)(k - 16000) < lengths_s[i] * 200.0; k++) {
            samples[k] = 70.0;
        }
        synth_event(&synth, EVENT_PULL_START, 80.0);
        synth_event(&synth, EVENT_PULL_END, 130.0);
        add_speed(&synth, 1.0);
        const struct measure length = length_of(&synth);

        if (i == 0) {
            assert_int_equal(length.state, MEASURE_ABSENT);
        } else {
            assert_non_null(strstr(length.method, "taken for the rectal one"));
        }
        synth_close(&synth);
    }
}

/* Squeezes during a station do not count. */
static void test_manoeuvre_in_pull(void **state)
{
    struct step_trace anal = canal(80.0, 1.0);
    struct synth synth;

    (void)state;
    open_pull(&synth, &anal, 130.0);
    add_speed(&synth, 1.0);
    const double length_mm = length_of(&synth).value;
    double *samples = synth_writable(&synth, SIGNAL_PANAL);

    for (size_t k = 6150; k < 6250; k++) {
        samples[k] = 100.0;
    }
    synth_event(&synth, EVENT_COUGH, 123.0);
    assert_close(length_of(&synth).value, length_mm, 0.05);
    synth_close(&synth);
}

/* Sensors: a canal that reaches beyond them, a dead one, one alone, no rectal pressure. */
static void test_sensors(void **state)
{
    static const double levels[] = {30.0, 60.0, 35.0, 10.0};
    const double rectal = 10.0;
    struct synth synth;

    (void)state;
    synth_open(&synth, RECORDING_ANORECTAL_MANOMETRY);
    synth.recording.conditions.anal_sensor_spacing_mm = (struct optional_number){true, 10.0};
    for (unsigned i = 0; i < 4; i++) {
        struct step_trace anal = step_trace_at(levels[i]);

        step_trace_add(&synth, (enum signal_kind)(SIGNAL_PANAL1 + i), 10.0, end_s, &anal);
    }
    assert_string_equal(length_of(&synth).reason, "no rectal pressure signal");
    synth_channel(&synth, SIGNAL_PRECT, (struct synth_sampling){.rate_hz = 10.0, .end_s = end_s},
                  constant_value, &rectal);
    const struct measure length = length_of(&synth);

    /* From 25 mmHg above the rectal one to nothing, which counts for 1. */
    assert_close(length.value, 25.0, 1e-6);
    assert_non_null(strstr(length.method, "at least"));
    synth.recording.conditions.anal_sensor_spacing_mm.known = false;
    assert_non_null(strstr(length_of(&synth).reason, "spacing"));
    synth.recording.conditions.anal_sensor_spacing_mm = (struct optional_number){true, -1.0};
    assert_int_equal(length_of(&synth).state, MEASURE_ABSENT);
    synth_close(&synth);
}

/* A last sensor at 4 mmHg: from 50, 5 mmHg is passed near it. At 0.5, its noise is taken for 1. */
static void test_between_sensors(void **state)
{
    static const double lasts[] = {4.0, 0.5};
    static const double floors[] = {4.0, 1.0};
    const double rectal = 10.0;

    (void)state;
    for (size_t k = 0; k < 2; k++) {
        const double levels[] = {10.0, 60.0, 10.0 + lasts[k]};
        struct synth synth;

        synth_open(&synth, RECORDING_ANORECTAL_MANOMETRY);
        synth.recording.conditions.anal_sensor_spacing_mm = (struct optional_number){true, 6.0};
        for (unsigned i = 0; i < 3; i++) {
            struct step_trace anal = step_trace_at(levels[i]);

            step_trace_add(&synth, (enum signal_kind)(SIGNAL_PANAL1 + i), 10.0, end_s, &anal);
        }
        synth_channel(&synth, SIGNAL_PRECT,
                      (struct synth_sampling){.rate_hz = 10.0, .end_s = end_s}, constant_value,
                      &rectal);
        assert_close(length_of(&synth).value,
                     6.0 * log(10.0) * (1.0 / log(50.0) + 1.0 / log(50.0 / floors[k])), 1e-6);
        synth_close(&synth);
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_by_markers),
        cmocka_unit_test(test_puller_moves),
        cmocka_unit_test(test_joined_positions),
        cmocka_unit_test(test_stations),
        cmocka_unit_test(test_dwell),
        cmocka_unit_test(test_longest_pull),
        cmocka_unit_test(test_without_rectal),
        cmocka_unit_test(test_manoeuvre_in_pull),
        cmocka_unit_test(test_sensors),
        cmocka_unit_test(test_between_sensors),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
