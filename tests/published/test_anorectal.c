/* Anorectal manometry: the numbers. IAPWG protocol, Carrington EV et al. Neurogastroenterol Motil
 * 2020;32:e13679 (definitions from memory); worked examples are arithmetic on those definitions. */
#include "support/assert_close.h"
#include "support/synth.h"

#include "analysis/units.h"

#include <math.h>
#include <string.h>

enum { POINTS_MAX = 40 };

/* A pressure that steps from level to level. */
struct steps {
    size_t count;
    double points[POINTS_MAX][2];
};

static void step_to(struct steps *steps, double at_s, double level)
{
    if (steps->count > 0) {
        const double last = steps->points[steps->count - 1][1];

        steps->points[steps->count][0] = at_s - 1e-6;
        steps->points[steps->count++][1] = last;
    }
    steps->points[steps->count][0] = at_s;
    steps->points[steps->count++][1] = level;
}

static void add(struct synth *synth, enum signal_kind signal, const struct steps *steps)
{
    const struct synth_sampling sampling = {.rate_hz = 10.0, .end_s = 200.0};
    const struct polyline line = {steps->count, steps->points};

    synth_channel(synth, signal, sampling, polyline_value, &line);
}

static void add_volume(struct synth *synth, double at_s, double volume_ml)
{
    synth_event(synth, EVENT_BALLOON, at_s);
    synth->events[synth->recording.event_count - 1].value =
        (struct optional_number){true, volume_ml};
}

/* Increment: peak over the level just before: 62 and 165 give 103 mmHg, which is 140.03 cmH2O. */
static void test_squeeze_increment(void **state)
{
    struct steps anal = {0};
    struct synth synth;
    double factor = 0.0;

    (void)state;
    step_to(&anal, 0.0, 62.0);
    step_to(&anal, 80.0, 120.0);
    step_to(&anal, 85.0, 62.0);
    step_to(&anal, 110.0, 165.0);
    step_to(&anal, 115.0, 62.0);
    step_to(&anal, 140.0, 150.0);
    step_to(&anal, 145.0, 62.0);
    synth_open(&synth, RECORDING_ANORECTAL_MANOMETRY);
    add(&synth, SIGNAL_PANAL, &anal);
    synth_event(&synth, EVENT_SQUEEZE, 80.0);
    synth_event(&synth, EVENT_SQUEEZE, 110.0);
    synth_event(&synth, EVENT_SQUEEZE, 140.0);
    const struct anorectal_measures *measures = &synth_run(&synth)->anorectal;

    assert_close(measures->resting_pressure.value, 62.0, 1e-9);
    assert_close(measures->resting_pressure.parts[0].value, 60.0, 1e-9);
    assert_close(measures->squeeze_increment.value, 103.0, 1e-9);
    assert_close(measures->squeeze_pressure_max.value, 165.0, 1e-9);
    assert_close(measures->squeeze_duration.value, 5.0, 0.01);
    assert_true(units_factor("mm[Hg]", "cm[H2O]", &factor));
    assert_close(measures->squeeze_increment.value * factor, 140.03, 0.005);
    assert_close(62.0 * factor, 84.2896, 1e-4);
    synth_close(&synth);
}

/* One push: rest, rectal pressure before and at its highest, anal pressure at its lowest. */
struct push_case {
    double rest;
    double rectal[2];
    double residual;
    double rise;
    double relaxation;
    double gradient;
    double index;
};

static void open_push(struct synth *synth, const struct push_case *how)
{
    struct steps anal = {0};
    struct steps rectal = {0};

    step_to(&anal, 0.0, how->rest);
    step_to(&anal, 100.0, how->residual);
    step_to(&anal, 115.0, how->rest);
    step_to(&rectal, 0.0, how->rectal[0]);
    step_to(&rectal, 100.0, how->rectal[1]);
    step_to(&rectal, 115.0, how->rectal[0]);
    synth_open(synth, RECORDING_ANORECTAL_MANOMETRY);
    add(synth, SIGNAL_PANAL, &anal);
    add(synth, SIGNAL_PRECT, &rectal);
    synth_event(synth, EVENT_PUSH, 100.0);
}

/* Gradient: rectal minus anal, Ratuapli 2013; index: Rao (from memory); relaxation in % of rest,
 * negative when paradoxical. */
