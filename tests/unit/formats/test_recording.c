/* The recording document as a whole: what is read, what is refused, what the analysis sees. */
#include "documents.h"

#include "formats/limits.h"

#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <string.h>

#include <cmocka.h>

#define STARTED "\"started_at\":\"2026-03-02T09:31:05+01:00\""
#define KIND    "\"type\":\"pressure_flow\""

/* The document of the contract's page, with every member. */
static const char FULL_DOCUMENT[] =
    "{\"type\":\"cystometry\",\"started_at\":\"2026-03-02T09:31:05+01:00\","
    "\"patient\":{\"sex\":\"female\",\"age_years\":54,\"weight_kg\":68.5},"
    "\"conditions\":{\"position\":\"sitting\",\"post_void_residual_ml\":40,"
    "\"initial_residual_ml\":0,\"filling_rate_ml_min\":50,\"flow_delay_s\":0.6,"
    "\"puller_speed_mm_s\":1,\"reference_level\":\"symphysis pubis\",\"zeroed\":\"atmosphere\"},"
    "\"channels\":["
    "{\"signal\":\"pves\",\"unit\":\"cm[H2O]\",\"rate_hz\":10,\"start_s\":0,"
    "\"samples\":[12.0,12.1,null,-3]},"
    "{\"signal\":\"pabd\",\"unit\":\"kPa\",\"rate_hz\":2,\"start_s\":1.5,\"samples\":[1,null]}],"
    "\"events\":[{\"at_s\":2,\"code\":\"cough\",\"note\":\"twice\"},"
    "{\"at_s\":0.5,\"code\":\"first_sensation\",\"note\":\"\"},"
    "{\"at_s\":0.5,\"code\":\"clinic_own\",\"value\":7}]}";

static const struct recording_document *read_full(struct arena *arena)
{
    const struct recording_document *document = NULL;
    struct fault_list faults;
    assert_int_equal(
        documents_read(arena, FULL_DOCUMENT, RECORDING_JSON_ANALYSE, &document, &faults),
        JSON_READ_OK);
    assert_int_equal(faults.count, 0);
    return document;
}

static void test_every_member_is_read(void **state)
{
    (void)state;
    struct arena *arena = arena_new();
    const struct recording_document *document = read_full(arena);
    assert_null(document->id);
    assert_int_equal(document->type, RECORDING_CYSTOMETRY);
    assert_int_equal(document->started_at_us, INT64_C(1772440265000000));
    assert_true(document->has_patient);
    assert_int_equal(document->sex, SEX_FEMALE);
    documents_assert_close(document->age_years.value, 54.0, 0.0);
    documents_assert_close(document->weight_kg.value, 68.5, 0.0);
    assert_string_equal(document->conditions.position, "sitting");
    assert_string_equal(document->conditions.reference_level, "symphysis pubis");
    assert_string_equal(document->conditions.zeroed, "atmosphere");
    assert_int_equal(document->conditions.numbers.position, POSITION_SITTING);
    assert_int_equal(document->channel_count, 2);
    assert_int_equal(document->event_count, 3);
    documents_assert_close(recording_document_duration_s(document), 2.5, 0.0);
    arena_free(arena);
}

static void test_channel_is_read(void **state)
{
    (void)state;
    struct arena *arena = arena_new();
    const struct document_channel *pves = &read_full(arena)->channels[0];
    assert_int_equal(pves->signal, SIGNAL_PVES);
    assert_string_equal(pves->unit, "cm[H2O]");
    documents_assert_close(pves->to_canonical, 1.0, 0.0);
    documents_assert_close(pves->rate_hz, 10.0, 0.0);
    documents_assert_close(pves->start_s, 0.0, 0.0);
    assert_int_equal(pves->samples.count, 4);
    assert_int_equal(pves->samples.missing, 1);
    const double *values = samples_all_values(&pves->samples, arena);
    documents_assert_close(values[1], 12.1, 0.0);
    assert_true(isnan(values[2]));
    documents_assert_close(values[3], -3.0, 0.0);
    arena_free(arena);
}

/* Sorted by time; the two at 0.5 s keep their order. */
static void test_events_are_sorted(void **state)
{
    (void)state;
    struct arena *arena = arena_new();
    const struct document_event *events = read_full(arena)->events;
    assert_string_equal(events[0].code, "first_sensation");
    assert_string_equal(events[0].note, "");
    assert_false(events[0].value.known);
    assert_string_equal(events[1].code, "clinic_own");
    documents_assert_close(events[1].value.value, 7.0, 0.0);
    assert_string_equal(events[2].code, "cough");
    assert_string_equal(events[2].note, "twice");
    arena_free(arena);
}

