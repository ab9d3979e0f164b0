/* The standards of the clinic's choices: the published limit that holds until a clinic chooses
 * another, with the source that its row names. "From memory" in a source marks a figure that was
 * not confirmed in it. Where it is easily shown, the class changes exactly there. */
#include "support/assert_close.h"
#include "support/flip.h"
#include "support/step_trace.h"

#include "analysis/choices.h"
#include "analysis/nomogram/nomogram_chart.h"

#include <string.h>

/* Every choice that has a standard. */
static void test_values(void **state)
{
    static const struct {
        const char *code;
        double standard;
        const char *source;
    } rows[] = {
        {"flow_delay_s", 0.8, "published values range from 0.5 to 1.4 s"},
        {"contraction_amplitude_cmh2o", 5.0, "Abrams P et al. (ICS) 2002"},
        {"compliance_low_ml_cmh2o", 20.0, "20 after Ghoniem"},
        {"compliance_very_low_ml_cmh2o", 10.0, "10 and 12.5 are in use"},
        {"cough_transmission_low", 0.7, "Hogan S et al. Neurourol Urodyn 2012;31:1104-1117"},
        {"stress_leak_low_cmh2o", 60.0, "ICS terminology page; McGuire EJ"},
        {"stress_leak_high_cmh2o", 90.0, "ICS terminology page; McGuire EJ"},
        {"detrusor_leak_high_cmh2o", 40.0, "McGuire EJ et al. J Urol 1981;126:205-209"},
        {"obstruction_high", 40.0, "Abrams P. BJU Int 1999;84:14-15"},
        {"obstruction_low", 20.0, "Abrams P. BJU Int 1999;84:14-15"},
        {"contractility_high", 150.0, "Abrams P. BJU Int 1999;84:14-15"},
        {"contractility_low", 100.0, "Abrams P. BJU Int 1999;84:14-15"},
        {"ura_obstructed_men", 29.0, "Griffiths D et al. Neurourol Urodyn 1989;8:17-27"},
        {"ura_obstructed_women", 20.0, "Mytilekas KV et al. Int Neurourol J 2021;25:244-251"},
        {"female_obstruction_likely", 5.0, "Solomon E et al. Neurourol Urodyn 2018;37:368-378"},
        {"female_obstruction_certain", 18.0, "Solomon E et al. Neurourol Urodyn 2018;37:368-378"},
        {"pip1_low", 30.0, "study of 2025 that uses 30"},
        {"pip1_high", 75.0, "Tan TL et al. Neurourol Urodyn 2004;23:184-189"},
        {"closure_pressure_low_cmh2o", 20.0, "Bump RC et al. Am J Obstet Gynecol 1997;177:303-310"},
        {"closure_threshold_cmh2o", 0.0, "Lose G et al. (ICS). Neurourol Urodyn 2002;21:258-260"},
        {"emg_burst_sd", 3.0, "no published rule"},
        {"rair_relaxation_percent", 25.0,
         "Carrington EV et al. Neurogastroenterol Motil 2020;32:e13679"},
        {"push_relaxation_percent", 20.0, "Rao SSC. Gastroenterol Clin North Am 2008;37:569-586"},
        {"balloon_expulsion_s", 60.0, "60 s: Ratuapli SK et al. 2013"},
    };

    const size_t count = sizeof rows / sizeof rows[0];
    size_t standards = 0;

    (void)state;
    for (size_t i = 0; i < count; i++) {
        const struct choice_row *row = choices_find(rows[i].code);

        print_message("%s\n", rows[i].code);
        assert_non_null(row);
        assert_true(row->has_default);
        assert_close(row->standard, rows[i].standard, 1e-12);
        assert_close(choices_value(NULL, rows[i].code), rows[i].standard, 1e-12);
        assert_non_null(strstr(row->source, rows[i].source));
    }
    for (size_t i = 0; i < choices_count(); i++) {
        standards += choices_row(i)->has_default ? 1 : 0;
    }
    assert_int_equal(standards, count);
}

/* ---- Classes by pressure and flow, at 10 mL/s ---- */

static const char *zone(enum nomogram_code code, double pdet)
{
    struct nomogram_chart chart;

    assert_true(nomogram_chart(code, NULL, 0.0, &chart));
    return nomogram_zone(&chart, 10.0, pdet)->code;
}

/* BOOI = pdet - 20 in men: 20 and 40 (Abrams 1999). */
static void test_obstruction_of_men(void **state)
{
    (void)state;
    assert_string_equal(zone(NOMOGRAM_ICS_OBSTRUCTION, 39.9), "unobstructed");
    assert_string_equal(zone(NOMOGRAM_ICS_OBSTRUCTION, 40.1), "equivocal");
    assert_string_equal(zone(NOMOGRAM_ICS_OBSTRUCTION, 59.9), "equivocal");
    assert_string_equal(zone(NOMOGRAM_ICS_OBSTRUCTION, 60.1), "obstructed");
}

/* BCI = pdet + 50 in men: 100 and 150 (Abrams 1999). */
static void test_contractility_of_men(void **state)
{
    (void)state;
    assert_string_equal(zone(NOMOGRAM_COMPOSITE, 49.9), "equivocal_weak");
    assert_string_equal(zone(NOMOGRAM_COMPOSITE, 50.1), "equivocal_normal");
    assert_string_equal(zone(NOMOGRAM_COMPOSITE, 99.9), "obstructed_normal");
    assert_string_equal(zone(NOMOGRAM_COMPOSITE, 100.1), "obstructed_strong");
}