static void test_push(void **state)
{
    static const struct push_case cases[] = {
        {62.0, {8.0, 55.0}, 45.0, 47.0, 27.41935, 10.0, 1.222222},
        {70.0, {10.0, 38.0}, 88.0, 28.0, -25.71429, -50.0, 0.431818},
        {60.0, {5.0, 5.0}, 60.0, 0.0, 0.0, -55.0, 0.083333},
    };

    (void)state;
    for (size_t i = 0; i < sizeof cases / sizeof cases[0]; i++) {
        struct synth synth;

        open_push(&synth, &cases[i]);
        const struct anorectal_measures *measures = &synth_run(&synth)->anorectal;

        assert_close(measures->push_rectal_rise.value, cases[i].rise, 1e-6);
        assert_close(measures->push_anal_residual.value, cases[i].residual, 1e-6);
        assert_close(measures->push_anal_relaxation.value, cases[i].relaxation, 1e-5);
        assert_close(measures->rectoanal_gradient.value, cases[i].gradient, 1e-6);
        assert_close(measures->defecation_index.value, cases[i].index, 1e-6);
        synth_close(&synth);
    }
}

/* Anal relaxation is told from the resting record, not from the level just before the push. */
static void test_relaxation_base(void **state)
{
    struct steps anal = {0};
    struct synth synth;

    (void)state;
    step_to(&anal, 0.0, 80.0);
    step_to(&anal, 90.0, 60.0);
    step_to(&anal, 100.0, 40.0);
    step_to(&anal, 115.0, 60.0);
    synth_open(&synth, RECORDING_ANORECTAL_MANOMETRY);
    add(&synth, SIGNAL_PANAL, &anal);
    synth_event(&synth, EVENT_PUSH, 100.0);
    const struct anorectal_measures *measures = &synth_run(&synth)->anorectal;

    assert_close(measures->resting_pressure.value, 80.0, 1e-9);
    assert_close(measures->push_anal_relaxation.value, 50.0, 1e-6);
    assert_int_equal(measures->rectoanal_gradient.state, MEASURE_ABSENT);
    assert_string_equal(measures->rectoanal_gradient.reason, "no rectal pressure signal");
    synth_close(&synth);
}

/* Endurance: time above half of the greatest increment, up to 30 s. One value a second: up at
 * 0.8333 s, down at 11.5 s, 10.6667 s. */
static void test_endurance(void **state)
{
    static const double series[] = {60.0,  120.0, 150.0, 160.0, 158.0, 150.0, 140.0, 130.0,
                                    122.0, 115.0, 112.0, 111.0, 109.0, 105.0, 100.0};
    double samples[100];
    struct synth synth;

    (void)state;
    for (size_t i = 0; i < 100; i++) {
        samples[i] = i >= 70 && i < 85 ? series[i - 70] : 60.0;
    }
    synth_open(&synth, RECORDING_ANORECTAL_MANOMETRY);
    synth_samples(&synth, SIGNAL_PANAL, 1.0, 100, samples);
    synth_event(&synth, EVENT_LONG_SQUEEZE, 70.0);
    const struct anorectal_measures *measures = &synth_run(&synth)->anorectal;

    assert_close(measures->long_squeeze_endurance.value, 10.66667, 1e-5);
    assert_null(strstr(measures->long_squeeze_endurance.method, "at least"));
    synth_close(&synth);
}

/* A trial saturates (Oblizajek 2022: 95th centile 19.5 s of a 20 s trial): the ceiling is told. */
static void test_endurance_ceiling(void **state)
{
    static const struct {
        double length_s;
        double endurance_s;
        bool ceiling;
    } cases[] = {{20.0, 20.0, false}, {29.8, 29.8, false}, {30.2, 30.0, true}, {40.0, 30.0, true}};

    (void)state;
    for (size_t i = 0; i < sizeof cases / sizeof cases[0]; i++) {
        struct steps anal = {0};
        struct synth synth;

        step_to(&anal, 0.0, 60.0);
        step_to(&anal, 80.0, 160.0);
        step_to(&anal, 80.0 + cases[i].length_s, 60.0);
        synth_open(&synth, RECORDING_ANORECTAL_MANOMETRY);
        add(&synth, SIGNAL_PANAL, &anal);
        synth_event(&synth, EVENT_LONG_SQUEEZE, 80.0);
        const struct measure endurance = synth_run(&synth)->anorectal.long_squeeze_endurance;

        assert_close(endurance.value, cases[i].endurance_s, 0.01);
        assert_int_equal(strstr(endurance.method, "at least") != NULL, cases[i].ceiling);
        synth_close(&synth);
    }
}