/* 1 kPa = 1000 / 98.0665 cmH2O (conventional value, SI brochure). */
static void test_analysis_sees_canonical_units(void **state)
{
    (void)state;
    struct arena *arena = arena_new();
    const struct recording_document *document = read_full(arena);
    const struct recording *recording = recording_from_document(arena, document);
    assert_int_equal(recording->type, RECORDING_CYSTOMETRY);
    assert_int_equal(recording->sex, SEX_FEMALE);
    documents_assert_close(recording->age_years.value, 54.0, 0.0);
    documents_assert_close(recording->conditions.flow_delay_s.value, 0.6, 0.0);
    assert_int_equal(recording->channel_count, 2);
    assert_memory_equal(recording->channels[0].samples,
                        samples_all_values(&document->channels[0].samples, arena),
                        2 * sizeof(double));
    documents_assert_close(recording->channels[1].samples[0], 10.19716, 1e-5);
    assert_true(isnan(recording->channels[1].samples[1]));
    documents_assert_close(recording->channels[1].start_s, 1.5, 0.0);
    assert_int_equal(recording->event_count, 3);
    assert_int_equal(recording->events[0].code, EVENT_FIRST_SENSATION);
    assert_int_equal(recording->events[1].code, EVENT_OTHER);
    arena_free(arena);
}

static void test_least_document(void **state)
{
    (void)state;
    struct arena *arena = arena_new();
    static const char text[] =
        "{\"type\":\"uroflowmetry\"," STARTED
        ",\"channels\":[{\"signal\":\"flow\",\"unit\":\"mL/s\",\"rate_hz\":10,\"samples\":[1]}]}";
    const struct recording_document *document = NULL;
    struct fault_list faults;
    assert_int_equal(documents_read(arena, text, RECORDING_JSON_STORE, &document, &faults),
                     JSON_READ_OK);
    assert_false(document->has_patient);
    assert_int_equal(document->sex, SEX_UNKNOWN);
    assert_false(document->age_years.known);
    assert_string_equal(document->conditions.position, "");
    assert_string_equal(document->conditions.zeroed, "");
    assert_false(document->conditions.numbers.post_void_residual_ml.known);
    assert_int_equal(document->event_count, 0);
    documents_assert_close(document->channels[0].start_s, 0.0, 0.0);
    arena_free(arena);
}

static void test_id_of_a_stored_recording(void **state)
{
    (void)state;
    struct arena *arena = arena_new();
    struct document_parts parts = {.members = KIND
                                   "," STARTED ",\"id\":\"01981f5e-7a00-7abc-8def-0123456789ab\""};
    assert_string_equal(documents_read_sound(arena, &parts)->id,
                        "01981f5e-7a00-7abc-8def-0123456789ab");
    arena_free(arena);
}

static void test_sexes(void **state)
{
    static const struct {
        const char *patient;
        enum patient_sex sex;
    } rows[] = {
        {"{\"sex\":\"female\"}", SEX_FEMALE},
        {"{\"sex\":\"male\"}", SEX_MALE},
        {"{\"sex\":\"other\"}", SEX_OTHER},
        {"{\"sex\":\"unknown\"}", SEX_UNKNOWN},
        {"{}", SEX_UNKNOWN},
    };

    (void)state;
    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
        struct arena *arena = arena_new();
        struct document_parts parts = {
            .members = arena_printf(arena, KIND "," STARTED ",\"patient\":%s", rows[i].patient)};
        const struct recording_document *document = NULL;
        struct fault_list faults;
        assert_int_equal(documents_read(arena, documents_text(arena, &parts),
                                        RECORDING_JSON_ANALYSE, &document, &faults),
                         JSON_READ_OK);
        assert_int_equal(document->sex, rows[i].sex);
        arena_free(arena);
    }
}

static void test_pdet_beside_its_parts_is_sound(void **state)
{
    (void)state;
    struct arena *arena = arena_new();
    struct document_parts parts = {
        .channels = "[{\"signal\":\"pdet\",\"unit\":\"cm[H2O]\",\"rate_hz\":1,\"samples\":[1]},"
                    "{\"signal\":\"pves\",\"unit\":\"cm[H2O]\",\"rate_hz\":1,\"samples\":[1]},"
                    "{\"signal\":\"pabd\",\"unit\":\"mm[Hg]\",\"rate_hz\":1,\"samples\":[0]}]"};
    assert_int_equal(documents_read_sound(arena, &parts)->channel_count, 3);
    arena_free(arena);
}

