/* Inflations of the balloon: the reflex, sensation, compliance. */
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

static void open_case(struct synth *synth, const struct step_trace *anal,
                      const struct step_trace *rectal)
{
    synth_open(synth, RECORDING_ANORECTAL_MANOMETRY);
    step_trace_add(synth, SIGNAL_PANAL, fast_hz, end_s, anal);
    if (rectal != NULL) {
        step_trace_add(synth, SIGNAL_PRECT, fast_hz, end_s, rectal);
    }
}

/* From 5 mL/s and 10 mL on an inflation shows in the volume. */
static void test_found_inflations(void **state)
{
    static const struct {
        double volume_ml;
        double length_s;
        size_t found;
    } cases[] = {{49.5, 10.0, 0}, {50.5, 10.0, 1}, {9.9, 0.5, 0}, {10.1, 0.5, 1}, {60.0, 0.2, 1}};

    (void)state;
    for (size_t i = 0; i < sizeof cases / sizeof cases[0]; i++) {
        struct step_trace anal = step_trace_at(60.0);
        struct step_trace volume = step_trace_at(0.0);
        struct synth synth;

        step_trace_ramp(&volume, 200.0, 0.0);
        step_trace_ramp(&volume, 200.0 + cases[i].length_s, cases[i].volume_ml);
        step_trace_to(&volume, 240.0, 0.0);
        open_case(&synth, &anal, NULL);
        step_trace_add(&synth, SIGNAL_BALLOON, fast_hz, end_s, &volume);
        const struct item_list *list = &run(&synth)->manoeuvres;
        const struct anorectal_manoeuvre *item = list->items;

        print_message("case %zu\n", i);
        assert_int_equal(list->count, cases[i].found);
        if (cases[i].found > 0) {
            assert_close(item->start_s, 200.0, 1.05);
            assert_close(item->volume_ml, cases[i].volume_ml, 10.0);
        }
        synth_close(&synth);
    }
}

/* The volume of an event without a value is read from the signal; without both it is not known. */
static void test_volume_of_inflation(void **state)
{
    struct step_trace anal = step_trace_at(60.0);
    struct step_trace volume = step_trace_at(0.0);
    struct synth synth;

    (void)state;
    step_trace_pulse(&anal, 202.0, 210.0, 30.0);
    step_trace_pulse(&volume, 200.0, 230.0, 50.0);
    open_case(&synth, &anal, NULL);
    synth_event(&synth, EVENT_BALLOON, 200.0);
    const struct analysis_result *result = synth_run(&synth);

    assert_string_equal(result->anorectal.rair.word, "present");
    assert_true(isnan(result->anorectal.rair.parts[0].value));
    assert_non_null(synth_quality(result, "balloon_volume_missing"));
    synth.events[0].value = (struct optional_number){true, 1e9};
    assert_true(isnan(synth_run(&synth)->anorectal.rair.parts[0].value));
    synth.events[0].value = (struct optional_number){true, -1.0};
    result = synth_run(&synth);
    assert_true(isnan(result->anorectal.rair.parts[0].value));
    step_trace_add(&synth, SIGNAL_BALLOON, 10.0, end_s, &volume);
    result = synth_run(&synth);
    assert_close(result->anorectal.rair.parts[0].value, 50.0, 1e-9);
    assert_null(synth_quality(result, "balloon_volume_missing"));
    synth_close(&synth);
}

/* The lowest pressure is sought for 15 s after the inflation: a steady fall of 2 mmHg/s. */
static void test_fall_window(void **state)
{
    struct step_trace anal = step_trace_at(60.0);
    struct synth synth;

    (void)state;
    step_trace_ramp(&anal, 200.0, 60.0);
    step_trace_ramp(&anal, 225.0, 10.0);
    step_trace_ramp(&anal, 240.0, 60.0);
    open_case(&synth, &anal, NULL);
    step_trace_event(&synth, EVENT_BALLOON, 200.0, 50.0);
    const struct anorectal_manoeuvre *item = run(&synth)->manoeuvres.items;

    assert_close(item->anal_lowest_mmhg, 30.0, 0.1);
    synth_close(&synth);
}