/* The reflex at one inflation. */
struct reflex_case {
    double lowest;
    double volume_ml;
    const char *word;
    double relaxation;
};

static void open_reflex(struct synth *synth, const struct reflex_case *how)
{
    struct steps anal = {0};
    struct steps rectal = {0};

    step_to(&anal, 0.0, 62.0);
    step_to(&anal, 102.0, how->lowest);
    step_to(&anal, 110.0, 62.0);
    step_to(&rectal, 0.0, 8.0);
    step_to(&rectal, 100.0, 20.0);
    step_to(&rectal, 120.0, 8.0);
    synth_open(synth, RECORDING_ANORECTAL_MANOMETRY);
    add(synth, SIGNAL_PANAL, &anal);
    add(synth, SIGNAL_PRECT, &rectal);
    add_volume(synth, 100.0, how->volume_ml);
}

/* Present from a fall of 25 % on (from memory): 62 to 28 is 54.839 %; 62 to 46.5 exactly 25. Absent
 * only after 240 mL. */
static void test_reflex(void **state)
{
    static const struct reflex_case cases[] = {
        {28.0, 40.0, "present", 54.83871},   {46.5, 40.0, "present", 25.0},
        {46.6, 40.0, "not_assessable", 0.0}, {46.6, 239.0, "not_assessable", 0.0},
        {46.6, 240.0, "absent", 0.0},        {62.0, 250.0, "absent", 0.0},
    };

    (void)state;
    for (size_t i = 0; i < sizeof cases / sizeof cases[0]; i++) {
        struct synth synth;

        open_reflex(&synth, &cases[i]);
        const struct measure rair = synth_run(&synth)->anorectal.rair;

        assert_string_equal(rair.word, cases[i].word);
        assert_string_equal(rair.parts[0].code, "volume_ml");
        assert_close(rair.parts[0].value, cases[i].volume_ml, 1e-9);
        if (cases[i].relaxation > 0.0) {
            assert_string_equal(rair.parts[1].code, "relaxation_percent");
            assert_close(rair.parts[1].value, cases[i].relaxation, 1e-5);
        }
        synth_close(&synth);
    }
}

/* The clinic may ask for 20 % instead. */
static void test_reflex_by_choice(void **state)
{
    const struct reflex_case how = {49.0, 40.0, "present", 20.96774};
    struct analysis_choices choices;
    struct synth synth;

    (void)state;
    choices_standard(&choices);
    choices.rair_relaxation_percent.value = 20.0;
    open_reflex(&synth, &how);
    assert_string_equal(synth_run(&synth)->anorectal.rair.word, "not_assessable");
    synth.choices = &choices;
    const struct measure rair = synth_run(&synth)->anorectal.rair;

    assert_string_equal(rair.word, "present");
    assert_close(rair.parts[1].value, how.relaxation, 1e-5);
    synth_close(&synth);
}

/* Functional length: more than 5 mmHg above the rectal pressure at rest (a review of
 * high-resolution manometry). Rectal 10; sensors 10 mm apart at 10, 35, 60, 35, 10: from 25 to 1
 * mmHg, at which the fall between sensors ends, 5 mmHg is half of the way on a logarithmic scale,
 * so 30 mm. */
static void test_canal_length(void **state)
{
    static const double levels[] = {10.0, 35.0, 60.0, 35.0, 10.0};
    struct steps rectal = {0};
    struct synth synth;

    (void)state;
    synth_open(&synth, RECORDING_ANORECTAL_MANOMETRY);
    for (size_t i = 0; i < 5; i++) {
        struct steps anal = {0};

        step_to(&anal, 0.0, levels[i]);
        add(&synth, (enum signal_kind)(SIGNAL_PANAL1 + (unsigned)i), &anal);
    }
    step_to(&rectal, 0.0, 10.0);
    add(&synth, SIGNAL_PRECT, &rectal);
    synth.recording.conditions.anal_sensor_spacing_mm = (struct optional_number){true, 10.0};
    const struct measure length = synth_run(&synth)->anorectal.functional_canal_length;

    assert_close(length.value, 30.0, 1e-6);
    assert_null(strstr(length.method, "at least"));
    synth_close(&synth);
}

/* Squeeze, cough and push on the way to the rectal wall: a cough's anal rise should exceed the
 * rectal one, or the gradient turns negative (common practice, no source). */
