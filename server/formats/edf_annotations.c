#include "formats/edf_annotations.h"

#include "base/number.h"
#include "base/utf8.h"
#include "formats/edf_header.h"
#include "formats/event_text.h"
#include "formats/limits.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum { TEXT_END = 0x14, DURATION_FOLLOWS = 0x15, CODE_MAX = 64, VALUE_TEXT_MAX = 40 };

/* A note, and what may stand before it. */
enum { TEXT_MAX = LIMIT_NOTE_BYTES + CODE_MAX + VALUE_TEXT_MAX + 8 };

/* Seconds beyond this are no time of a recording; it keeps nanoseconds within int64_t. */
static const int64_t SECONDS_MAX = 1000000000;

/* ---- TALs ---- */

static bool is_digit(char character)
{
    return character >= '0' && character <= '9';
}

/* Reads "12.5" into nanoseconds; what is finer is dropped. */
static bool parse_seconds(const char *text, size_t length, int64_t *ret_ns)
{
    size_t at = 0;
    int64_t seconds = 0;
    for (; at < length && is_digit(text[at]) && seconds <= SECONDS_MAX; at++) {
        seconds = seconds * 10 + (text[at] - '0');
    }
    if (at == 0 || seconds > SECONDS_MAX) {
        return false;
    }
    int64_t ns = seconds * EDF_NS_PER_S;
    if (at < length && text[at] == '.') {
        at++;
        for (int64_t unit = EDF_NS_PER_S / 10; at < length && is_digit(text[at]); at++) {
            ns += unit * (text[at] - '0');
            unit /= 10;
        }
    }
    *ret_ns = ns;
    return at == length;
}

static bool parse_onset(const char *text, size_t length, int64_t *ret_ns)
{
    if (length < 2 || (text[0] != '+' && text[0] != '-') ||
        !parse_seconds(text + 1, length - 1, ret_ns)) {
        return false;
    }
    *ret_ns = text[0] == '-' ? -*ret_ns : *ret_ns;
    return true;
}

bool edf_tal_next(struct edf_tal_cursor *cursor, struct edf_tal *ret_tal, const char **ret_fault)
{
    *ret_fault = NULL;
    while (cursor->at < cursor->length && cursor->bytes[cursor->at] == 0) {
        cursor->at++;
    }
    if (cursor->at == cursor->length) {
        return false;
    }
    const char *start = (const char *)cursor->bytes + cursor->at;
    size_t left = cursor->length - cursor->at;
    size_t length = strnlen(start, left);
    cursor->at += length;
    const char *stamp_end = memchr(start, TEXT_END, length);
    if (length == left || stamp_end == NULL || start[length - 1] != TEXT_END) {
        *ret_fault = "An annotation list must end with the bytes 20 and 0.";
        return false;
    }
    size_t stamp = (size_t)(stamp_end - start);
    const char *duration = memchr(start, DURATION_FOLLOWS, stamp);
    size_t onset = duration == NULL ? stamp : (size_t)(duration - start);
    *ret_tal = (struct edf_tal){.texts = stamp_end + 1, .texts_length = length - stamp - 1};
    if (!parse_onset(start, onset, &ret_tal->onset_ns)) {
        *ret_fault = "An annotation's onset must be + or - and seconds, such as +61.5.";
        return false;
    }
    if (duration != NULL &&
        !parse_seconds(duration + 1, stamp - onset - 1, &ret_tal->duration_ns)) {
        *ret_fault = "An annotation's duration must be seconds without a sign, such as 2.5.";
        return false;
    }
    return true;
}

bool edf_tal_text(const struct edf_tal *tal, size_t *at, const char **ret_text, size_t *ret_length)
{
    if (*at >= tal->texts_length) {
        return false;
    }
    const char *text = tal->texts + *at;
    const char *end = memchr(text, TEXT_END, tal->texts_length - *at);
    *ret_text = text;
    *ret_length = end == NULL ? tal->texts_length - *at : (size_t)(end - text);
    *at += *ret_length + 1;
    return true;
}

/* ---- texts to events ---- */

/* The same characters that the recording document refuses: C0 but for LF and TAB, DEL, C1. */
static bool is_control(const char *text, size_t length)
{
    unsigned char byte = (unsigned char)text[0];
    unsigned char next = (unsigned char)(length > 1 ? text[1] : '\0');
    return (byte < 0x20 && byte != '\n' && byte != '\t') || byte == 0x7F ||
           (byte == 0xC2 && next >= 0x80 && next <= 0x9F);
}

/* A copy with line ends as the contract has them, LF; NULL for a character that no note may hold.
 */
static char *clean_text(struct arena *arena, const char *text, size_t length)
{
    char *clean = arena_alloc(arena, length + 1);
    size_t count = 0;
    for (size_t i = 0; i < length; i++) {
        unsigned char byte = (unsigned char)text[i];
        if (byte == '\r') {
            if (i + 1 == length || text[i + 1] != '\n') {
                clean[count++] = '\n';
            }
        } else if (is_control(text + i, length - i)) {
            return NULL;
        } else {
            clean[count++] = text[i];
        }
    }
    return clean;
}

static bool is_word_character(char character)
{
    return (character >= 'a' && character <= 'z') || is_digit(character) || character == '_';
}

