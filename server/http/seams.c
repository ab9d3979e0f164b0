#include "http/seams.h"

#include <string.h>

static const char *end_of(const char *text)
{
    return text + strlen(text);
}

/* Two NULs stand where CRLF stood. */
static bool ends_line(const char *end)
{
    return end[0] == '\0' && end[1] == '\0';
}

bool seams_are_sound(const struct request_line *line, const struct header_table *headers)
{
    const char *end = end_of(line->version);
    if (end_of(line->method) + 1 != line->target ||
        line->target + line->target_length + 1 != line->version) {
        return false;
    }
    for (size_t i = 0; i < headers->count; i++) {
        const struct http_header *field = &headers->items[i];
        if (!ends_line(end) || end + 2 != field->name) {
            return false;
        }
        const char *value = end_of(field->name) + 1;
        value += strspn(value, " \t");
        if (value != field->value) {
            return false;
        }
        end = end_of(value);
    }
    return ends_line(end) && ends_line(end + 2); /* the empty line ends the section */
}
