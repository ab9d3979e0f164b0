/* Classes and findings from a whole study: the clinic's limits for the patient's sex, or none. */
#include "support/assert_close.h"
#include "support/step_trace.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

static const double end_s = 400.0;

/* A study with rest 60, squeeze increment 80, three pushes (rise, relaxation), volumes 40, 90, 150
 * mL, and a reflex. */
struct study_case {
    double rises[3];
    double residuals[3];
    double expulsion_s;
    double lowest; /* after an inflation of 250 mL */
};

static const struct study_case usual = {{50.0, 50.0, 50.0}, {40.0, 40.0, 40.0}, 30.0, 30.0};

static void open_case(struct synth *synth, const struct study_case *how)
{
    struct step_trace anal = step_trace_at(60.0);
    struct step_trace rectal = step_trace_at(10.0);

    step_trace_pulse(&anal, 80.0, 85.0, 140.0);
    for (size_t i = 0; i < 3; i++) {
        const double at_s = 110.0 + 30.0 * (double)i;

        step_trace_pulse(&anal, at_s, at_s + 15.0, how->residuals[i]);
        step_trace_pulse(&rectal, at_s, at_s + 15.0, 10.0 + how->rises[i]);
    }
    step_trace_pulse(&anal, 212.0, 220.0, how->lowest);
    step_trace_pulse(&rectal, 210.0, 230.0, 30.0);
    synth_open(synth, RECORDING_ANORECTAL_MANOMETRY);
    step_trace_add(synth, SIGNAL_PANAL, 20.0, end_s, &anal);
    step_trace_add(synth, SIGNAL_PRECT, 20.0, end_s, &rectal);
    synth_event(synth, EVENT_SQUEEZE, 80.0);
    for (size_t i = 0; i < 3; i++) {
        synth_event(synth, EVENT_PUSH, 110.0 + 30.0 * (double)i);
    }
    step_trace_event(synth, EVENT_BALLOON, 210.0, 250.0);
    synth_event(synth, EVENT_FILLING_START, 290.0);
    step_trace_event(synth, EVENT_BALLOON, 300.0, 40.0);
    synth_event(synth, EVENT_FIRST_SENSATION, 301.0);
    step_trace_event(synth, EVENT_BALLOON, 320.0, 90.0);
    synth_event(synth, EVENT_FIRST_DESIRE, 321.0);
    step_trace_event(synth, EVENT_BALLOON, 340.0, 150.0);
    synth_event(synth, EVENT_PAIN, 341.0);
    synth->recording.conditions.balloon_expulsion_s =
        (struct optional_number){true, how->expulsion_s};
}

static struct optional_number known(double value)
{
    return (struct optional_number){true, value};
}

/* Limits that the usual case keeps. */
static struct anorectal_limits wide(void)
{
    return (struct anorectal_limits){known(40.0),  known(100.0), known(50.0), known(30.0),
                                     known(10.0),  known(60.0),  known(50.0), known(150.0),
                                     known(100.0), known(280.0)};
}

static void check_class(const struct analysis_result *result, const char *code, const char *class)
{
    const struct classification *found = synth_class(result, code);

    if (class == NULL) {
        assert_null(found);
        return;
    }
    assert_non_null(found);
    assert_string_equal(found->class, class);
    assert_true(strlen(found->method) > 20);
    assert_true(found->basis_count > 0);
}

static const char *const by_limits[] = {"london_tone", "london_contractility",
                                        "london_tone_and_contractility", "london_coordination",
                                        "london_sensation"};

static size_t count_notes(const struct analysis_result *result)
{
    size_t count = 0;

    for (size_t i = 0; i < result->quality_count; i++) {
        count += strcmp(result->quality[i].code, "limit_missing") == 0 ? 1 : 0;
    }
    return count;
}

/* Without limits, or without a sex that they belong to, only what needs none is classified. */
static void test_without_limits(void **state)
{
    static const enum patient_sex sexes[] = {SEX_MALE, SEX_FEMALE, SEX_UNKNOWN, SEX_OTHER};

    (void)state;
    for (size_t i = 0; i < 4; i++) {
        struct analysis_choices choices;
        struct synth synth;

        choices_standard(&choices);
        if (sexes[i] == SEX_UNKNOWN || sexes[i] == SEX_OTHER) {
            choices.anorectal_men = wide();
            choices.anorectal_women = wide();
        }
        open_case(&synth, &usual);
        synth.recording.sex = sexes[i];
        synth.choices = &choices;
        const struct analysis_result *result = synth_run(&synth);

        for (size_t k = 0; k < sizeof by_limits / sizeof by_limits[0]; k++) {
            check_class(result, by_limits[k], NULL);
        }
        check_class(result, "london_reflex", "reflex_present");
        check_class(result, "push_pattern", "normal");
        assert_int_equal(count_notes(result), 1);
        synth_close(&synth);
    }
}

