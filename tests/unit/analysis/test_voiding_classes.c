/* Classes and drafts of the voiding: with the clinic's limits, and what is left out when. */
#include "support/assert_close.h"
#include "support/voiding_case.h"

#include "analysis/voiding/watts.h"

#include <math.h>
#include <string.h>

static const struct voiding_case man = {
    .rate_hz = 50.0, .delay_s = 0.8, .after_cmh2o = 18.0, .residual_ml = 60.0, .sex = SEX_MALE};

static double limit_of(const struct classification *found, const char *code)
{
    for (size_t i = 0; i < found->limit_count; i++) {
        if (strcmp(found->limits[i].code, code) == 0) {
            return found->limits[i].value;
        }
    }
    return (double)NAN;
}

/* pdetQmax 60, Qmax 16: BOOI 28, BCI 140. The limits in use stand beside the class. */
static void test_default_limits(void **state)
{
    struct synth synth;

    (void)state;
    voiding_case_open(&synth, man);
    const struct analysis_result *result = synth_run(&synth);
    const struct classification *composite = synth_class(result, "composite");

    assert_non_null(composite);
    assert_string_equal(composite->class, "equivocal_normal");
    assert_int_equal(composite->basis_count, 2);
    assert_int_equal(composite->limit_count, 4);
    assert_close(limit_of(composite, "obstruction_low"), 20.0, 0.0);
    assert_close(limit_of(composite, "obstruction_high"), 40.0, 0.0);
    assert_close(limit_of(composite, "contractility_low"), 100.0, 0.0);
    assert_close(limit_of(composite, "contractility_high"), 150.0, 0.0);
    assert_null(synth_class(result, "voiding_efficiency"));
    assert_null(synth_class(result, "watts_factor"));
    assert_non_null(synth_finding(result, "after_contraction"));
    assert_null(synth_finding(result, "straining_during_voiding"));
    const struct finding *equivocal = synth_finding(result, "outlet_obstruction_equivocal");

    assert_non_null(equivocal);
    assert_int_equal(equivocal->limit_count, 2);
    assert_string_equal(equivocal->basis[0], "voiding.booi");
    synth_close(&synth);
}

static void test_limits_of_the_clinic(void **state)
{
    struct analysis_choices choices;
    struct synth synth;

    (void)state;
    choices_standard(&choices);
    choices.obstruction_low.value = 29.0;
    choices.contractility_low.value = 141.0;
    choices.ura_obstructed_men.value = 18.0;
    voiding_case_open(&synth, man);
    synth.choices = &choices;
    const struct analysis_result *result = synth_run(&synth);

    assert_string_equal(synth_class(result, "ics_obstruction")->class, "unobstructed");
    assert_close(limit_of(synth_class(result, "ics_obstruction"), "obstruction_low"), 29.0, 0.0);
    assert_string_equal(synth_class(result, "contractility")->class, "weak");
    assert_string_equal(synth_class(result, "composite")->class, "unobstructed_weak");
    assert_string_equal(synth_class(result, "ura_obstruction")->class, "obstructed");
    /* The published groups do not move with them. */
    assert_string_equal(synth_class(result, "linear_purr_group")->class, "II");
    assert_non_null(synth_finding(result, "weak_contraction_suggested"));
    assert_non_null(synth_finding(result, "obstruction_rules_disagree"));
    synth_close(&synth);
}

/* Limits without a default: a class only where the clinic chose one, on both sides of it. */
static void test_limits_without_a_default(void **state)
{
    struct analysis_choices choices;
    struct synth synth;

    (void)state;
    choices_standard(&choices);
    voiding_case_open(&synth, man);
    const struct voiding_measures voiding = synth_run(&synth)->voiding;
    const double efficiency = voiding.flow.voiding_efficiency.value;
    const double watts = voiding.watts_factor_max.value;

    synth.choices = &choices;
    for (int low = 0; low < 2; low++) {
        const double step = low != 0 ? 0.001 : -0.001;
        const char *class = low != 0 ? "low" : "not_low";

        choices.voiding_efficiency_low = (struct optional_number){true, efficiency + step};
        choices.watts_factor_low = (struct optional_number){true, watts + step};
        const struct analysis_result *result = synth_run(&synth);

        assert_string_equal(synth_class(result, "voiding_efficiency")->class, class);
        assert_string_equal(synth_class(result, "watts_factor")->class, class);
        assert_int_equal(synth_finding(result, "low_voiding_efficiency") != NULL, low);
        assert_int_equal(synth_finding(result, "low_watts_factor") != NULL, low);
    }
    synth_close(&synth);
}

/* The clinic's own flow delay, when none came with the recording. */
static void test_delay_of_the_clinic(void **state)
{
    struct analysis_choices choices;
    struct synth synth;

    (void)state;
    choices_standard(&choices);
    choices.flow_delay_s.value = 0.5;
    voiding_case_open(&synth, man);
    synth.recording.conditions.flow_delay_s.known = false;
    assert_close(synth_run(&synth)->voiding.flow_delay.value, 0.8, 0.0);
    synth.choices = &choices;
    const struct voiding_measures voiding = synth_run(&synth)->voiding;

    assert_close(voiding.flow_delay.value, 0.5, 0.0);
    assert_non_null(strstr(voiding.flow_delay.method, "clinic"));
    assert_close(voiding.pdet_qmax.at_s, voiding.flow.qmax.at_s - 0.5, 1e-9);
    synth_close(&synth);
}

