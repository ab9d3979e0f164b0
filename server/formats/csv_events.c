#include "formats/csv_parts.h"
#include "formats/decimal.h"
#include "formats/document_parts.h"
#include "formats/json_reader.h"

#include <math.h>
#include <string.h>

struct event_reader {
    const struct csv_place *place;
    struct fault_list *faults;
};

static void event_fault(const struct event_reader *reader, const char *detail)
{
    fault_add(reader->faults, csv_row_pointer(reader->faults, reader->place->row, "events"),
              "Line %zu: %s", reader->place->line, detail);
}

static size_t count_spaces(const char *text, size_t length)
{
    size_t count = 0;
    while (count < length && text[count] == ' ') {
        count++;
    }
    return count;
}

/* Takes "[number]" and the spaces behind it, when there is a bracket. */
static bool take_value(const struct event_reader *reader, struct csv_cell *rest,
                       struct optional_number *ret_value)
{
    *ret_value = (struct optional_number){.known = false};
    if (rest->length == 0 || rest->text[0] != '[') {
        return true;
    }
    const char *end = memchr(rest->text, ']', rest->length);
    if (end == NULL) {
        return false;
    }
    int decimals = 0;
    size_t length = (size_t)(end - rest->text) - 1;
    if (!decimal_parse(rest->text + 1, length, reader->place->mark, &ret_value->value, &decimals) ||
        !(fabs(ret_value->value) <= LIMIT_SAMPLE_MAGNITUDE)) {
        fault_add(reader->faults, csv_row_pointer(reader->faults, reader->place->row, "events"),
                  "Line %zu: the value in brackets must be a number between %.15g and %.15g.",
                  reader->place->line, -LIMIT_SAMPLE_MAGNITUDE, LIMIT_SAMPLE_MAGNITUDE);
    }
    ret_value->known = true;
    rest->text += length + 2;
    rest->length -= length + 2;
    size_t spaces = count_spaces(rest->text, rest->length);
    rest->text += spaces;
    rest->length -= spaces;
    return true;
}

static bool is_escape(struct csv_cell text, size_t at)
{
    return text.text[at] == '\\' && at + 1 < text.length &&
           (text.text[at + 1] == '\\' || text.text[at + 1] == '|');
}

/* ": note", or nothing. */
static bool take_note(const struct event_reader *reader, struct csv_cell rest,
                      const char **ret_note)
{
    *ret_note = "";
    if (rest.length == 0) {
        return true;
    }
    if (rest.text[0] != ':') {
        return false;
    }
    size_t skipped = rest.length > 1 && rest.text[1] == ' ' ? 2 : 1;
    struct csv_cell from = {.text = rest.text + skipped, .length = rest.length - skipped};
    char *note = arena_alloc(reader->faults->arena, from.length + 1);
    size_t length = 0;
    for (size_t i = 0; i < from.length; i++) {
        i += is_escape(from, i) ? 1 : 0;
        note[length++] = from.text[i];
    }
    if (length > LIMIT_NOTE_BYTES) {
        fault_add(reader->faults, csv_row_pointer(reader->faults, reader->place->row, "events"),
                  "Line %zu: a note must be at most %d bytes long; this is %zu.",
                  reader->place->line, LIMIT_NOTE_BYTES, length);
    } else if (json_reader_has_control_character(note)) {
        event_fault(reader, "a note must not hold control characters.");
    }
    *ret_note = note;
    return true;
}

static void read_event(const struct event_reader *reader, struct csv_cell text,
                       struct document_event *ret_event)
{
    size_t spaces = count_spaces(text.text, text.length);
    text.text += spaces;
    text.length -= spaces;
    size_t length = 0;
    while (length < text.length && strchr(" [:", text.text[length]) == NULL) {
        length++;
    }
    *ret_event = (struct document_event){.at_s = reader->place->at_s, .note = ""};
    ret_event->code = arena_strndup(reader->faults->arena, text.text, length);
    length += count_spaces(text.text + length, text.length - length);
    struct csv_cell rest = {.text = text.text + length, .length = text.length - length};
    if (!document_is_event_code(ret_event->code)) {
        fault_add(reader->faults, csv_row_pointer(reader->faults, reader->place->row, "events"),
                  "Line %zu: an event code must be 1 to %d lower-case letters, digits and "
                  "underscores, a letter first.",
                  reader->place->line, DOCUMENT_EVENT_CODE_MAX);
    } else if (!take_value(reader, &rest, &ret_event->value) ||
               !take_note(reader, rest, &ret_event->note)) {
        event_fault(reader, "an event must be a code, \"code [value]\", \"code: note\" or "
                            "\"code [value]: note\".");
    }
}

/* Room for one more event. */
static void grow(struct csv_events *events, struct arena *arena)
{
    if (events->count < events->capacity) {
        return;
    }
    size_t capacity = events->capacity == 0 ? 64 : 2 * events->capacity;
    struct document_event *items = arena_array(arena, capacity, sizeof *items);
    size_t *rows = arena_array(arena, capacity, sizeof *rows);
    if (events->count > 0) {
        memcpy(items, events->items, events->count * sizeof *items);
        memcpy(rows, events->rows, events->count * sizeof *rows);
    }
    events->items = items;
    events->rows = rows;
    events->capacity = capacity;
}

static void add_event(struct csv_events *events, struct csv_cell text,
                      const struct event_reader *reader)
{
    if (events->count == LIMIT_EVENTS) {
        fault_add(reader->faults, csv_row_pointer(reader->faults, reader->place->row, "events"),
                  "Line %zu: at most %d events.", reader->place->line, LIMIT_EVENTS);
        return;
    }
    grow(events, reader->faults->arena);
    events->rows[events->count] = reader->place->row;
    read_event(reader, text, &events->items[events->count++]);
}

void csv_events_read(struct csv_events *events, struct csv_cell cell, const struct csv_place *place,
                     struct fault_list *faults)
{
    const struct event_reader reader = {.place = place, .faults = faults};
    size_t from = 0;
    for (size_t i = 0; i < cell.length; i++) {
        if (is_escape(cell, i)) {
            i++;
        } else if (cell.text[i] == '|') {
            size_t end = i > from && cell.text[i - 1] == ' ' ? i - 1 : i;
            add_event(events, (struct csv_cell){.text = cell.text + from, .length = end - from},
                      &reader);
            from = i + 1 < cell.length && cell.text[i + 1] == ' ' ? i + 2 : i + 1;
        }
    }
    add_event(events, (struct csv_cell){.text = cell.text + from, .length = cell.length - from},
              &reader);
}