/* The return is awaited for a minute; a fall without is no reflex that could be told. */
static void test_return(void **state)
{
    static const double return_s[] = {59.5, 60.5};
    static const char *const words[] = {"present", "not_assessable"};

    (void)state;
    for (size_t i = 0; i < 2; i++) {
        struct step_trace anal = step_trace_at(60.0);
        struct synth synth;

        step_trace_pulse(&anal, 202.0, 200.0 + return_s[i], 30.0);
        open_case(&synth, &anal, NULL);
        step_trace_event(&synth, EVENT_BALLOON, 200.0, 250.0);
        assert_string_equal(run(&synth)->rair.word, words[i]);
        synth_close(&synth);
    }
}

/* From a tenth of the fall to half of the return: 14 s down by 40 mmHg, held for 4 s, 30 s back:
 * 0.9 * 14 + 4 + 15 s. */
static void test_duration(void **state)
{
    struct step_trace anal = step_trace_at(60.0);
    struct synth synth;

    (void)state;
    step_trace_ramp(&anal, 199.0, 60.0);
    step_trace_ramp(&anal, 213.0, 20.0);
    step_trace_ramp(&anal, 217.0, 20.0);
    step_trace_ramp(&anal, 247.0, 60.0);
    open_case(&synth, &anal, NULL);
    step_trace_event(&synth, EVENT_BALLOON, 200.0, 40.0);
    const struct measure rair = run(&synth)->rair;

    assert_string_equal(rair.parts[2].code, "duration_s");
    assert_close(rair.parts[1].value, 200.0 / 3.0, 0.1);
    assert_close(rair.parts[2].value, 31.6, 0.02);
    synth_close(&synth);
}

/* The smallest volume that shows it, in whatever order they come. */
static void test_threshold_volume(void **state)
{
    static const double volumes_ml[] = {60.0, 20.0, 40.0};
    static const double lowest[] = {20.0, 58.0, 35.0};
    struct step_trace anal = step_trace_at(60.0);
    struct synth synth;

    (void)state;
    for (size_t i = 0; i < 3; i++) {
        step_trace_pulse(&anal, 102.0 + 60.0 * (double)i, 112.0 + 60.0 * (double)i, lowest[i]);
    }
    open_case(&synth, &anal, NULL);
    for (size_t i = 0; i < 3; i++) {
        step_trace_event(&synth, EVENT_BALLOON, 100.0 + 60.0 * (double)i, volumes_ml[i]);
    }
    const struct measure rair = run(&synth)->rair;

    assert_string_equal(rair.word, "present");
    assert_close(rair.parts[0].value, 40.0, 1e-9);
    assert_close(rair.parts[1].value, 100.0 * 25.0 / 60.0, 1e-3);
    synth_close(&synth);
}

/* Absent needs contact: a rectal rise of 5 mmHg, or a sensation; and a pressure of 10 mmHg that
 * could fall. */
static void test_absent(void **state)
{
    static const struct {
        double rest;
        double rise;
        bool felt;
        const char *word;
    } cases[] = {{60.0, 5.05, false, "absent"},
                 {60.0, 4.95, false, "not_assessable"},
                 {60.0, 0.0, true, "absent"},
                 {9.9, 12.0, false, "not_assessable"},
                 {10.1, 12.0, false, "absent"}};

    (void)state;
    for (size_t i = 0; i < sizeof cases / sizeof cases[0]; i++) {
        struct step_trace anal = step_trace_at(cases[i].rest);
        struct step_trace rectal = step_trace_at(10.0);
        struct synth synth;

        step_trace_pulse(&rectal, 200.0, 230.0, 10.0 + cases[i].rise);
        open_case(&synth, &anal, &rectal);
        step_trace_event(&synth, EVENT_BALLOON, 200.0, 250.0);
        if (cases[i].felt) {
            synth_event(&synth, EVENT_FIRST_DESIRE, 205.0);
        }
        print_message("case %zu\n", i);
        assert_string_equal(run(&synth)->rair.word, cases[i].word);
        synth_close(&synth);
    }
}

/* A slow inflation of 1 mL/s from 200 s on, with a rise of the rectal pressure. */
static void open_slow(struct synth *synth, double volume_ml, double rise)
{
    struct step_trace anal = step_trace_at(60.0);
    struct step_trace rectal = step_trace_at(10.0);
    struct step_trace volume = step_trace_at(0.0);

    step_trace_ramp(&volume, 200.0, 0.0);
    step_trace_ramp(&volume, 200.0 + volume_ml, volume_ml);
    step_trace_ramp(&rectal, 200.0, 10.0);
    step_trace_ramp(&rectal, 200.0 + volume_ml, 10.0 + rise);
    open_case(synth, &anal, &rectal);
    step_trace_add(synth, SIGNAL_BALLOON, fast_hz, end_s, &volume);
    synth_event(synth, EVENT_FILLING_START, 200.0);
    synth_event(synth, EVENT_FILLING_STOP, 200.0 + volume_ml);
}