static void assert_absent(const struct measure *measure, const char *reason)
{
    assert_int_equal(measure->state, MEASURE_ABSENT);
    if (strstr(measure->reason, reason) == NULL) {
        fail_msg("reason \"%s\" does not say \"%s\"", measure->reason, reason);
    }
}

/* A child has pressures, and none of the indices. */
static void test_children(void **state)
{
    struct synth synth;

    (void)state;
    for (int sex = SEX_FEMALE; sex <= SEX_MALE; sex++) {
        struct voiding_case how = man;

        how.sex = (enum patient_sex)sex;
        voiding_case_open(&synth, how);
        synth.recording.age_years.value = 12.0;
        const struct analysis_result *result = synth_run(&synth);
        const struct voiding_measures *voiding = &result->voiding;

        assert_close(voiding->pdet_qmax.value, 60.0, 0.5);
        assert_absent(&voiding->ura, "children");
        assert_absent(&voiding->watts_factor_max, "adults");
        assert_absent(sex == SEX_MALE ? &voiding->purr_slope : &voiding->pip1, "children");
        assert_int_equal(result->classification_count, 0);
        synth_close(&synth);
    }
}

static void test_watts_needs_a_residual(void **state)
{
    struct voiding_case how = man;
    struct synth synth;

    (void)state;
    how.residual_ml = 0.0;
    voiding_case_open(&synth, how);
    const struct voiding_measures voiding = synth_run(&synth)->voiding;

    assert_absent(&voiding.watts_factor_max, "no post-void residual");
    assert_absent(&voiding.watts_factor_qmax, "no post-void residual");
    synth_close(&synth);
}

/* Constant pressure and flow into emptiness: the factor grows until 20 mL are left. */
static void test_watts_ends_at_20_ml(void **state)
{
    static const double points[][2] = {{20.0, 0.0}, {20.1, 10.0}, {50.0, 10.0}, {50.1, 0.0}};
    static const double pdet = 50.0;
    const struct polyline line = {4, points};
    const struct synth_sampling sampling = {.rate_hz = 100.0, .end_s = 70.0};
    struct synth synth;

    (void)state;
    synth_open(&synth, RECORDING_PRESSURE_FLOW);
    synth.recording.conditions.post_void_residual_ml = (struct optional_number){true, 0.0};
    synth.recording.conditions.flow_delay_s = (struct optional_number){true, 0.0};
    synth_channel(&synth, SIGNAL_FLOW, sampling, polyline_value, &line);
    synth_channel(&synth, SIGNAL_PDET, sampling, constant_value, &pdet);
    const struct voiding_measures voiding = synth_run(&synth)->voiding;

    assert_close(voiding.watts_factor_max.value, watts_factor(50.0, 10.0, 20.0), 0.02);
    assert_close(voiding.watts_factor_max.at_s, 48.05, 0.03);
    synth_close(&synth);
}

/* pmuo is the closing pressure; above pdetQmax there is no passive line. */
static void test_purr_slope(void **state)
{
    static const double flow[][2] = {{20.0, 0.0}, {22.0, 10.0}, {45.0, 10.0}, {47.0, 0.0}};
    static const double pdet[][2] = {{0.0, 60.0}, {30.0, 60.0}, {46.0, 20.0}, {60.0, 20.0}};
    static const double rising[][2] = {{0.0, 20.0}, {30.0, 20.0}, {46.0, 60.0}, {60.0, 60.0}};
    const struct polyline flow_line = {4, flow};
    const struct synth_sampling sampling = {.rate_hz = 10.0, .end_s = 60.0};

    (void)state;
    for (int i = 0; i < 2; i++) {
        const struct polyline line = {4, i == 0 ? pdet : rising};
        struct synth synth;

        synth_open(&synth, RECORDING_PRESSURE_FLOW);
        synth.recording.conditions.flow_delay_s = (struct optional_number){true, 0.0};
        synth_channel(&synth, SIGNAL_FLOW, sampling, polyline_value, &flow_line);
        synth_channel(&synth, SIGNAL_PDET, sampling, polyline_value, &line);
        const struct voiding_measures voiding = synth_run(&synth)->voiding;

        if (i == 0) {
            assert_close(voiding.purr_slope.value,
                         (voiding.pdet_qmax.value - voiding.closing_pressure.value) / 10.0, 1e-9);
            assert_close(voiding.purr_slope.value, 4.0, 0.01);
            assert_string_equal(voiding.purr_slope.parts[0].code, "pmuo");
            assert_close(voiding.purr_slope.parts[0].value, 20.0, 0.01);
        } else {
            assert_absent(&voiding.purr_slope, "not passive");
        }
        synth_close(&synth);
    }
}

/* Straining is told as a finding. */
static void test_straining_is_told(void **state)
{
    struct voiding_case how = man;
    struct synth synth;

    (void)state;
    how.strain_cmh2o = 40.0;
    how.strain_flow_ml_s = 8.0;
    voiding_case_open(&synth, how);
    const struct finding *found = synth_finding(synth_run(&synth), "straining_during_voiding");

    assert_non_null(found);
    assert_string_equal(found->basis[0], "voiding.straining");
    synth_close(&synth);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_default_limits),
        cmocka_unit_test(test_limits_of_the_clinic),
        cmocka_unit_test(test_limits_without_a_default),
        cmocka_unit_test(test_delay_of_the_clinic),
        cmocka_unit_test(test_children),
        cmocka_unit_test(test_watts_needs_a_residual),
        cmocka_unit_test(test_watts_ends_at_20_ml),
        cmocka_unit_test(test_purr_slope),
        cmocka_unit_test(test_straining_is_told),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
