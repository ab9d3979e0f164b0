#include "base/text.h"

#include "base/number.h"

#include <stdarg.h>
#include <stdint.h>
#include <stdio.h>
#include <string.h>

enum { INITIAL_CAPACITY = 64 };

void text_init(struct text *text, struct arena *arena, size_t limit)
{
    size_t ceiling = limit < SIZE_MAX / 4 ? limit : SIZE_MAX / 4;
    text->arena = arena;
    text->limit = ceiling;
    text->length = 0;
    text->overflowed = false;
    text->capacity = ceiling < INITIAL_CAPACITY ? ceiling + 1 : INITIAL_CAPACITY;
    text->data = arena_alloc(arena, text->capacity);
}

/* Makes room for `extra` more bytes and the NUL; false when that would pass the limit. */
static bool reserve(struct text *text, size_t extra)
{
    if (extra > text->limit - text->length) {
        text->overflowed = true;
        return false;
    }
    size_t needed = text->length + extra + 1;
    if (needed <= text->capacity) {
        return true;
    }
    size_t capacity = text->capacity * 2;
    if (capacity < needed) {
        capacity = needed;
    }
    if (capacity > text->limit + 1) {
        capacity = text->limit + 1;
    }
    char *data = arena_alloc(text->arena, capacity);
    memcpy(data, text->data, text->length);
    text->data = data;
    text->capacity = capacity;
    return true;
}

void text_append_bytes(struct text *text, const void *bytes, size_t length)
{
    if (text->overflowed || length == 0 || !reserve(text, length)) {
        return;
    }
    memcpy(text->data + text->length, bytes, length);
    text->length += length;
    text->data[text->length] = '\0';
}

void text_append(struct text *text, const char *string)
{
    text_append_bytes(text, string, strlen(string));
}

void text_append_char(struct text *text, char character)
{
    text_append_bytes(text, &character, 1);
}

void text_printf(struct text *text, const char *format, ...)
{
    va_list arguments;
    va_start(arguments, format);
    int length = vsnprintf(NULL, 0, format, arguments);
    va_end(arguments);
    if (length < 0) {
        text->overflowed = true;
        return;
    }
    if (text->overflowed || !reserve(text, (size_t)length)) {
        return;
    }
    va_start(arguments, format);
    (void)vsnprintf(text->data + text->length, (size_t)length + 1, format, arguments);
    va_end(arguments);
    text->length += (size_t)length;
}

/* What a character must be written as inside a JSON string, or NULL when it stands for itself. */
static const char *json_escape(unsigned char character, char buffer[8])
{
    switch (character) {
    case '"':
        return "\\\"";
    case '\\':
        return "\\\\";
    case '\n':
        return "\\n";
    case '\r':
        return "\\r";
    case '\t':
        return "\\t";
    default:
        break;
    }
    if (character >= 0x20 && character != 0x7F) {
        return NULL;
    }
    (void)snprintf(buffer, 8, "\\u%04x", (unsigned)character);
    return buffer;
}

void text_append_json_string(struct text *text, const char *string)
{
    if (string == NULL) {
        text_append(text, "null");
        return;
    }
    text_append_char(text, '"');
    const char *plain = string;
    const char *at = string;
    for (; *at != '\0'; at++) {
        char buffer[8];
        const char *escape = json_escape((unsigned char)*at, buffer);
        if (escape != NULL) {
            text_append_bytes(text, plain, (size_t)(at - plain));
            text_append(text, escape);
            plain = at + 1;
        }
    }
    text_append_bytes(text, plain, (size_t)(at - plain));
    text_append_char(text, '"');
}

void text_append_number(struct text *text, double value)
{
    char digits[NUMBER_TEXT_SIZE];
    text_append_bytes(text, digits, number_format(digits, value));
}

static const char *html_escape(char character)
{
    switch (character) {
    case '&':
        return "&amp;";
    case '<':
        return "&lt;";
    case '>':
        return "&gt;";
    case '"':
        return "&quot;";
    case '\'':
        return "&#39;";
    default:
        return NULL;
    }
}

void text_append_html(struct text *text, const char *string)
{
    const char *plain = string;
    const char *at = string;
    for (; *at != '\0'; at++) {
        const char *escape = html_escape(*at);
        if (escape != NULL) {
            text_append_bytes(text, plain, (size_t)(at - plain));
            text_append(text, escape);
            plain = at + 1;
        }
    }
    text_append_bytes(text, plain, (size_t)(at - plain));
}