/* The limits of the patient's own sex are used, and named. */
static void test_sex(void **state)
{
    (void)state;
    for (size_t i = 0; i < 2; i++) {
        struct analysis_choices choices;
        struct synth synth;

        choices_standard(&choices);
        choices.anorectal_women = wide();
        choices.anorectal_men = wide();
        choices.anorectal_men.rest_lower_mmhg.value = 70.0;
        open_case(&synth, &usual);
        synth.recording.sex = i == 0 ? SEX_FEMALE : SEX_MALE;
        synth.choices = &choices;
        const struct analysis_result *result = synth_run(&synth);
        const struct classification *tone = synth_class(result, "london_tone");

        check_class(result, "london_tone", i == 0 ? "normotension" : "hypotension");
        assert_string_equal(tone->limits[0].code, i == 0 ? "anorectal_women.rest_lower_mmhg"
                                                         : "anorectal_men.rest_lower_mmhg");
        assert_close(tone->limits[0].value, i == 0 ? 40.0 : 70.0, 0.0);
        assert_string_equal(tone->basis[0].code, "resting_pressure");
        assert_close(tone->basis[0].value, 60.0, 1e-6);
        assert_int_equal(synth_finding(result, "anal_hypotension") != NULL, i == 1);
        assert_int_equal(count_notes(result), 0);
        synth_close(&synth);
    }
}

/* A change of one limit, and what it makes of the study. */
struct limit_case {
    size_t member; /* of struct anorectal_limits */
    double value;
    const char *code;
    const char *class;
    const char *finding;
    const char *weight; /* in the method */
};

/* The study's numbers lie at each limit, and beyond it. */
static void test_limits(void **state)
{
    static const struct limit_case cases[] = {
        {offsetof(struct anorectal_limits, rest_lower_mmhg), 60.0, "london_tone", "normotension",
         NULL, "no finding"},
        {offsetof(struct anorectal_limits, rest_lower_mmhg), 60.1, "london_tone", "hypotension",
         "anal_hypotension", "major"},
        {offsetof(struct anorectal_limits, rest_upper_mmhg), 59.9, "london_tone", "hypertension",
         "anal_hypertension", "minor"},
        {offsetof(struct anorectal_limits, rest_lower_mmhg), 60.1, "london_tone_and_contractility",
         "hypotension", NULL, "major"},
        {offsetof(struct anorectal_limits, squeeze_increment_lower_mmhg), 80.0,
         "london_contractility", "normal_contractility", NULL, "no finding"},
        {offsetof(struct anorectal_limits, squeeze_increment_lower_mmhg), 80.1,
         "london_contractility", "hypocontractility", "anal_hypocontractility", "major"},
        {offsetof(struct anorectal_limits, squeeze_increment_lower_mmhg), 80.1,
         "london_tone_and_contractility", "hypocontractility", NULL, "major"},
        {offsetof(struct anorectal_limits, push_rectal_rise_lower_mmhg), 50.0,
         "london_coordination", "normal", NULL, "no finding"},
        {offsetof(struct anorectal_limits, push_rectal_rise_lower_mmhg), 50.1,
         "london_coordination", "abnormal_pattern_with_normal_expulsion", NULL, "not a disorder"},
        {offsetof(struct anorectal_limits, first_sensation_upper_ml), 39.0, "london_sensation",
         "borderline_hyposensitivity", "borderline_rectal_hyposensitivity", "inconclusive"},
        {offsetof(struct anorectal_limits, first_sensation_lower_ml), 41.0, "london_sensation",
         "hypersensitivity", "rectal_hypersensitivity", "major"},
        {offsetof(struct anorectal_limits, desire_lower_ml), 91.0, "london_sensation",
         "hypersensitivity", "rectal_hypersensitivity", "major"},
        {offsetof(struct anorectal_limits, maximum_tolerated_lower_ml), 151.0, "london_sensation",
         "hypersensitivity", "rectal_hypersensitivity", "major"},
        {offsetof(struct anorectal_limits, desire_upper_ml), 90.0, "london_sensation",
         "normal_sensation", NULL, "no finding"},
        {offsetof(struct anorectal_limits, maximum_tolerated_upper_ml), 149.0, "london_sensation",
         "borderline_hyposensitivity", "borderline_rectal_hyposensitivity", "inconclusive"},
    };

    (void)state;
    for (size_t i = 0; i < sizeof cases / sizeof cases[0]; i++) {
        struct analysis_choices choices;
        struct synth synth;

        choices_standard(&choices);
        choices.anorectal_men = wide();
        *(struct optional_number *)(void *)((char *)&choices.anorectal_men + cases[i].member) =
            known(cases[i].value);
        open_case(&synth, &usual);
        synth.choices = &choices;
        const struct analysis_result *result = synth_run(&synth);

        print_message("case %zu\n", i);
        check_class(result, cases[i].code, cases[i].class);
        assert_non_null(strstr(synth_class(result, cases[i].code)->method, cases[i].weight));
        if (cases[i].finding != NULL) {
            assert_non_null(synth_finding(result, cases[i].finding));
            assert_true(synth_finding(result, cases[i].finding)->limit_count > 0);
        }
        synth_close(&synth);
    }
}