/* Female BOOI = pdet - 22: 5 and 18 (Solomon 2018). */
static void test_obstruction_of_women(void **state)
{
    (void)state;
    assert_string_equal(zone(NOMOGRAM_FEMALE_OBSTRUCTION, 26.95), "indeterminate");
    assert_string_equal(zone(NOMOGRAM_FEMALE_OBSTRUCTION, 27.05), "likely");
    assert_string_equal(zone(NOMOGRAM_FEMALE_OBSTRUCTION, 39.9), "likely");
    assert_string_equal(zone(NOMOGRAM_FEMALE_OBSTRUCTION, 40.1), "almost_certain");
}

/* Whether a voiding of 30 s at this pdet has a class. */
static bool has_class(enum patient_sex sex, double pdet, const char *code, const char *class)
{
    struct step_trace flow = step_trace_at(0.0);
    const struct step_trace pressure = step_trace_at(pdet);
    struct synth synth;

    step_trace_pulse(&flow, 60.0, 90.0, 10.0);
    synth_open(&synth, RECORDING_PRESSURE_FLOW);
    synth.recording.sex = sex;
    step_trace_add(&synth, SIGNAL_FLOW, 10.0, 120.0, &flow);
    step_trace_add(&synth, SIGNAL_PDET, 10.0, 120.0, &pressure);
    const struct analysis_result *result = synth_run(&synth);
    const struct classification *found = synth_class(result, code);

    assert_non_null(found);
    assert_close(result->voiding.flow.qmax.value, 10.0, 1e-9);
    assert_close(result->voiding.pdet_qmax.value, pdet, 1e-9);
    const bool has = strcmp(found->class, class) == 0;

    synth_close(&synth);
    return has;
}

static bool is_man_obstructed(double pdet)
{
    return has_class(SEX_MALE, pdet, "ura_obstruction", "obstructed");
}

static bool is_woman_obstructed(double pdet)
{
    return has_class(SEX_FEMALE, pdet, "ura_obstruction", "obstructed");
}

/* pdet = u + 3.8e-4 u^2 Q^2: u = 29 in men (Griffiths 1989), 20 in women (Mytilekas 2021). */
static void test_urethral_resistance(void **state)
{
    (void)state;
    assert_close(flip_between(is_man_obstructed, 50.0, 70.0), 29.0 + 3.8e-4 * 841.0 * 100.0, 0.02);
    assert_close(flip_between(is_woman_obstructed, 30.0, 40.0), 20.0 + 3.8e-4 * 400.0 * 100.0,
                 0.02);
}

static bool is_woman_weak(double pdet)
{
    return has_class(SEX_FEMALE, pdet, "pip1_contractility", "weak");
}

static bool is_woman_strong(double pdet)
{
    return has_class(SEX_FEMALE, pdet, "pip1_contractility", "strong");
}

/* PIP1 = pdet + 10: 30 (a study of 2025) and 75 (Tan 2004). */
static void test_contractility_of_women(void **state)
{
    (void)state;
    assert_close(flip_between(is_woman_weak, 15.0, 25.0), 30.0 - 10.0, 0.02);
    assert_close(flip_between(is_woman_strong, 60.0, 70.0), 75.0 - 10.0, 0.02);
}

/* ---- Compliance ---- */

/* 280 mL, and a rise of pdet that makes this compliance. */
static bool is_told_at(double compliance, const char *code)
{
    static const double vinf_points[][2] = {{30.0, 0.0}, {310.0, 280.0}};
    static const struct polyline vinf = {2, vinf_points};
    struct step_trace pves = step_trace_at(22.0);
    const struct step_trace pabd = step_trace_at(20.0);
    struct synth synth;

    step_trace_to(&pves, 60.0, 22.0);
    step_trace_ramp(&pves, 310.0, 22.0 + 280.0 / compliance);
    synth_open(&synth, RECORDING_CYSTOMETRY);
    step_trace_add(&synth, SIGNAL_PVES, 10.0, 360.0, &pves);
    step_trace_add(&synth, SIGNAL_PABD, 10.0, 360.0, &pabd);
    synth_channel(&synth, SIGNAL_VINF, (struct synth_sampling){.rate_hz = 2.0, .end_s = 360.0},
                  polyline_value, &vinf);
    synth_event(&synth, EVENT_FILLING_START, 30.0);
    synth_event(&synth, EVENT_PERMISSION_TO_VOID, 330.0);
    const bool told = synth_finding(synth_run(&synth), code) != NULL;

    synth_close(&synth);
    return told;
}

static bool is_low_at(double compliance)
{
    return is_told_at(compliance, "low_compliance");
}

static bool is_very_low_at(double compliance)
{
    return is_told_at(compliance, "very_low_compliance");
}

/* Below 20 mL/cmH2O low (after Ghoniem), below 10 very low. */
static void test_compliance(void **state)
{
    (void)state;
    assert_close(flip_between(is_low_at, 15.0, 25.0), 20.0, 0.05);
    assert_close(flip_between(is_very_low_at, 8.0, 12.0), 10.0, 0.05);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_values),
        cmocka_unit_test(test_obstruction_of_men),
        cmocka_unit_test(test_contractility_of_men),
        cmocka_unit_test(test_obstruction_of_women),
        cmocka_unit_test(test_urethral_resistance),
        cmocka_unit_test(test_contractility_of_women),
        cmocka_unit_test(test_compliance),
    };

    return cmocka_run_group_tests_name("standards", tests, NULL, NULL);
}