/* Reads the code at the start of `text` into `code`; returns its length in the text, 0 if none. */
static size_t match_code(const char *text, char code[CODE_MAX + 1])
{
    bool is_own = text[0] == '#';
    const char *from = text + (is_own ? 1 : 0);
    size_t length = strcspn(from, ":[");
    while (length > 0 && from[length - 1] == ' ') {
        length--;
    }
    if (length == 0 || length > CODE_MAX) {
        return 0;
    }
    for (size_t i = 0; i < length; i++) {
        char character = from[i];
        if (!is_own && character >= 'A' && character <= 'Z') {
            character = (char)(character - 'A' + 'a');
        }
        code[i] = (char)(!is_own && character == ' ' ? '_' : character);
        if (!is_word_character(code[i])) {
            return 0;
        }
    }
    code[length] = '\0';
    bool is_known =
        is_own ? code[0] >= 'a' && code[0] <= 'z' : event_code_from_name(code) != EVENT_OTHER;
    return is_known ? length + (is_own ? 1 : 0) : 0;
}

/* Reads "[value]" at *at and moves on; false when what stands there is none. */
static bool match_value(const char **at, struct optional_number *ret_value)
{
    char number[VALUE_TEXT_MAX + 1] = "";
    size_t length = strcspn(*at + 1, "]");
    if ((*at)[1 + length] != ']' || length == 0 || length > VALUE_TEXT_MAX ||
        strspn(*at + 1, "+-.0123456789eE") != length) {
        return false;
    }
    memcpy(number, *at + 1, length);
    char *end = NULL;
    double value = strtod(number, &end);
    if (*end != '\0' || !(fabs(value) <= LIMIT_SAMPLE_MAGNITUDE)) {
        return false;
    }
    *ret_value = (struct optional_number){true, value};
    *at += length + 2;
    return true;
}

/* The event that `text` spells in one of the four forms; false for any other text. */
static bool match_event(struct arena *arena, const char *text, struct document_event *ret_event)
{
    char code[CODE_MAX + 1];
    size_t length = match_code(text, code);
    if (length == 0) {
        return false;
    }
    struct optional_number value = {false, 0.0};
    const char *at = text + length;
    at += strspn(at, " ");
    if (*at == '[' && !match_value(&at, &value)) {
        return false;
    }
    if (*at == ':') {
        at += at[1] == ' ' ? 2 : 1;
    } else if (*at != '\0') {
        return false;
    }
    ret_event->code = arena_strdup(arena, code);
    ret_event->note = at;
    ret_event->value = value;
    return true;
}

static void comment(const char *text, struct document_event *ret_event)
{
    ret_event->code = event_code_name(EVENT_COMMENT);
    ret_event->note = text;
    ret_event->value = (struct optional_number){false, 0.0};
}

/* "61.5": nanoseconds as seconds, without zeros at the end. */
static void append_seconds(struct text *out, int64_t ns)
{
    char number[NUMBER_TEXT_SIZE * 2];
    int written = snprintf(number, sizeof number, "%lld.%09lld", (long long)(ns / EDF_NS_PER_S),
                           (long long)(ns % EDF_NS_PER_S));
    size_t length = (size_t)written;
    while (number[length - 1] == '0') {
        length--;
    }
    length -= number[length - 1] == '.' ? 1 : 0;
    text_append_bytes(out, number, length);
}

static const char *note_with_duration(struct arena *arena, const char *note, int64_t duration_ns)
{
    struct text text;
    text_init(&text, arena, (size_t)2 * TEXT_MAX);
    text_append(&text, note);
    text_append(&text, note[0] == '\0' ? "lasted " : " (lasted ");
    append_seconds(&text, duration_ns);
    text_append(&text, note[0] == '\0' ? " s" : " s)");
    return text.data;
}

bool edf_event_from_text(struct arena *arena, const char *text, size_t length, int64_t duration_ns,
                         struct document_event *ret_event, const char **ret_fault)
{
    const char *clean = NULL;
    if (length > TEXT_MAX) {
        *ret_fault = "An annotation's text is too long.";
        return false;
    }
    if (!utf8_is_valid(text, length) || (clean = clean_text(arena, text, length)) == NULL) {
        *ret_fault = "An annotation's text must be UTF-8 without control characters.";
        return false;
    }
    if (!match_event(arena, clean, ret_event)) {
        comment(clean, ret_event);
    }
    if (duration_ns > 0) {
        ret_event->note = note_with_duration(arena, ret_event->note, duration_ns);
    }
    if (strlen(ret_event->note) > LIMIT_NOTE_BYTES) {
        *ret_fault = "An annotation's text is too long.";
        return false;
    }
    return true;
}

/* ---- events to texts ---- */

/* Whether the note alone reads back as this comment. */
static bool stands_alone(const struct document_event *event, struct arena *arena)
{
    struct document_event read;
    return event_code_from_name(event->code) == EVENT_COMMENT && !event->value.known &&
           event->note[0] != '\0' && !match_event(arena, event->note, &read);
}

void edf_event_append(struct text *out, const struct document_event *event)
{
    if (stands_alone(event, out->arena)) {
        text_append(out, event->note);
        return;
    }
    if (event_code_from_name(event->code) == EVENT_OTHER) {
        text_append_char(out, '#');
    }
    event_text_append(out, event);
    text_append(out, event->note);
}

void edf_onset_append(struct text *out, int64_t onset_ns)
{
    text_append_char(out, onset_ns < 0 ? '-' : '+');
    append_seconds(out, onset_ns < 0 ? -onset_ns : onset_ns);
}
