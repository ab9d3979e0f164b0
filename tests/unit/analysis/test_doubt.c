/* Values that were read on a bad stretch, and what rests on them. */
#include "support/assert_close.h"

#include "analysis/doubt.h"

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

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_handed_on),
        cmocka_unit_test(test_same_code_in_two_sections),
    };

    return cmocka_run_group_tests_name("doubt", tests, NULL, NULL);
}
