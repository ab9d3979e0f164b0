#include "documents.h"

#include "analysis/catalogue.h"
#include "formats/analysis_json.h"

#include <jansson.h>
#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <string.h>

#include <cmocka.h>

static struct measure present(double value)
{
    return (struct measure){.state = MEASURE_PRESENT, .value = value};
}

static struct measure present_at(double value, double at_s)
{
    return (struct measure){
        .state = MEASURE_PRESENT, .value = value, .has_time = true, .at_s = at_s};
}

static struct measure absent(const char *reason)
{
    return (struct measure){.state = MEASURE_ABSENT, .reason = reason};
}

static const char *write_document(struct arena *arena, const struct analysis_result *result)
{
    struct text out;
    text_init(&out, arena, 65536);
    analysis_json_write(result, "preliminary", 3, &out);
    assert_false(out.overflowed);
    return out.data;
}

static void assert_same_json(const char *actual, const char *expected)
{
    json_error_t error;
    json_t *left = json_loads(actual, JSON_REJECT_DUPLICATES, &error);
    if (left == NULL) {
        fail_msg("%s: %s", error.text, actual);
    }
    json_t *right = json_loads(expected, JSON_REJECT_DUPLICATES, &error);
    if (right == NULL) {
        fail_msg("expected text: %s at %d", error.text, error.position);
    }
    if (json_equal(left, right) != 1) {
        fail_msg("\n%s\nis not\n%s", actual, expected);
    }
    json_decref(left);
    json_decref(right);
}

static struct analysis_result full_result(void)
{
    static struct classification classification = {
        .code = "ics_obstruction",
        .class = "equivocal",
        .method = "BOOI from 20 to 40",
        .basis_count = 2,
        .basis = {{"booi", 31.00049}, {"pdet_qmax", 73.5}},
    };
    static struct finding finding = {
        .code = "low_compliance",
        .text = "Compliance is \"low\".",
        .basis_count = 1,
        .basis = {"filling.compliance"},
    };
    static struct quality_finding quality[] = {
        {.code = "clipped",
         .severity = QUALITY_WARNING,
         .signal = SIGNAL_PABD,
         .has_span = true,
         .from_s = 0.0,
         .to_s = 10.0625,
         .text = "Check pabd."},
        {.code = "no_cough", .severity = QUALITY_INFO, .signal = SIGNAL_NONE, .text = "No cough."},
    };
    struct analysis_result result = {
        .type = RECORDING_PRESSURE_FLOW,
        .has_filling = true,
        .has_voiding = true,
        .classification_count = 1,
        .classifications = &classification,
        .finding_count = 1,
        .findings = &finding,
        .quality_count = 2,
        .quality = quality,
    };
    result.filling.first_sensation_volume = present_at(172.0, 206.4004);
    result.filling.compliance = absent("no measurable rise");
    result.filling.pdet_baseline = present(-0.0001);
    result.voiding.flow.qmax = present_at(21.3404, 14.25);
    result.voiding.flow.qmax.method = "moving average of 2 s";
    result.voiding.flow.post_void_residual = present(40.0);
    result.voiding.flow.post_void_residual.source = SOURCE_ENTERED;
    result.voiding.flow.flow_pattern = present(0.0);
    result.voiding.flow.flow_pattern.word = "interrupted";
    result.voiding.booi = absent("no flow signal");
    result.voiding.bci = present((double)INFINITY);
    /* A section that is not part of the result says nothing, whatever it holds. */
    result.uroflow.qmax = present(99.0);
    result.uroflow.qave = absent("left out");
    return result;
}

static const char FULL_EXPECTED[] =
    "{\"type\":\"pressure_flow\",\"status\":\"preliminary\",\"revision\":3,"
    "\"software\":{\"name\":\"penstock\",\"version\":\"0.1.0\"},"
    "\"sections\":{"
    "\"filling\":{"
    "\"first_sensation_volume\":"
    "{\"value\":172,\"unit\":\"mL\",\"at_s\":206.4,\"source\":\"computed\"},"
    "\"pdet_baseline\":{\"value\":0,\"unit\":\"cm[H2O]\",\"source\":\"computed\"}},"
    "\"voiding\":{"
    "\"qmax\":{\"value\":21.34,\"unit\":\"mL/s\",\"at_s\":14.25,\"source\":\"computed\","
    "\"method\":\"moving average of 2 s\"},"
    "\"post_void_residual\":{\"value\":40,\"unit\":\"mL\",\"source\":\"entered\"},"
    "\"flow_pattern\":{\"value\":\"interrupted\",\"source\":\"computed\"}}},"
    "\"findings\":[{\"code\":\"low_compliance\",\"text\":\"Compliance is \\\"low\\\".\","
    "\"basis\":[\"filling.compliance\"]}],"
    "\"classifications\":[{\"code\":\"ics_obstruction\",\"class\":\"equivocal\","
    "\"basis\":{\"booi\":31,\"pdet_qmax\":73.5},\"method\":\"BOOI from 20 to 40\"}],"
    "\"quality\":[{\"code\":\"clipped\",\"severity\":\"warning\",\"signal\":\"pabd\","
    "\"from_s\":0,\"to_s\":10.062,\"text\":\"Check pabd.\"},"
    "{\"code\":\"no_cough\",\"severity\":\"info\",\"text\":\"No cough.\"}],"
    "\"not_computed\":["
    "{\"section\":\"filling\",\"code\":\"compliance\",\"reason\":\"no measurable rise\"},"
    "{\"section\":\"voiding\",\"code\":\"booi\",\"reason\":\"no flow signal\"},"
    "{\"section\":\"voiding\",\"code\":\"bci\","
    "\"reason\":\"the computation gave no finite number\"}]}";