static const struct fault_case member_faults[] = {
    {"no type", RECORDING_JSON_STORE, {.members = STARTED}, "/type", "Required."},
    {"unknown type",
     RECORDING_JSON_STORE,
     {.members = "\"type\":\"voiding\"," STARTED},
     "/type",
     "Must be one of: uroflowmetry, cystometry, pressure_flow,"},
    {"no start", RECORDING_JSON_STORE, {.members = KIND}, "/started_at", "Required."},
    {"start without offset",
     RECORDING_JSON_STORE,
     {.members = KIND ",\"started_at\":\"2026-03-02T09:31:05\""},
     "/started_at",
     "RFC 3339"},
    {"30 February",
     RECORDING_JSON_STORE,
     {.members = KIND ",\"started_at\":\"2026-02-30T09:31:05Z\""},
     "/started_at",
     "RFC 3339"},
    {"start as a number",
     RECORDING_JSON_STORE,
     {.members = KIND ",\"started_at\":1772440265"},
     "/started_at",
     "Must be a string."},
    {"just before 1990",
     RECORDING_JSON_STORE,
     {.members = KIND ",\"started_at\":\"1989-12-31T23:59:59.999Z\""},
     "/started_at",
     "1990 to 2100"},
    {"just after 2100",
     RECORDING_JSON_STORE,
     {.members = KIND ",\"started_at\":\"2101-01-01T00:00:00Z\""},
     "/started_at",
     "1990 to 2100"},
    {"id in capitals",
     RECORDING_JSON_STORE,
     {.members = KIND "," STARTED ",\"id\":\"01981F5E-7A00-7ABC-8DEF-0123456789AB\""},
     "/id",
     "UUID in lower case"},
    {"id of an analysis",
     RECORDING_JSON_ANALYSE,
     {.members = KIND "," STARTED ",\"id\":\"01981f5e-7a00-7abc-8def-0123456789ab\""},
     "/id",
     "Must be left out"},
    {"patient of a stored recording",
     RECORDING_JSON_STORE,
     {.members = KIND "," STARTED ",\"patient\":{\"sex\":\"male\"}"},
     "/patient",
     "the study knows its patient"},
    {"patient is no object",
     RECORDING_JSON_ANALYSE,
     {.members = KIND "," STARTED ",\"patient\":[]"},
     "/patient",
     "Must be an object."},
    {"sex",
     RECORDING_JSON_ANALYSE,
     {.members = KIND "," STARTED ",\"patient\":{\"sex\":\"f\"}"},
     "/patient/sex",
     "unknown, female, male, other"},
    {"age",
     RECORDING_JSON_ANALYSE,
     {.members = KIND "," STARTED ",\"patient\":{\"age_years\":130.1}"},
     "/patient/age_years",
     "Must be between 0 and 130."},
    {"weight",
     RECORDING_JSON_ANALYSE,
     {.members = KIND "," STARTED ",\"patient\":{\"weight_kg\":0.19}"},
     "/patient/weight_kg",
     "Must be between 0.2 and 400."},
    {"patient's name",
     RECORDING_JSON_ANALYSE,
     {.members = KIND "," STARTED ",\"patient\":{\"name\":\"x\"}"},
     "/patient/name",
     "Unknown member."},
    {"unknown member",
     RECORDING_JSON_STORE,
     {.members = KIND "," STARTED ",\"device\":1"},
     "/device",
     "Unknown member."},
};

static void test_faults_of_members(void **state)
{
    (void)state;
    documents_check_faults(member_faults, sizeof member_faults / sizeof member_faults[0]);
}