/* A limit that is missing: no class of its part, and a note that names it. */
static void test_limit_missing(void **state)
{
    static const struct {
        size_t member;
        const char *code;
        const char *says;
    } cases[] = {
        {offsetof(struct anorectal_limits, rest_upper_mmhg), "london_tone",
         "upper limit of the resting pressure"},
        {offsetof(struct anorectal_limits, squeeze_increment_lower_mmhg), "london_contractility",
         "lower limit of the squeeze increment"},
        {offsetof(struct anorectal_limits, push_rectal_rise_lower_mmhg), "london_coordination",
         "lower limit of the rectal rise"},
        {offsetof(struct anorectal_limits, desire_upper_ml), "london_sensation",
         "upper limit of the volume at desire"},
    };

    (void)state;
    for (size_t i = 0; i < sizeof cases / sizeof cases[0]; i++) {
        struct analysis_choices choices;
        struct synth synth;

        choices_standard(&choices);
        choices.anorectal_men = wide();
        *(struct optional_number *)(void *)((char *)&choices.anorectal_men + cases[i].member) =
            (struct optional_number){false, 0.0};
        open_case(&synth, &usual);
        synth.choices = &choices;
        const struct analysis_result *result = synth_run(&synth);

        check_class(result, cases[i].code, NULL);
        assert_int_equal(count_notes(result), 1);
        assert_non_null(strstr(synth_quality(result, "limit_missing")->text, cases[i].says));
        assert_int_equal(synth_class(result, "london_tone_and_contractility") != NULL, i >= 2);
        synth_close(&synth);
    }
}

/* Expulsion, rise and relaxation of the best push, at and beyond the limits in use: 60 s and 20 %.
 */
static void test_coordination(void **state)
{
    static const struct {
        double expulsion_s;
        double rise;
        double residual; /* of 60 */
        const char *class;
    } cases[] = {
        {60.0, 50.0, 48.0, "normal"},
        {60.5, 50.0, 48.0, "abnormal_expulsion_with_normal_manometry"},
        {60.5, 50.0, 48.1, "dyssynergia"},
        {60.5, 29.9, 48.0, "poor_propulsion"},
        {60.5, 29.9, 70.0, "poor_propulsion_and_dyssynergia"},
        {60.0, 50.0, 48.1, "abnormal_pattern_with_normal_expulsion"},
    };

    (void)state;
    for (size_t i = 0; i < sizeof cases / sizeof cases[0]; i++) {
        const double rise = cases[i].rise;
        const double residual = cases[i].residual;
        const struct study_case how = {
            {rise, rise, rise}, {residual, residual, residual}, cases[i].expulsion_s, 30.0};
        struct analysis_choices choices;
        struct synth synth;

        choices_standard(&choices);
        choices.anorectal_men = wide();
        open_case(&synth, &how);
        synth.choices = &choices;
        const struct analysis_result *result = synth_run(&synth);

        print_message("case %zu\n", i);
        check_class(result, "london_coordination", cases[i].class);
        assert_int_equal(synth_finding(result, "delayed_balloon_expulsion") != NULL,
                         cases[i].expulsion_s > 60.0);
        synth.recording.conditions.balloon_expulsion_s.known = false;
        check_class(synth_run(&synth), "london_coordination", NULL);
        synth_close(&synth);
    }
}

static void test_areflexia(void **state)
{
    struct study_case how = usual;
    struct synth synth;

    (void)state;
    how.lowest = 60.0;
    open_case(&synth, &how);
    const struct analysis_result *result = synth_run(&synth);

    check_class(result, "london_reflex", "areflexia");
    assert_non_null(strstr(synth_class(result, "london_reflex")->method, "major"));
    assert_non_null(synth_finding(result, "rectoanal_areflexia"));
    synth_close(&synth);
}

