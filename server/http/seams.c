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

bool seams_are_sound(const struct request_section *section, const struct header_table *headers)
{
    const char *end = end_of(section->version);
    if (end_of(section->method) + 1 != section->target ||
        section->target + section->target_length + 1 != section->version) {
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
    return ends_line(end) && end + 4 == section->method + section->length; /* an empty line more */
}