static void test_cough(void **state)
{
    struct steps anal = {0};
    struct steps rectal = {0};
    struct synth synth;

    (void)state;
    step_to(&anal, 0.0, 60.0);
    step_to(&anal, 100.0, 100.0);
    step_to(&anal, 100.6, 60.0);
    step_to(&anal, 130.0, 120.0);
    step_to(&anal, 130.6, 60.0);
    step_to(&rectal, 0.0, 8.0);
    step_to(&rectal, 100.0, 88.0);
    step_to(&rectal, 100.6, 8.0);
    step_to(&rectal, 130.0, 130.0);
    step_to(&rectal, 130.6, 8.0);
    synth_open(&synth, RECORDING_ANORECTAL_MANOMETRY);
    add(&synth, SIGNAL_PANAL, &anal);
    add(&synth, SIGNAL_PRECT, &rectal);
    synth_event(&synth, EVENT_COUGH, 100.0);
    synth_event(&synth, EVENT_COUGH, 130.0);
    const struct anorectal_measures *measures = &synth_run(&synth)->anorectal;

    assert_close(measures->cough_increment.value, 60.0, 1e-6);
    assert_close(measures->cough_gradient.value, -10.0, 1e-6);
    synth_close(&synth);
}

/* Volumes at the markers (names of Jiang 2023), by signal and by balloon markers. */
static void test_sensation(void **state)
{
    struct synth synth;
    struct steps anal = {0};
    struct steps rectal = {0};
    struct steps volume = {0};

    (void)state;
    step_to(&anal, 0.0, 60.0);
    for (int i = 0; i < 10; i++) {
        step_to(&volume, 100.0 + 8.0 * i, 20.0 * i);
        step_to(&rectal, 100.0 + 8.0 * i, 8.0 + 2.5 * i);
    }
    for (int by_events = 0; by_events < 2; by_events++) {
        synth_open(&synth, RECORDING_ANORECTAL_MANOMETRY);
        add(&synth, SIGNAL_PANAL, &anal);
        add(&synth, SIGNAL_PRECT, &rectal);
        synth_event(&synth, EVENT_FILLING_START, 99.0);
        if (by_events == 0) {
            add(&synth, SIGNAL_BALLOON, &volume);
        } else {
            for (int i = 0; i < 10; i++) {
                add_volume(&synth, 100.0 + 8.0 * i, 20.0 * i);
            }
        }
        synth_event(&synth, EVENT_FIRST_SENSATION, 118.0);
        synth_event(&synth, EVENT_FIRST_DESIRE, 142.0);
        synth_event(&synth, EVENT_FILLING_STOP, 174.0);
        const struct anorectal_measures *measures = &synth_run(&synth)->anorectal;

        assert_close(measures->first_sensation_volume.value, 40.0, 1e-6);
        assert_close(measures->desire_volume.value, 100.0, 1e-6);
        assert_close(measures->maximum_tolerated_volume.value, 180.0, 1e-6);
        if (by_events == 0) {
            assert_close(measures->rectal_compliance.value, 8.0, 0.02);
            assert_non_null(strstr(measures->rectal_compliance.method, "own elasticity"));
        } else {
            assert_int_equal(measures->rectal_compliance.state, MEASURE_ABSENT);
        }
        /* Fast steps within the slow inflation are no test of the reflex. */
        assert_int_equal(measures->rair.state, MEASURE_ABSENT);
        synth_close(&synth);
    }
}

/* Expulsion as entered (seated, 50 mL of water: common practice). */
static void test_expulsion(void **state)
{
    struct synth synth;
    struct steps anal = {0};

    (void)state;
    step_to(&anal, 0.0, 60.0);
    synth_open(&synth, RECORDING_ANORECTAL_MANOMETRY);
    add(&synth, SIGNAL_PANAL, &anal);
    synth.recording.conditions.balloon_expulsion_s = (struct optional_number){true, 31.0};
    const struct measure expulsion = synth_run(&synth)->anorectal.balloon_expulsion_time;

    assert_close(expulsion.value, 31.0, 0.0);
    assert_int_equal(expulsion.source, SOURCE_ENTERED);
    synth_close(&synth);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_squeeze_increment),
        cmocka_unit_test(test_push),
        cmocka_unit_test(test_relaxation_base),
        cmocka_unit_test(test_endurance),
        cmocka_unit_test(test_endurance_ceiling),
        cmocka_unit_test(test_reflex),
        cmocka_unit_test(test_reflex_by_choice),
        cmocka_unit_test(test_canal_length),
        cmocka_unit_test(test_cough),
        cmocka_unit_test(test_sensation),
        cmocka_unit_test(test_expulsion),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
