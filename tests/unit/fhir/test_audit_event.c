/* AuditEvents are JSON whatever stands in an entry; tests/api/audit.test.mjs holds those of a
 * server against the published definition of FHIR R4. */
#include "fhir/audit_event.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
/* cmocka needs the four above first */
#include <cmocka.h>

#include "store/store_account.h"

#include <jansson.h>
#include <string.h>

enum { LIMIT = 1 << 20 };

static const char clinic[] = "01a22f18-2040-7120-8353-e810f8a4d322";
static const char *patients[] = {"01a22f18-2040-7120-8353-e810f8a4d323"};

static struct audit_row an_entry(void)
{
    return (struct audit_row){
        .lane = 3,
        .number = 1042,
        .at_us = INT64_C(1772440265250000),
        .actor_id = clinic,
        .actor_name = "quote\" and \\ backslash",
        .actor_kind = "person",
        .actor_roles = ROLE_CLINICIAN | ROLE_AUDITOR,
        .address = "2001:db8::1",
        .request_id = "request-1",
        .action = "read",
        .resource = "patients",
        .what = "GET /v1/patients/{id}",
        .object_type = "patients",
        .object_id = patients[0],
        .patient_ids = patients,
        .patient_count = 1,
        .status = 200,
        .outcome = "done",
        .reason = "",
        .detail = "",
        .hash = "00112233445566778899aabbccddeeff00112233445566778899aabbccddeeff",
    };
}

static json_t *event_of(struct arena *arena, const struct audit_row *row)
{
    struct text out;
    text_init(&out, arena, LIMIT);
    audit_event_append(&out, row, clinic);
    assert_false(out.overflowed);
    json_t *event = json_loads(out.data, JSON_REJECT_DUPLICATES, NULL);
    assert_non_null(event);
    return event;
}

static const char *string_at(json_t *value, const char *path)
{
    char names[128];
    char *rest = NULL;
    assert_true(strlen(path) < sizeof names);
    memcpy(names, path, strlen(path) + 1);
    for (char *name = strtok_r(names, "/", &rest); name != NULL;
         name = strtok_r(NULL, "/", &rest)) {
        value = json_is_array(value) ? json_array_get(value, (size_t)(name[0] - '0'))
                                     : json_object_get(value, name);
    }
    const char *text = json_string_value(value);
    return text != NULL ? text : "";
}

static void says_who_did_what(void **state)
{
    (void)state;
    struct arena *arena = arena_new();
    struct audit_row row = an_entry();
    json_t *event = event_of(arena, &row);
    assert_string_equal(string_at(event, "id"), "3-1042");
    assert_string_equal(string_at(event, "recorded"), "2026-03-02T08:31:05.25Z");
    assert_string_equal(string_at(event, "action"), "R");
    assert_string_equal(string_at(event, "outcome"), "0");
    assert_string_equal(string_at(event, "agent/0/name"), row.actor_name);
    assert_string_equal(string_at(event, "agent/0/role/0/text"), "clinician");
    assert_string_equal(string_at(event, "agent/0/role/1/text"), "auditor");
    assert_string_equal(string_at(event, "agent/0/network/address"), "2001:db8::1");
    assert_string_equal(string_at(event, "entity/0/what/reference"),
                        "Patient/01a22f18-2040-7120-8353-e810f8a4d323");
    assert_string_equal(string_at(event, "entity/1/what/identifier/value"), "request-1");
    json_decref(event);
    arena_free(arena);
}

static void leaves_out_what_is_not_known(void **state)
{
    (void)state;
    struct arena *arena = arena_new();
    struct audit_row row = an_entry();
    row.actor_id = NULL;
    row.actor_name = "";
    row.actor_kind = "nobody";
    row.actor_roles = 0;
    row.address = "";
    row.request_id = "";
    row.object_id = NULL;
    row.patient_count = 0;
    row.outcome = "refused";
    row.status = 401;
    json_t *event = event_of(arena, &row);
    json_t *agent = json_array_get(json_object_get(event, "agent"), 0);
    assert_int_equal(json_object_size(agent), 1);
    assert_true(json_is_true(json_object_get(agent, "requestor")));
    assert_null(json_object_get(event, "entity"));
    assert_string_equal(string_at(event, "outcome"), "4");
    json_decref(event);
    arena_free(arena);
}

static void marks_emergencies(void **state)
{
    (void)state;
    struct arena *arena = arena_new();
    struct audit_row row = an_entry();
    row.emergency = true;
    row.resource = "emergency_access";
    row.action = "create";
    row.reason = "a \"reason\"";
    json_t *event = event_of(arena, &row);
    assert_string_equal(string_at(event, "type/code"), "110113");
    assert_string_equal(string_at(event, "subtype/0/code"), "110127");
    assert_string_equal(string_at(event, "purposeOfEvent/0/coding/0/code"), "BTG");
    assert_string_equal(string_at(event, "purposeOfEvent/0/text"), "a \"reason\"");
    json_decref(event);
    arena_free(arena);
}

static void bundles_are_whole(void **state)
{
    (void)state;
    struct arena *arena = arena_new();
    const struct audit_row rows[] = {an_entry(), an_entry()};
    for (size_t count = 0; count <= 2; count++) {
        struct text out;
        text_init(&out, arena, LIMIT);
        audit_event_append_bundle(&out, rows, count, clinic, "/v1/audit", count == 2 ? "/n" : NULL);
        json_t *bundle = json_loads(out.data, JSON_REJECT_DUPLICATES, NULL);
        assert_non_null(bundle);
        assert_int_equal(json_array_size(json_object_get(bundle, "entry")), count);
        assert_int_equal(json_array_size(json_object_get(bundle, "link")), count == 2 ? 2 : 1);
        if (count > 0) {
            assert_string_equal(string_at(bundle, "entry/0/fullUrl"),
                                "urn:uuid:00112233-4455-8677-9899-aabbccddeeff");
        }
        json_decref(bundle);
    }
    arena_free(arena);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(says_who_did_what),
        cmocka_unit_test(leaves_out_what_is_not_known),
        cmocka_unit_test(marks_emergencies),
        cmocka_unit_test(bundles_are_whole),
    };
    return cmocka_run_group_tests_name("fhir: audit event", tests, NULL, NULL);
}
