#include "reports.h"

#include <jansson.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <string.h>

#include <cmocka.h>

static json_t *read_json(struct report_fixture *fixture)
{
    struct text out;
    text_init(&out, fixture->arena, (size_t)1024 * 1024);
    report_json_write(&fixture->report, &out);
    assert_false(out.overflowed);
    json_error_t error;
    json_t *value = json_loads(out.data, JSON_REJECT_DUPLICATES, &error);
    if (value == NULL) {
        fail_msg("%s: %s", error.text, out.data);
    }
    return value;
}

static void assert_member(const json_t *object, const char *name, const char *expected)
{
    json_t *value = json_loads(expected, JSON_DECODE_ANY, NULL);
    assert_non_null(value);
    if (json_equal(json_object_get(object, name), value) != 1) {
        fail_msg("member %s is not %s", name, expected);
    }
    json_decref(value);
}

static void test_whole_document(void **state)
{
    (void)state;
    struct report_fixture fixture;
    reports_make(&fixture);
    json_t *document = read_json(&fixture);
    assert_int_equal(json_object_size(document), 8);
    assert_member(document, "clinic", "{\"name\":\"Tarn Valley Continence Clinic\"}");
    assert_member(document, "study",
                  "{\"id\":\"01981f5e-7a00-7abc-8def-000000000002\",\"room\":\"Room 2\","
                  "\"started_at\":\"2026-03-02T08:31:05.25Z\",\"operator\":\"Nurse One\","
                  "\"position\":\"\",\"catheters\":\"6 Fr double lumen\","
                  "\"history\":{\"medication\":[\"none\",\"tea\"],\"pad_test\":{\"grams\":12.5},"
                  "\"diary\":\"3 days\",\"smoker\":false},"
                  "\"status\":\"preliminary\",\"open_recording_count\":0,\"version\":4}");
    assert_member(document, "patient",
                  "{\"id\":\"01981f5e-7a00-7abc-8def-000000000001\",\"mrn\":\"TV-1001\","
                  "\"family_name\":\"Example\",\"given_name\":\"Pat\","
                  "\"birth_date\":\"1961-07-15\",\"sex\":\"male\",\"weight_kg\":81.5}");
    assert_string_equal(json_string_value(json_object_get(document, "caution")), REPORT_CAUTION);
    json_decref(document);
    reports_free(&fixture);
}

static void test_recordings(void **state)
{
    (void)state;
    struct report_fixture fixture;
    reports_make(&fixture);
    json_t *document = read_json(&fixture);
    const json_t *recordings = json_object_get(document, "recordings");
    assert_int_equal(json_array_size(recordings), 2);
    const json_t *second = json_array_get(recordings, 1);
    assert_int_equal(json_object_size(second), 6);
    assert_member(second, "id", "\"01981f5e-7a00-7abc-8def-000000000004\"");
    assert_member(second, "type", "\"pressure_flow\"");
    assert_member(second, "started_at", "\"2026-03-02T08:47:45Z\"");
    assert_member(second, "duration_s", "1800");
    assert_member(second, "revision", "2");
    assert_member(second, "analysis", REPORTS_PRESSURE_FLOW);
    json_decref(document);
    reports_free(&fixture);
}

static void test_what_people_add(void **state)
{
    (void)state;
    struct report_fixture fixture;
    reports_make(&fixture);
    json_t *document = read_json(&fixture);
    assert_member(document, "interpretation", "null");
    assert_member(document, "signatures", "[]");
    assert_member(document, "equipment", "[]");
    json_decref(document);
    reports_interpret(&fixture);
    reports_equip(&fixture);
    reports_sign(&fixture, 2);
    document = read_json(&fixture);
    assert_true(json_equal(json_object_get(document, "interpretation"),
                           fixture.report.interpretation) == 1);
    assert_member(document, "signatures",
                  "[{\"number\":1,\"meaning\":\"final\",\"signed_at\":"
                  "\"2026-03-03T09:00:00Z\",\"signer_name\":\"Dr First\","
                  "\"signer_role\":\"physician\"},{\"number\":2,\"meaning\":\"amended\","
                  "\"signed_at\":\"2026-03-04T09:00:00Z\",\"signer_name\":\"Dr Second\","
                  "\"signer_role\":\"physician\",\"reason\":\"The residual was wrong.\"}]");
    assert_member(document, "equipment",
                  "[{\"kind\":\"pressure_transducer\",\"name\":\"Transducer A\",\"serial\":"
                  "\"S-1\",\"verified_at\":\"2026-02-02T02:40:00Z\",\"verdict\":\"passed\","
                  "\"due_at\":\"2027-01-15T08:00:00Z\"},{\"kind\":\"flow_meter\",\"name\":"
                  "\"Meter B\",\"verdict\":\"not_verified\"}]");
    json_decref(document);
    reports_free(&fixture);
}

static void test_what_may_be_missing(void **state)
{
    (void)state;
    struct report_fixture fixture;
    reports_make(&fixture);
    fixture.patient.weight_kg.known = false;
    fixture.study.history = "";
    fixture.recordings[0].analysis_json = NULL;
    fixture.report.recording_count = 1;
    json_t *document = read_json(&fixture);
    assert_null(json_object_get(json_object_get(document, "patient"), "weight_kg"));
    assert_member(json_object_get(document, "study"), "history", "{}");
    assert_member(json_array_get(json_object_get(document, "recordings"), 0), "analysis", "null");
    json_decref(document);
    reports_free(&fixture);
}

static void test_names_are_quoted(void **state)
{
    static const char hostile[] = "\"},{\\\n\t\x7f \xd7\xa9\xd7\x9c\xd7\x95\xd7\x9d";
    (void)state;
    struct report_fixture fixture;
    reports_make(&fixture);
    fixture.patient.family_name = hostile;
    fixture.report.recording_count = 0;
    json_t *document = read_json(&fixture);
    assert_string_equal(
        json_string_value(json_object_get(json_object_get(document, "patient"), "family_name")),
        hostile);
    assert_member(document, "recordings", "[]");
    json_decref(document);
    reports_free(&fixture);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_whole_document),   cmocka_unit_test(test_recordings),
        cmocka_unit_test(test_what_people_add),  cmocka_unit_test(test_what_may_be_missing),
        cmocka_unit_test(test_names_are_quoted),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
