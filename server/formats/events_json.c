#include "formats/document_parts.h"
#include "formats/limits.h"

#include <stdlib.h>
#include <string.h>

bool document_is_event_code(const char *code)
{
    size_t length = strspn(code, "abcdefghijklmnopqrstuvwxyz0123456789_");
    return code[0] >= 'a' && code[0] <= 'z' && length <= DOCUMENT_EVENT_CODE_MAX &&
           code[length] == '\0';
}

static void read_event(const json_t *value, const char *pointer, double latest_s,
                       struct arena *arena, struct fault_list *faults,
                       struct document_event *ret_event)
{
    struct json_reader reader;
    json_reader_open(&reader, value, pointer, faults);
    ret_event->at_s = json_reader_number(&reader, "at_s", JSON_REQUIRED, 0.0, latest_s).value;
    const char *code = json_reader_string(&reader, "code", JSON_REQUIRED, LIMIT_NAME_BYTES);
    if (code != NULL && !document_is_event_code(code)) {
        fault_add(faults, json_reader_pointer(&reader, "code"),
                  "Must be 1 to %d lower-case letters, digits and underscores, a letter first.",
                  DOCUMENT_EVENT_CODE_MAX);
    }
    ret_event->code = document_text(arena, code);
    ret_event->note =
        document_text(arena, json_reader_string(&reader, "note", JSON_OPTIONAL, LIMIT_NOTE_BYTES));
    ret_event->value = json_reader_number(&reader, "value", JSON_OPTIONAL, -LIMIT_SAMPLE_MAGNITUDE,
                                          LIMIT_SAMPLE_MAGNITUDE);
    json_reader_close(&reader);
}

struct place {
    double at_s;
    size_t index;
};

/* qsort() is not stable: equal times are told apart by where they stood. */
static int compare_places(const void *left, const void *right)
{
    const struct place *a = left;
    const struct place *b = right;
    if (a->at_s < b->at_s) {
        return -1;
    }
    if (a->at_s > b->at_s) {
        return 1;
    }
    return a->index < b->index ? -1 : a->index > b->index;
}

struct document_event *document_events_sort(struct arena *arena,
                                            const struct document_event *events, size_t count)
{
    struct place *places = arena_array(arena, count, sizeof *places);
    struct document_event *sorted = arena_array(arena, count, sizeof *sorted);
    for (size_t i = 0; i < count; i++) {
        places[i] = (struct place){.at_s = events[i].at_s, .index = i};
    }
    qsort(places, count, sizeof *places, compare_places);
    for (size_t i = 0; i < count; i++) {
        sorted[i] = events[places[i].index];
    }
    return sorted;
}

void document_events_read(struct json_reader *reader, struct arena *arena,
                          enum json_presence presence, double duration_s,
                          struct document_event **ret_events, size_t *ret_count)
{
    *ret_events = NULL;
    *ret_count = 0;
    const json_t *array = json_reader_take(reader, "events", presence);
    if (array == NULL) {
        return;
    }
    const char *pointer = json_reader_pointer(reader, "events");
    if (!json_is_array(array)) {
        fault_add(reader->faults, pointer, "Must be an array.");
        return;
    }
    size_t count = json_array_size(array);
    if (count > LIMIT_EVENTS) {
        fault_add(reader->faults, pointer, "At most %d events; these are %zu.", LIMIT_EVENTS,
                  count);
        return;
    }
    if (count == 0) {
        return;
    }
    struct document_event *events = arena_array(arena, count, sizeof *events);
    for (size_t i = 0; i < count; i++) {
        read_event(json_array_get(array, i), document_item_pointer(reader->faults, pointer, i),
                   duration_s + LIMIT_EVENT_SLACK_S, arena, reader->faults, &events[i]);
    }
    *ret_events = document_events_sort(arena, events, count);
    *ret_count = count;
}

enum json_read_outcome events_json_read(struct arena *arena, const char *body, size_t length,
                                        double duration_s, struct document_event **ret_events,
                                        size_t *ret_count, struct fault_list *faults)
{
    size_t faults_before = document_fault_total(faults);
    const json_t *value = json_reader_parse(arena, body, length, faults);
    if (value == NULL) {
        return JSON_READ_MALFORMED;
    }
    struct document_event *events = NULL;
    size_t count = 0;
    struct json_reader reader;
    json_reader_open(&reader, value, "", faults);
    document_events_read(&reader, arena, JSON_REQUIRED, duration_s, &events, &count);
    json_reader_close(&reader);
    if (document_fault_total(faults) > faults_before) {
        return JSON_READ_INVALID;
    }
    *ret_events = events;
    *ret_count = count;
    return JSON_READ_OK;
}

void events_json_write(const struct document_event *events, size_t count, struct text *out)
{
    text_append_char(out, '[');
    for (size_t i = 0; i < count; i++) {
        text_append(out, i == 0 ? "{\"at_s\":" : ",{\"at_s\":");
        text_append_number(out, events[i].at_s);
        text_append(out, ",\"code\":");
        text_append_json_string(out, events[i].code);
        if (events[i].note[0] != '\0') {
            text_append(out, ",\"note\":");
            text_append_json_string(out, events[i].note);
        }
        if (events[i].value.known) {
            text_append(out, ",\"value\":");
            text_append_number(out, events[i].value.value);
        }
        text_append_char(out, '}');
    }
    text_append_char(out, ']');
}
