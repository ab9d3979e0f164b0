/* Values that were read on a bad stretch, and what rests on them. */
#include "support/assert_close.h"

#include "analysis/catalogue.h"
#include "analysis/doubt.h"
#include "analysis/measure.h"

#include <string.h>

static struct measure read_at(double value, double at_s)
{
    return (struct measure){
        .state = MEASURE_PRESENT, .value = value, .has_time = true, .at_s = at_s};
}

static struct classification class_by(const char *code, const char *number, double value)
{
    return (struct classification){
        .code = code, .class = "x", .method = "m", .basis_count = 1, .basis = {{number, value}}};
}

static struct finding finding_by(const char *code, const char *basis)
{
    return (struct finding){.code = code, .text = "t", .basis_count = 1, .basis = {basis}};
}

/* BOOI at 100 s lies within a stretch on which the catheter is out, the free flow's Qmax and
 * compliance do not. */
static void test_handed_on(void **state)
{
    struct quality_finding quality[] = {{.code = "catheter_out",
                                         .severity = QUALITY_ERROR,
                                         .signal = SIGNAL_PVES,
                                         .has_span = true,
                                         .from_s = 90.0,
                                         .to_s = 110.0,
                                         .text = "t"}};
    struct finding findings[] = {finding_by("obstruction", "voiding.booi"),
                                 finding_by("compliance", "filling.compliance"),
                                 finding_by("likeness", "voiding.booi_of_another")};
    struct classification classes[] = {class_by("ics_obstruction", "booi", 45.0),
                                       class_by("of_the_free_flow", "qmax", 12.0),
                                       class_by("of_the_voiding", "pdet_qmax", 70.0)};
    struct analysis_result result = {.has_uroflow = true,
                                     .has_filling = true,
                                     .has_voiding = true,
                                     .quality_count = 1,
                                     .quality = quality,
                                     .finding_count = 3,
                                     .findings = findings,
                                     .classification_count = 3,
                                     .classifications = classes};
    struct study study = {.outcome = {.result = &result}};

    (void)state;
    result.uroflow.qmax = read_at(12.0, 100.0);
    result.filling.compliance = read_at(30.0, 50.0);
    result.voiding.booi = read_at(45.0, 100.0);
    result.voiding.pdet_qmax = read_at(70.0, 111.5);
    doubt_mark(&study);

    assert_int_equal(findings[0].doubt_count, 1);
    assert_string_equal(findings[0].doubts[0], "catheter_out");
    assert_int_equal(findings[1].doubt_count, 0);
    assert_int_equal(findings[2].doubt_count, 0);
    assert_int_equal(classes[0].doubt_count, 1);
    assert_string_equal(classes[0].doubts[0], "catheter_out");
    assert_int_equal(classes[1].doubt_count, 0);
    assert_int_equal(classes[2].doubt_count, 0);
}

/* A class by the voiding's Qmax is not as doubtful as the other section's value of that code. */
static void test_same_code_in_two_sections(void **state)
{
    struct quality_finding quality[] = {{.code = "spike",
                                         .severity = QUALITY_WARNING,
                                         .signal = SIGNAL_FLOW,
                                         .has_span = true,
                                         .from_s = 90.0,
                                         .to_s = 110.0,
                                         .text = "t"}};
    struct classification classes[] = {class_by("one", "qmax", 12.0),
                                       class_by("other", "qmax", 15.0)};
    struct analysis_result result = {.has_uroflow = true,
                                     .has_voiding = true,
                                     .quality_count = 1,
                                     .quality = quality,
                                     .classification_count = 2,
                                     .classifications = classes};
    struct study study = {.outcome = {.result = &result}};

    (void)state;
    result.uroflow.qmax = read_at(12.0, 100.0);
    result.voiding.flow.qmax = read_at(15.0, 200.0);
    doubt_mark(&study);
    assert_int_equal(classes[0].doubt_count, 1);
    assert_int_equal(classes[1].doubt_count, 0);
}

static struct measure read_over(double value, double from_s, double to_s)
{
    struct measure measure = {.state = MEASURE_PRESENT, .value = value};

    measure_rest_on(&measure, from_s, to_s);
    return measure;
}

/* A value over a stretch is doubtful when a tenth of it is bad: 3 s of 30 s, not 2.95 s, and not
 * what lies beside it. */
