#include "documents.h"

#include "formats/limits.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <string.h>

#include <cmocka.h>

#define CODE_OF_64 "a234567890123456789012345678901234567890123456789012345678901234"

/* The default recording lasts 0.3 s; an event may stand up to 1 s after its end. */
static const struct fault_case event_faults[] = {
    {"no array", RECORDING_JSON_STORE, {.events = "{}"}, "/events", "Must be an array."},
    {"no object", RECORDING_JSON_STORE, {.events = "[1]"}, "/events/0", "Must be an object."},
    {"no time",
     RECORDING_JSON_STORE,
     {.events = "[{\"code\":\"cough\"}]"},
     "/events/0/at_s",
     "Required."},
    {"before the start",
     RECORDING_JSON_STORE,
     {.events = "[{\"at_s\":-0.001,\"code\":\"cough\"}]"},
     "/events/0/at_s",
     "Must be between 0 and 1.3."},
    {"after the end",
     RECORDING_JSON_STORE,
     {.events = "[{\"at_s\":0,\"code\":\"cough\"},{\"at_s\":1.31,\"code\":\"cough\"}]"},
     "/events/1/at_s",
     "Must be between 0 and 1.3."},
    {"no code", RECORDING_JSON_STORE, {.events = "[{\"at_s\":0}]"}, "/events/0/code", "Required."},
    {"code with capital",
     RECORDING_JSON_STORE,
     {.events = "[{\"at_s\":0,\"code\":\"Cough\"}]"},
     "/events/0/code",
     "a letter first"},
    {"code with blank",
     RECORDING_JSON_STORE,
     {.events = "[{\"at_s\":0,\"code\":\"big cough\"}]"},
     "/events/0/code",
     "a letter first"},
    {"code begins with a digit",
     RECORDING_JSON_STORE,
     {.events = "[{\"at_s\":0,\"code\":\"1st\"}]"},
     "/events/0/code",
     "a letter first"},
    {"code begins with an underscore",
     RECORDING_JSON_STORE,
     {.events = "[{\"at_s\":0,\"code\":\"_a\"}]"},
     "/events/0/code",
     "a letter first"},
    {"code of 65 bytes",
     RECORDING_JSON_STORE,
     {.events = "[{\"at_s\":0,\"code\":\"" CODE_OF_64 "5\"}]"},
     "/events/0/code",
     "Must be 1 to 64"},
    {"note no text",
     RECORDING_JSON_STORE,
     {.events = "[{\"at_s\":0,\"code\":\"cough\",\"note\":1}]"},
     "/events/0/note",
     "Must be a string."},
    {"value no number",
     RECORDING_JSON_STORE,
     {.events = "[{\"at_s\":0,\"code\":\"balloon\",\"value\":\"50\"}]"},
     "/events/0/value",
     "Must be a number."},
    {"unknown member",
     RECORDING_JSON_STORE,
     {.events = "[{\"at_s\":0,\"code\":\"cough\",\"by\":\"x\"}]"},
     "/events/0/by",
     "Unknown member."},
};

static void test_faults(void **state)
{
    (void)state;
    documents_check_faults(event_faults, sizeof event_faults / sizeof event_faults[0]);
}

static void test_note_at_its_limit(void **state)
{
    (void)state;
    struct arena *arena = arena_new();
    char *note = arena_alloc(arena, LIMIT_NOTE_BYTES + 2);
    memset(note, 'n', LIMIT_NOTE_BYTES);
    struct document_parts parts = {
        .events = arena_printf(arena, "[{\"at_s\":0,\"code\":\"comment\",\"note\":\"%s\"}]", note)};
    assert_string_equal(documents_read_sound(arena, &parts)->events[0].note, note);
    note[LIMIT_NOTE_BYTES] = 'n';
    const struct fault_case row = {
        "note too long",
        RECORDING_JSON_STORE,
        {.events =
             arena_printf(arena, "[{\"at_s\":0,\"code\":\"comment\",\"note\":\"%s\"}]", note)},
        "/events/0/note",
        "Must be at most 4000 bytes long; this is 4001."};
    documents_check_faults(&row, 1);
    arena_free(arena);
}

static void append_events(struct text *out, size_t count)
{
    text_append(out, "[");
    for (size_t i = 0; i < count; i++) {
        text_append(out, i == 0 ? "" : ",");
        text_printf(out, "{\"at_s\":%zu,\"code\":\"e%zu\"}", count - i > 2 ? (size_t)1 : (size_t)0,
                    i);
    }
    text_append(out, "]");
}

