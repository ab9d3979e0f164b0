/* Growing text (or bytes) on an arena, with a ceiling. */
#ifndef BASE_TEXT_H
#define BASE_TEXT_H

#include "base/arena.h"

#include <stdbool.h>
#include <stddef.h>

struct text {
    char *data; /* NUL-terminated, never NULL */
    size_t length;
    size_t capacity;
    size_t limit;
    bool overflowed; /* an append did not fit: the content is incomplete and must not be used */
    struct arena *arena;
};

/* An empty text that may grow to `limit` bytes; its memory goes with the arena. */
void text_init(struct text *text, struct arena *arena, size_t limit);

void text_append(struct text *text, const char *string);
void text_append_bytes(struct text *text, const void *bytes, size_t length);
void text_append_char(struct text *text, char character);
void text_printf(struct text *text, const char *format, ...) PRINTF_LIKE(2, 3);

/* Appends a JSON string literal with its quotes; `string` must be valid UTF-8. NULL gives null. */
void text_append_json_string(struct text *text, const char *string);

/* Appends the shortest decimal that reads back as the same double; not for NaN or infinity. */
void text_append_number(struct text *text, double value);

/* Appends `string` with & < > " ' escaped for HTML content and attribute values. */
void text_append_html(struct text *text, const char *string);

#endif