static void test_stretches(void **state)
{
    static const struct {
        double from_s;
        double to_s;
        size_t doubts;
    } rows[] = {{110.0, 113.0, 1}, {110.0, 112.95, 0}, {90.0, 103.0, 1},  {90.0, 102.95, 0},
                {127.0, 140.0, 1}, {127.05, 140.0, 0}, {130.5, 140.0, 0}, {90.0, 200.0, 1}};

    (void)state;
    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
        struct quality_finding quality[] = {{.code = "clipped",
                                             .severity = QUALITY_WARNING,
                                             .signal = SIGNAL_FLOW,
                                             .has_span = true,
                                             .from_s = rows[i].from_s,
                                             .to_s = rows[i].to_s,
                                             .text = "t"}};
        struct analysis_result result = {
            .has_uroflow = true, .quality_count = 1, .quality = quality};
        struct study study = {.outcome = {.result = &result}};

        result.uroflow.voided_volume = read_over(300.0, 100.0, 130.0);
        doubt_mark(&study);
        assert_int_equal(result.uroflow.voided_volume.doubt_count, rows[i].doubts);
    }
}

static struct measure *measure_named(struct analysis_result *result, const char *section_code,
                                     const char *code)
{
    const struct catalogue_section *section = catalogue_find_section(section_code);

    assert_non_null(section);
    for (size_t i = 0; i < section->row_count; i++) {
        if (strcmp(section->rows[i].code, code) == 0) {
            char *instance = catalogue_writable(section, result, 0);

            return (struct measure *)(void *)(instance + section->rows[i].offset);
        }
    }
    fail_msg("no row %s.%s", section_code, code);
    return NULL;
}

/* Every value that is made of another. */
static void test_every_heir(void **state)
{
    static const struct {
        const char *section;
        const char *heir;
        const char *source;
    } rows[] = {{"uroflow", "qave", "voided_volume"},
                {"uroflow", "qave", "flow_time"},
                {"uroflow", "initial_volume", "voided_volume"},
                {"uroflow", "voiding_efficiency", "voided_volume"},
                {"uroflow", "qmax_corrected", "qmax"},
                {"uroflow", "qmax_corrected", "voided_volume"},
                {"uroflow", "qmax_centile", "qmax"},
                {"uroflow", "qmax_centile", "voided_volume"},
                {"voiding", "qave", "voided_volume"},
                {"voiding", "voiding_efficiency", "voided_volume"},
                {"voiding", "qmax_corrected", "qmax"},
                {"filling", "compliance_pressure_change", "pdet_baseline"},
                {"filling", "compliance_pressure_change", "pdet_end_fill"},
                {"filling", "compliance_volume_change", "cystometric_capacity"},
                {"voiding", "booi", "pdet_qmax"},
                {"voiding", "booi", "qmax"},
                {"voiding", "bci", "pdet_qmax"},
                {"voiding", "bci", "qmax"},
                {"voiding", "ura", "pdet_qmax"},
                {"voiding", "ura", "qmax"},
                {"voiding", "obstruction_coefficient", "pdet_qmax"},
                {"voiding", "obstruction_coefficient", "qmax"},
                {"voiding", "female_booi", "pdet_qmax"},
                {"voiding", "female_booi", "qmax"},
                {"voiding", "pip1", "pdet_qmax"},
                {"voiding", "pip1", "qmax"},
                {"voiding", "purr_slope", "pdet_qmax"},
                {"voiding", "purr_slope", "qmax"},
                {"voiding", "purr_slope", "closing_pressure"},
                {"emg", "guarding", "resting_mean"},
                {"emg", "voiding_to_filling", "voiding_mean"}};

    (void)state;
    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
        struct quality_finding quality[SIGNAL_COUNT];
        struct analysis_result result = {.has_uroflow = true,
                                         .has_filling = true,
                                         .has_voiding = true,
                                         .has_emg = true,
                                         .quality_count = SIGNAL_COUNT,
                                         .quality = quality};
        struct study study = {.outcome = {.result = &result}};

        for (int signal = 0; signal < SIGNAL_COUNT; signal++) {
            quality[signal] = (struct quality_finding){.code = "bad",
                                                       .severity = QUALITY_WARNING,
                                                       .signal = (enum signal_kind)signal,
                                                       .has_span = true,
                                                       .from_s = 99.0,
                                                       .to_s = 101.0,
                                                       .text = "t"};
        }
        *measure_named(&result, rows[i].section, rows[i].source) = read_at(1.0, 100.0);
        *measure_named(&result, rows[i].section, rows[i].heir) = measure_of(1.0, NULL);
        doubt_mark(&study);
        print_message("%s from %s\n", rows[i].heir, rows[i].source);
        assert_int_equal(measure_named(&result, rows[i].section, rows[i].heir)->doubt_count, 1);
    }
}

