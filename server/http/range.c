#include "http/range.h"

#include "http/field.h"

#include <stdint.h>
#include <string.h>

/* Reads digits from *cursor on, and stops at the greatest size, which is beyond any answer's end.
 * False when there is no digit. */
static bool read_number(const char **cursor, const char *end, size_t *ret_number)
{
    const char *at = *cursor;
    size_t number = 0;
    for (; at < end && *at >= '0' && *at <= '9'; at++) {
        size_t digit = (size_t)(*at - '0');
        number = number > (SIZE_MAX - digit) / 10 ? SIZE_MAX : number * 10 + digit;
    }
    bool found = at > *cursor;
    *cursor = at;
    *ret_number = number;
    return found;
}

static enum range_kind last_bytes(size_t count, size_t whole, struct range *ret_range)
{
    if (count == 0) {
        return RANGE_UNSATISFIABLE;
    }
    if (whole == 0) {
        return RANGE_WHOLE; /* satisfiable, but Content-Range has no form for no bytes */
    }
    ret_range->length = count < whole ? count : whole;
    ret_range->first = whole - ret_range->length;
    return RANGE_PART;
}

/* "first-last", "first-" or "-count" (section 14.1.2). */
static enum range_kind parse_one(struct slice text, size_t whole, struct range *ret_range)
{
    const char *at = text.start;
    const char *end = at + text.length;
    size_t first = 0;
    size_t last = SIZE_MAX;
    bool has_first = read_number(&at, end, &first);
    if (at == end || *at != '-') {
        return RANGE_WHOLE;
    }
    at++;
    bool has_last = read_number(&at, end, &last);
    if (at != end || (!has_first && !has_last) || (has_first && has_last && last < first)) {
        return RANGE_WHOLE;
    }
    if (!has_first) {
        return last_bytes(last, whole, ret_range);
    }
    if (first >= whole) {
        return RANGE_UNSATISFIABLE;
    }
    size_t last_there = has_last && last < whole ? last : whole - 1;
    *ret_range = (struct range){first, last_there - first + 1};
    return RANGE_PART;
}

enum range_kind range_parse(const char *field, size_t whole, struct range *ret_range)
{
    static const char unit[] = "bytes";
    const char *equals = field == NULL ? NULL : strchr(field, '=');
    if (equals == NULL || !slice_equals((struct slice){field, (size_t)(equals - field)}, unit)) {
        return RANGE_WHOLE;
    }
    const char *cursor = equals + 1;
    struct field_element element;
    struct field_element another;
    if (!field_next_element(&cursor, &element) || element.parameters.length > 0 ||
        field_next_element(&cursor, &another)) {
        return RANGE_WHOLE;
    }
    return parse_one(element.value, whole, ret_range);
}

bool range_is_current(const char *if_range, const char *etag)
{
    if (if_range == NULL) {
        return true;
    }
    return etag != NULL && etag[0] == '"' && strcmp(if_range, etag) == 0;
}