static void test_boundaries_are_inside(void **state)
{
    static const char *const members[] = {
        KIND ",\"started_at\":\"1990-01-01T00:00:00Z\"",
        KIND ",\"started_at\":\"2100-12-31T23:59:59Z\"",
        KIND ",\"started_at\":\"1989-12-31T23:30:00-01:00\"",
        KIND "," STARTED ",\"patient\":{\"age_years\":0,\"weight_kg\":0.2}",
        KIND "," STARTED ",\"patient\":{\"age_years\":130,\"weight_kg\":400,\"sex\":\"other\"}",
        KIND "," STARTED ",\"patient\":{},\"conditions\":{}",
        KIND "," STARTED ",\"patient\":null,\"conditions\":null,\"id\":null",
    };
    (void)state;
    for (size_t i = 0; i < sizeof members / sizeof members[0]; i++) {
        struct arena *arena = arena_new();
        struct document_parts parts = {.members = members[i]};
        const struct recording_document *document = NULL;
        struct fault_list faults;
        if (documents_read(arena, documents_text(arena, &parts), RECORDING_JSON_ANALYSE, &document,
                           &faults) != JSON_READ_OK) {
            fail_msg("row %zu: %s: %s", i, faults.items[0].pointer, faults.items[0].detail);
        }
        arena_free(arena);
    }
}

static void test_every_fault_is_named(void **state)
{
    static const char text[] =
        "{\"type\":\"x\",\"started_at\":\"yesterday\",\"id\":\"7\",\"patient\":{},\"extra\":1,"
        "\"conditions\":{\"position\":5,\"flow_delay_s\":9},"
        "\"channels\":[{\"signal\":\"pves\",\"unit\":\"mL\",\"rate_hz\":0,\"start_s\":-1,"
        "\"samples\":[1,\"2\",true,null]},"
        "{\"signal\":\"pves\",\"unit\":\"kPa\",\"rate_hz\":1,\"samples\":[],\"scale\":2},7],"
        "\"events\":[{\"at_s\":-1,\"code\":\"Cough\",\"note\":3}]}";
    static const char *const pointers[] = {
        "/type",
        "/started_at",
        "/id",
        "/patient",
        "/conditions/position",
        "/conditions/flow_delay_s",
        "/channels/0/unit",
        "/channels/0/rate_hz",
        "/channels/0/start_s",
        "/channels/0/samples/1",
        "/channels/0/samples/2",
        "/channels/1/samples",
        "/channels/1/scale",
        "/channels/2",
        "/channels/1/signal",
        "/events/0/at_s",
        "/events/0/code",
        "/events/0/note",
        "/extra",
    };

    enum { POINTER_COUNT = sizeof pointers / sizeof pointers[0] };

    (void)state;
    struct arena *arena = arena_new();
    const struct recording_document *document = NULL;
    struct fault_list faults;
    assert_int_equal(documents_read(arena, text, RECORDING_JSON_STORE, &document, &faults),
                     JSON_READ_INVALID);
    assert_null(document);
    assert_int_equal(faults.count, POINTER_COUNT);
    for (size_t i = 0; i < POINTER_COUNT; i++) {
        assert_string_equal(faults.items[i].pointer, pointers[i]);
    }
    arena_free(arena);
}

static void test_text_that_is_no_document(void **state)
{
    static const struct {
        const char *text;
        enum json_read_outcome outcome;
    } rows[] = {
        {"", JSON_READ_MALFORMED},
        {"{\"type\":NaN}", JSON_READ_MALFORMED},
        {"{\"channels\":[{\"samples\":[1e999]}]}", JSON_READ_MALFORMED},
        {"{\"type\":\"cystometry\",\"type\":\"cystometry\"}", JSON_READ_MALFORMED},
        {"{\"type\":\"\xff\"}", JSON_READ_MALFORMED},
        {"[]", JSON_READ_INVALID},
        {"null", JSON_READ_INVALID},
        {"17", JSON_READ_INVALID},
        {"{}", JSON_READ_INVALID},
    };

    (void)state;
    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
        struct arena *arena = arena_new();
        const struct recording_document *document = NULL;
        struct fault_list faults;
        assert_int_equal(
            documents_read(arena, rows[i].text, RECORDING_JSON_STORE, &document, &faults),
            rows[i].outcome);
        assert_true(faults.count > 0);
        assert_null(document);
        arena_free(arena);
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_every_member_is_read),
        cmocka_unit_test(test_channel_is_read),
        cmocka_unit_test(test_events_are_sorted),
        cmocka_unit_test(test_analysis_sees_canonical_units),
        cmocka_unit_test(test_least_document),
        cmocka_unit_test(test_id_of_a_stored_recording),
        cmocka_unit_test(test_sexes),
        cmocka_unit_test(test_pdet_beside_its_parts_is_sound),
        cmocka_unit_test(test_faults_of_members),
        cmocka_unit_test(test_boundaries_are_inside),
        cmocka_unit_test(test_every_fault_is_named),
        cmocka_unit_test(test_text_that_is_no_document),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