static void test_count(void **state)
{
    (void)state;
    struct arena *arena = arena_new();
    struct text events;
    text_init(&events, arena, 1000000);
    append_events(&events, LIMIT_EVENTS + 1);
    const struct fault_case row = {"10001 events",
                                   RECORDING_JSON_STORE,
                                   {.events = events.data},
                                   "/events",
                                   "At most 10000 events; these are 10001."};
    documents_check_faults(&row, 1);
    arena_free(arena);
}

/* All but the last two stand at one time: those two come first, the others keep their order. */
static void test_order_is_stable(void **state)
{
    (void)state;
    struct arena *arena = arena_new();
    struct text events;
    text_init(&events, arena, 1000000);
    append_events(&events, LIMIT_EVENTS);
    struct document_parts parts = {.events = events.data};
    const struct recording_document *document = documents_read_sound(arena, &parts);
    assert_int_equal(document->event_count, LIMIT_EVENTS);
    assert_string_equal(document->events[0].code, "e9998");
    assert_string_equal(document->events[1].code, "e9999");
    for (int i = 2; i < LIMIT_EVENTS; i++) {
        assert_string_equal(document->events[i].code, arena_printf(arena, "e%d", i - 2));
    }
    arena_free(arena);
}

static enum json_read_outcome read_list(struct arena *arena, const char *body,
                                        struct fault_list *faults, struct document_event **events,
                                        size_t *count)
{
    fault_list_init(faults, arena);
    return events_json_read(arena, body, strlen(body), 100.0, events, count, faults);
}

static void test_list_of_its_own(void **state)
{
    (void)state;
    struct arena *arena = arena_new();
    struct fault_list faults;
    struct document_event *events = NULL;
    size_t count = 7;
    assert_int_equal(read_list(arena, "{\"events\":[]}", &faults, &events, &count), JSON_READ_OK);
    assert_int_equal(count, 0);
    assert_int_equal(read_list(arena,
                               "{\"events\":[{\"at_s\":101,\"code\":\"balloon\",\"value\":50},"
                               "{\"at_s\":3,\"code\":\"" CODE_OF_64 "\"}]}",
                               &faults, &events, &count),
                     JSON_READ_OK);
    assert_int_equal(count, 2);
    assert_string_equal(events[0].code, CODE_OF_64);
    documents_assert_close(events[1].value.value, 50.0, 0.0);
    arena_free(arena);
}

static void test_list_refused(void **state)
{
    static const struct {
        const char *body;
        enum json_read_outcome outcome;
        const char *pointer;
    } rows[] = {
        {"{\"events\":[}", JSON_READ_MALFORMED, ""},
        {"[]", JSON_READ_INVALID, ""},
        {"{}", JSON_READ_INVALID, "/events"},
        {"{\"events\":null}", JSON_READ_INVALID, "/events"},
        {"{\"events\":[],\"revision\":1}", JSON_READ_INVALID, "/revision"},
        {"{\"events\":[{\"at_s\":101.1,\"code\":\"a\"}]}", JSON_READ_INVALID, "/events/0/at_s"},
    };

    (void)state;
    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
        struct arena *arena = arena_new();
        struct fault_list faults;
        struct document_event *events = NULL;
        size_t count = 7;
        assert_int_equal(read_list(arena, rows[i].body, &faults, &events, &count), rows[i].outcome);
        assert_int_equal(faults.count, 1);
        assert_string_equal(faults.items[0].pointer, rows[i].pointer);
        assert_null(events);
        assert_int_equal(count, 7);
        arena_free(arena);
    }
}

static void test_written_as_read(void **state)
{
    static const char body[] =
        "{\"events\":[{\"at_s\":0.25,\"code\":\"comment\",\"note\":\"\\\"a\\\"\\n<b>\"},"
        "{\"at_s\":2,\"code\":\"balloon\",\"value\":-0.5},{\"at_s\":61.5,\"code\":\"cough\"}]}";
    (void)state;
    struct arena *arena = arena_new();
    struct fault_list faults;
    struct document_event *events = NULL;
    size_t count = 0;
    assert_int_equal(read_list(arena, body, &faults, &events, &count), JSON_READ_OK);
    struct text out;
    text_init(&out, arena, 4096);
    text_append(&out, "{\"events\":");
    events_json_write(events, count, &out);
    text_append(&out, "}");
    assert_string_equal(out.data, body);
    arena_free(arena);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_faults),          cmocka_unit_test(test_note_at_its_limit),
        cmocka_unit_test(test_count),           cmocka_unit_test(test_order_is_stable),
        cmocka_unit_test(test_list_of_its_own), cmocka_unit_test(test_list_refused),
        cmocka_unit_test(test_written_as_read),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