/* Two of three pushes must agree; one alone names nothing. */
static void test_push_pattern(void **state)
{
    static const struct {
        struct study_case how;
        const char *class;
    } cases[] = {
        {{{50.0, 50.0, 20.0}, {40.0, 40.0, 70.0}, 30.0, 30.0}, "normal"},
        {{{50.0, 20.0, 20.0}, {40.0, 70.0, 70.0}, 30.0, 30.0}, "type_ii"},
        {{{50.0, 50.0, 20.0}, {70.0, 70.0, 40.0}, 30.0, 30.0}, "type_i"},
        {{{50.0, 50.0, 20.0}, {55.0, 48.1, 40.0}, 30.0, 30.0}, "type_iii"},
        {{{44.9, 20.0, 50.0}, {55.0, 55.0, 40.0}, 30.0, 30.0}, "type_iv"},
        {{{44.9, 20.0, 50.0}, {48.0, 40.0, 40.0}, 30.0, 30.0}, "inadequate_rise_with_relaxation"},
        {{{50.0, 50.0, 20.0}, {40.0, 70.0, 70.0}, 30.0, 30.0}, NULL},
    };

    (void)state;
    for (size_t i = 0; i < sizeof cases / sizeof cases[0]; i++) {
        struct synth synth;

        open_case(&synth, &cases[i].how);
        const struct analysis_result *result = synth_run(&synth);

        print_message("case %zu\n", i);
        check_class(result, "push_pattern", cases[i].class);
        assert_int_equal(synth_quality(result, "pushes_disagree") != NULL, cases[i].class == NULL);
        assert_int_equal(synth_finding(result, "abnormal_push_pattern") != NULL,
                         cases[i].class != NULL && i > 0);
        synth.events[2].code = EVENT_COMMENT;
        synth.events[3].code = EVENT_COMMENT;
        assert_null(synth_class(synth_run(&synth), "push_pattern"));
        synth_close(&synth);
    }
}

/* The share that must agree lies below two thirds, and above 13 of 20. */
static void test_share_of_pushes(void **state)
{
    static const size_t pushes[] = {20, 20};
    static const size_t alike[] = {13, 14};

    (void)state;
    for (size_t i = 0; i < 2; i++) {
        struct step_trace anal = step_trace_at(60.0);
        struct step_trace rectal = step_trace_at(10.0);
        struct synth synth;

        for (size_t k = 0; k < pushes[i]; k++) {
            const double at_s = 80.0 + 25.0 * (double)k;

            step_trace_pulse(&anal, at_s, at_s + 15.0, k < alike[i] ? 40.0 : 70.0);
            step_trace_pulse(&rectal, at_s, at_s + 15.0, 60.0);
        }
        synth_open(&synth, RECORDING_ANORECTAL_MANOMETRY);
        step_trace_add(&synth, SIGNAL_PANAL, 20.0, 600.0, &anal);
        step_trace_add(&synth, SIGNAL_PRECT, 20.0, 600.0, &rectal);
        for (size_t k = 0; k < pushes[i]; k++) {
            synth_event(&synth, EVENT_PUSH, 80.0 + 25.0 * (double)k);
        }
        check_class(synth_run(&synth), "push_pattern", i == 0 ? NULL : "normal");
        synth_close(&synth);
    }
}

static void forget_volume(struct synth *synth, double at_s)
{
    for (size_t i = 0; i < synth->recording.event_count; i++) {
        if (synth->events[i].code == EVENT_BALLOON && fabs(synth->events[i].at_s - at_s) < 0.5) {
            synth->events[i].value.known = false;
        }
    }
}

/* What is not known is no basis: the rise of the best push, the volume that shows the reflex. */
static void test_unknown_basis(void **state)
{
    static const struct study_case weak = {{30.0, 30.0, 60.0}, {70.0, 70.0, 40.0}, 30.0, 30.0};
    struct synth synth;

    (void)state;
    open_case(&synth, &weak);
    synth_lose(&synth, SIGNAL_PRECT, 160.0, 169.0);
    forget_volume(&synth, 210.0);
    const struct analysis_result *result = synth_run(&synth);
    const struct classification *pattern = synth_class(result, "push_pattern");
    const struct finding *finding = synth_finding(result, "abnormal_push_pattern");

    assert_int_equal(result->anorectal.push_rectal_rise.state, MEASURE_ABSENT);
    assert_non_null(pattern);
    assert_string_equal(pattern->class, "type_ii");
    assert_string_equal(pattern->basis[0].code, "push_anal_relaxation");
    assert_non_null(finding);
    assert_int_equal(finding->basis_count, 1);
    assert_string_equal(finding->basis[0], "anorectal.push_anal_relaxation");
    assert_non_null(synth_class(result, "london_reflex"));
    for (size_t i = 0; i < result->classification_count; i++) {
        for (size_t k = 0; k < result->classifications[i].basis_count; k++) {
            assert_true(isfinite(result->classifications[i].basis[k].value));
        }
    }
    synth_close(&synth);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_without_limits), cmocka_unit_test(test_sex),
        cmocka_unit_test(test_limits),         cmocka_unit_test(test_limit_missing),
        cmocka_unit_test(test_coordination),   cmocka_unit_test(test_areflexia),
        cmocka_unit_test(test_push_pattern),   cmocka_unit_test(test_share_of_pushes),
        cmocka_unit_test(test_unknown_basis),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
