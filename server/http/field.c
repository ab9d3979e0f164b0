#include "http/field.h"

#include <string.h>
#include <strings.h>

static bool is_space(char character)
{
    return character == ' ' || character == '\t';
}

static struct slice trim(const char *start, const char *end)
{
    while (start < end && is_space(*start)) {
        start++;
    }
    while (end > start && is_space(end[-1])) {
        end--;
    }
    return (struct slice){start, (size_t)(end - start)};
}

/* The first `stop` between `at` and `end` that is outside a quoted string, else `end`. */
static const char *find_unquoted(const char *at, const char *end, char stop)
{
    bool quoted = false;
    for (; at < end; at++) {
        if (*at == '"') {
            quoted = !quoted;
        } else if (quoted && *at == '\\' && at + 1 < end) {
            at++;
        } else if (!quoted && *at == stop) {
            return at;
        }
    }
    return end;
}

bool field_next_element(const char **cursor, struct field_element *ret_element)
{
    const char *at = *cursor;
    const char *end = at + strlen(at);
    while (at < end) {
        const char *stop = find_unquoted(at, end, ',');
        struct slice element = trim(at, stop);
        at = stop < end ? stop + 1 : end;
        *cursor = at;
        if (element.length == 0) {
            continue;
        }
        const char *element_end = element.start + element.length;
        const char *semicolon = find_unquoted(element.start, element_end, ';');
        ret_element->value = trim(element.start, semicolon);
        ret_element->parameters = trim(semicolon, element_end);
        return true;
    }
    return false;
}

bool field_parameter(struct slice parameters, const char *name, struct slice *ret_value)
{
    const char *at = parameters.start;
    const char *end = at + parameters.length;
    while (at < end) {
        const char *start = *at == ';' ? at + 1 : at;
        const char *stop = find_unquoted(start, end, ';');
        const char *equals = find_unquoted(start, stop, '=');
        at = stop;
        if (equals == stop || !slice_equals(trim(start, equals), name)) {
            continue;
        }
        struct slice value = trim(equals + 1, stop);
        if (value.length >= 2 && value.start[0] == '"' && value.start[value.length - 1] == '"') {
            value.start++;
            value.length -= 2;
        }
        *ret_value = value;
        return true;
    }
    return false;
}

/* RFC 9110 section 12.4.2: "0" or "1", and up to three decimals; never above 1. */
int field_quality(struct slice parameters)
{
    struct slice value;
    if (!field_parameter(parameters, "q", &value)) {
        return 1000;
    }
    if (value.length == 0 || value.length > 5 || (value.start[0] != '0' && value.start[0] != '1')) {
        return -1;
    }
    int thousandths = value.start[0] == '1' ? 1000 : 0;
    if (value.length > 1 && value.start[1] != '.') {
        return -1;
    }
    int unit = 100;
    for (size_t i = 2; i < value.length; i++) {
        char digit = value.start[i];
        if (digit < '0' || digit > '9') {
            return -1;
        }
        thousandths += (digit - '0') * unit;
        unit /= 10;
    }
    return thousandths <= 1000 ? thousandths : -1;
}

bool slice_equals(struct slice slice, const char *text)
{
    return strlen(text) == slice.length && strncasecmp(slice.start, text, slice.length) == 0;
}

bool slice_is_token(struct slice slice)
{
    for (size_t i = 0; i < slice.length; i++) {
        char character = slice.start[i];
        bool alphanumeric = (character >= '0' && character <= '9') ||
                            (character >= 'a' && character <= 'z') ||
                            (character >= 'A' && character <= 'Z');
        if (!alphanumeric && (character == '\0' || strchr("!#$%&'*+-.^_`|~", character) == NULL)) {
            return false;
        }
    }
    return slice.length > 0;
}