/* Compliance needs 20 mL and 2 mmHg. */
static void test_compliance(void **state)
{
    static const struct {
        double volume_ml;
        double rise;
        double compliance; /* 0: absent */
    } cases[] = {{100.0, 20.0, 5.0}, {19.8, 10.0, 0.0},     {20.2, 10.0, 2.02},
                 {100.0, 1.97, 0.0}, {100.0, 2.03, 49.261}, {100.0, -20.0, 0.0}};

    (void)state;
    for (size_t i = 0; i < sizeof cases / sizeof cases[0]; i++) {
        struct synth synth;

        open_slow(&synth, cases[i].volume_ml, cases[i].rise);
        const struct measure compliance = run(&synth)->rectal_compliance;

        print_message("case %zu\n", i);
        assert_int_equal(compliance.state,
                         cases[i].compliance > 0.0 ? MEASURE_PRESENT : MEASURE_ABSENT);
        if (cases[i].compliance > 0.0) {
            assert_close(compliance.value, cases[i].compliance, 0.01 * cases[i].compliance);
        }
        synth_close(&synth);
    }
}

/* Pain ends what is tolerated; without it, the end of the inflation. */
static void test_tolerated(void **state)
{
    struct synth synth;

    (void)state;
    open_slow(&synth, 120.0, 20.0);
    struct measure most = run(&synth)->maximum_tolerated_volume;

    assert_close(most.value, 120.0, 0.01);
    assert_non_null(strstr(most.method, "no pain marker"));
    synth_event(&synth, EVENT_PAIN, 310.0);
    most = run(&synth)->maximum_tolerated_volume;
    assert_close(most.value, 110.0, 0.01);
    synth_close(&synth);
}

/* First sensation, desire and the most tolerated rise in this order; equal is allowed. */
static void test_order(void **state)
{
    static const struct {
        double first_s;
        double desire_s;
        double pain_s;
        bool flagged;
    } cases[] = {{240.0, 280.0, 310.0, false},
                 {280.0, 280.0, 280.0, false},
                 {281.0, 280.0, 310.0, true},
                 {240.0, 311.0, 310.0, true}};

    (void)state;
    for (size_t i = 0; i < sizeof cases / sizeof cases[0]; i++) {
        struct synth synth;

        open_slow(&synth, 120.0, 20.0);
        synth_event(&synth, EVENT_FIRST_SENSATION, cases[i].first_s);
        synth_event(&synth, EVENT_FIRST_DESIRE, cases[i].desire_s);
        synth_event(&synth, EVENT_PAIN, cases[i].pain_s);
        assert_int_equal(synth_quality(synth_run(&synth), "order") != NULL, cases[i].flagged);
        synth_close(&synth);
    }
}

/* Up to an hour is plausible. */
static void test_expulsion(void **state)
{
    static const double entered_s[] = {0.0, 3590.0, 3610.0, -1.0};
    static const bool plausible[] = {true, true, false, false};

    (void)state;
    for (size_t i = 0; i < 4; i++) {
        struct step_trace anal = step_trace_at(60.0);
        struct synth synth;

        open_case(&synth, &anal, NULL);
        synth.recording.conditions.balloon_expulsion_s =
            (struct optional_number){true, entered_s[i]};
        const struct analysis_result *result = synth_run(&synth);

        assert_int_equal(result->anorectal.balloon_expulsion_time.state,
                         plausible[i] ? MEASURE_PRESENT : MEASURE_ABSENT);
        assert_int_equal(synth_quality(result, "implausible_value") == NULL, plausible[i]);
        synth_close(&synth);
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_found_inflations), cmocka_unit_test(test_volume_of_inflation),
        cmocka_unit_test(test_fall_window),      cmocka_unit_test(test_return),
        cmocka_unit_test(test_duration),         cmocka_unit_test(test_threshold_volume),
        cmocka_unit_test(test_absent),           cmocka_unit_test(test_compliance),
        cmocka_unit_test(test_tolerated),        cmocka_unit_test(test_order),
        cmocka_unit_test(test_expulsion),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
