/* Drafts of the filling: which, from what, with which limits. */
#include "support/assert_close.h"
#include "support/leak_case.h"

#include <string.h>

static const struct analysis_result *run(struct synth *synth, const struct leak_case *how)
{
    leak_case_open(synth, how);
    return synth_run(synth);
}

static const struct finding *expect(const struct analysis_result *result, const char *code,
                                    const char *basis)
{
    const struct finding *finding = synth_finding(result, code);

    assert_non_null(finding);
    assert_true(finding->basis_count >= 1);
    assert_string_equal(finding->basis[0], basis);
    return finding;
}

static void test_nothing(void **state)
{
    struct leak_case how = leak_case_quiet();
    struct synth synth;

    (void)state;
    leak_case_stress(&how, 200.0, 80.0, 0.0);
    const struct analysis_result *result = run(&synth, &how);

    assert_int_equal(result->finding_count, 0);
    assert_int_equal(result->classification_count, 0);
    synth_close(&synth);
}

static void test_overactivity(void **state)
{
    struct leak_case how = leak_case_quiet();
    struct synth synth;

    (void)state;
    leak_case_contraction(&how, 250.0, 30.0, 40.0);
    const struct analysis_result *result = run(&synth, &how);
    const struct finding *finding =
        expect(result, "detrusor_overactivity", "filling.involuntary_contractions");

    assert_non_null(strstr(finding->text, "phasic"));
    assert_null(strstr(finding->text, "terminal"));
    assert_int_equal(finding->limit_count, 1);
    assert_string_equal(finding->limits[0].code, "contraction_amplitude_cmh2o");
    assert_close(finding->limits[0].value, 5.0, 1e-9);
    assert_null(synth_finding(result, "overactivity_with_leakage"));
    synth_close(&synth);
}

static void test_overactivity_with_leakage(void **state)
{
    struct leak_case how = leak_case_quiet();
    struct synth synth;

    (void)state;
    leak_case_contraction(&how, 250.0, 30.0, 40.0);
    leak_case_loss(&how, 268.0, 10.0, 4.0);
    const struct finding *finding =
        expect(run(&synth, &how), "overactivity_with_leakage", "filling.involuntary_contractions");

    assert_int_equal(finding->basis_count, 2);
    assert_string_equal(finding->basis[1], "filling.leaks");
    synth_close(&synth);
}

static void test_terminal(void **state)
{
    struct leak_case how = leak_case_quiet();
    struct synth synth;

    (void)state;
    leak_case_contraction(&how, 470.0, 40.0, 45.0);
    leak_case_open(&synth, &how);
    for (size_t i = 0; i < synth.recording.event_count; i++) {
        synth.events[i].at_s =
            synth.events[i].code == EVENT_PERMISSION_TO_VOID ? 514.0 : synth.events[i].at_s;
    }
    const struct finding *finding =
        expect(synth_run(&synth), "detrusor_overactivity", "filling.involuntary_contractions");

    assert_non_null(strstr(finding->text, "terminal"));
    synth_close(&synth);
}

static void test_stress_leakage(void **state)
{
    struct leak_case how = leak_case_quiet();
    struct synth synth;

    (void)state;
    leak_case_stress(&how, 200.0, 40.0, 0.0);
    leak_case_loss(&how, 200.0, 4.0, 0.6);
    const struct analysis_result *result = run(&synth, &how);
    const struct finding *finding = expect(result, "stress_leakage", "filling.leaks");
    const struct finding *low =
        expect(result, "low_stress_leak_point", "filling.abdominal_leak_point_pressure");

    assert_int_equal(finding->basis_count, 2);
    assert_string_equal(finding->basis[1], "filling.abdominal_leak_point_pressure");
    assert_int_equal(low->limit_count, 2);
    assert_string_equal(low->limits[0].code, "stress_leak_low_cmh2o");
    assert_null(synth_finding(result, "leakage_unexplained"));
    synth_close(&synth);
}

static void test_unexplained(void **state)
{
    struct leak_case how = leak_case_quiet();
    struct synth synth;

    (void)state;
    leak_case_loss(&how, 200.0, 4.0, 0.6);
    const struct analysis_result *result = run(&synth, &how);

    expect(result, "leakage_unexplained", "filling.leaks");
    assert_null(synth_finding(result, "stress_leakage"));
    assert_null(synth_finding(result, "leakage_without_contraction"));
    synth_close(&synth);
}

/* Compliance against the limits in use, both sides: 400 mL over a rise. */
static void test_compliance(void **state)
{
    static const struct {
        double rise;
        double low;
        double very_low;
        const char *code;
    } rows[] = {{19.8, 20.0, 10.0, NULL},
                {20.3, 20.0, 10.0, "low_compliance"},
                {39.5, 20.0, 10.0, "low_compliance"},
                {40.6, 20.0, 10.0, "very_low_compliance"},
                {13.2, 30.0, 10.0, NULL},
                {13.6, 30.0, 10.0, "low_compliance"},
                {32.5, 20.0, 12.5, "very_low_compliance"}};

    (void)state;
    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
        struct analysis_choices choices;
        struct leak_case how = leak_case_quiet();
        struct synth synth;

        choices_standard(&choices);
        choices.compliance_low_ml_cmh2o.value = rows[i].low;
        choices.compliance_very_low_ml_cmh2o.value = rows[i].very_low;
        how.pdet_end = rows[i].rise;
        leak_case_open(&synth, &how);
        synth.choices = &choices;
        const struct analysis_result *result = synth_run(&synth);
        const char *const codes[] = {"low_compliance", "very_low_compliance"};

        for (size_t k = 0; k < 2; k++) {
            const struct finding *finding = synth_finding(result, codes[k]);
            const bool wanted = rows[i].code != NULL && strcmp(rows[i].code, codes[k]) == 0;

            assert_int_equal(finding != NULL, wanted);
            if (finding != NULL) {
                assert_int_equal(finding->limit_count, 1);
                assert_close(finding->limits[0].value, k == 0 ? rows[i].low : rows[i].very_low,
                             1e-9);
            }
        }
        synth_close(&synth);
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_nothing),
        cmocka_unit_test(test_overactivity),
        cmocka_unit_test(test_overactivity_with_leakage),
        cmocka_unit_test(test_terminal),
        cmocka_unit_test(test_stress_leakage),
        cmocka_unit_test(test_unexplained),
        cmocka_unit_test(test_compliance),
    };

    return cmocka_run_group_tests_name("findings of the filling", tests, NULL, NULL);
}