static void test_full_document(void **state)
{
    (void)state;
    struct arena *arena = arena_new();
    const struct analysis_result result = full_result();
    assert_same_json(write_document(arena, &result), FULL_EXPECTED);
    arena_free(arena);
}

static void test_empty_document(void **state)
{
    (void)state;
    struct arena *arena = arena_new();
    const struct analysis_result result = {.type = RECORDING_ANORECTAL_MANOMETRY};
    assert_same_json(write_document(arena, &result),
                     "{\"type\":\"anorectal_manometry\",\"status\":\"preliminary\",\"revision\":3,"
                     "\"software\":{\"name\":\"penstock\",\"version\":\"0.1.0\"},\"sections\":{},"
                     "\"findings\":[],\"classifications\":[],\"quality\":[],\"not_computed\":[]}");
    arena_free(arena);
}

/* A section that the recording holds is there even when none of its values could be computed. */
static void test_section_without_values(void **state)
{
    (void)state;
    struct arena *arena = arena_new();
    struct analysis_result result = {.type = RECORDING_UROFLOWMETRY, .has_uroflow = true};
    result.uroflow.qmax = absent("no flow");
    const char *text = write_document(arena, &result);
    assert_non_null(strstr(text, "\"sections\":{\"uroflow\":{}}"));
    assert_non_null(
        strstr(text, "[{\"section\":\"uroflow\",\"code\":\"qmax\",\"reason\":\"no flow\"}]"));
    arena_free(arena);
}

static void set_measure(struct analysis_result *result, const struct catalogue_row *row,
                        struct measure measure)
{
    memcpy((char *)result + row->offset, &measure, sizeof measure);
}

static void check_measure(const json_t *measure, const struct catalogue_row *row, double value)
{
    const json_t *written = json_object_get(measure, "value");
    if (row->kind == CATALOGUE_WORD) {
        assert_string_equal(json_string_value(written), row->code);
        assert_null(json_object_get(measure, "unit"));
    } else if (row->kind == CATALOGUE_YES_NO) {
        assert_true(json_is_true(written));
    } else {
        documents_assert_close(json_number_value(written), value, 0.0);
        assert_string_equal(json_string_value(json_object_get(measure, "unit")), row->unit);
    }
}

/* Every row of the catalogue reaches its own place, each with a value of its own. */
static void test_every_row_is_written(void **state)
{
    (void)state;
    struct arena *arena = arena_new();
    struct analysis_result result = {.type = RECORDING_PRESSURE_FLOW,
                                     .has_uroflow = true,
                                     .has_filling = true,
                                     .has_voiding = true};
    for (size_t i = 0; i < catalogue_count(); i++) {
        struct measure measure = present(1.0 + (double)i);
        measure.word = catalogue_row(i)->code;
        set_measure(&result, catalogue_row(i), measure);
    }
    json_t *document = json_loads(write_document(arena, &result), JSON_REJECT_DUPLICATES, NULL);
    const json_t *sections = json_object_get(document, "sections");
    assert_true(catalogue_count() > 0);
    for (size_t i = 0; i < catalogue_count(); i++) {
        const struct catalogue_row *row = catalogue_row(i);
        check_measure(json_object_get(json_object_get(sections, row->section), row->code), row,
                      1.0 + (double)i);
    }
    assert_int_equal(json_array_size(json_object_get(document, "not_computed")), 0);
    json_decref(document);
    arena_free(arena);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_full_document),
        cmocka_unit_test(test_empty_document),
        cmocka_unit_test(test_section_without_values),
        cmocka_unit_test(test_every_row_is_written),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