/* Values made of doubtful ones, through two steps: pdet at the end of filling makes the change of
 * pressure doubtful, and that compliance; pdetQmax the indices; Qmax the corrected Qmax. */
static void test_heirs(void **state)
{
    struct quality_finding quality[] = {{.code = "catheter_out",
                                         .severity = QUALITY_ERROR,
                                         .signal = SIGNAL_PVES,
                                         .has_span = true,
                                         .from_s = 400.0,
                                         .to_s = 450.0,
                                         .text = "t"},
                                        {.code = "spike",
                                         .severity = QUALITY_WARNING,
                                         .signal = SIGNAL_FLOW,
                                         .has_span = true,
                                         .from_s = 440.0,
                                         .to_s = 441.0,
                                         .text = "t"}};
    struct analysis_result result = {
        .has_filling = true, .has_voiding = true, .quality_count = 2, .quality = quality};
    struct study study = {.outcome = {.result = &result}};
    struct filling_measures *filling = &result.filling;
    struct voiding_measures *voiding = &result.voiding;

    (void)state;
    filling->pdet_baseline = read_at(2.0, 10.0);
    filling->pdet_end_fill = read_at(9.0, 410.0);
    filling->cystometric_capacity = read_at(400.0, 410.0);
    filling->compliance_pressure_change = measure_of(7.0, NULL);
    filling->compliance_volume_change = measure_of(400.0, NULL);
    filling->compliance = measure_of(57.0, NULL);
    voiding->pdet_qmax = read_at(60.0, 439.0);
    voiding->flow.qmax = read_at(15.0, 440.0);
    voiding->booi = measure_of(30.0, NULL);
    voiding->flow.qmax_corrected = measure_of(0.7, NULL);
    voiding->flow.voiding_efficiency = measure_of(90.0, NULL);
    voiding->bci = measure_absent("no");
    doubt_mark(&study);

    assert_int_equal(filling->pdet_baseline.doubt_count, 0);
    assert_int_equal(filling->compliance_pressure_change.doubt_count, 1);
    assert_int_equal(filling->compliance_volume_change.doubt_count, 0);
    assert_int_equal(filling->compliance.doubt_count, 1);
    assert_string_equal(filling->compliance.doubts[0], "catheter_out");
    assert_int_equal(voiding->booi.doubt_count, 2);
    assert_string_equal(voiding->booi.doubts[0], "catheter_out");
    assert_string_equal(voiding->booi.doubts[1], "spike");
    assert_int_equal(voiding->flow.qmax_corrected.doubt_count, 1);
    assert_string_equal(voiding->flow.qmax_corrected.doubts[0], "spike");
    assert_int_equal(voiding->flow.voiding_efficiency.doubt_count, 0);
    assert_int_equal(voiding->bci.doubt_count, 0);
}

/* The mean over two pulls is as doubtful as the worse one. */
static void test_pulls(void **state)
{
    struct quality_finding quality[] = {{.code = "clipped",
                                         .severity = QUALITY_WARNING,
                                         .signal = SIGNAL_PURA,
                                         .has_span = true,
                                         .from_s = 190.0,
                                         .to_s = 210.0,
                                         .text = "t"}};
    struct profile_measures pulls[2] = {{.kind = measure_absent("no")}};
    struct analysis_result result = {.has_profiles = true,
                                     .has_profiles_summary = true,
                                     .profiles = {2, pulls},
                                     .quality_count = 1,
                                     .quality = quality};
    struct study study = {.outcome = {.result = &result}};

    (void)state;
    pulls[0].maximum_closure_pressure = read_at(50.0, 100.0);
    pulls[1].maximum_closure_pressure = read_at(54.0, 200.0);
    pulls[0].functional_length = read_at(30.0, 100.0);
    result.profiles_summary.maximum_closure_pressure = measure_of(52.0, NULL);
    result.profiles_summary.functional_length = measure_of(30.0, NULL);
    doubt_mark(&study);
    assert_int_equal(result.profiles_summary.maximum_closure_pressure.doubt_count, 1);
    assert_int_equal(result.profiles_summary.functional_length.doubt_count, 0);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_handed_on), cmocka_unit_test(test_same_code_in_two_sections),
        cmocka_unit_test(test_stretches), cmocka_unit_test(test_every_heir),
        cmocka_unit_test(test_heirs),     cmocka_unit_test(test_pulls),
    };

    return cmocka_run_group_tests_name("doubt", tests, NULL, NULL);
}
