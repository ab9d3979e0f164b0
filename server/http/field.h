/* The grammar that many header fields share (RFC 9110 section 5.6): lists, parameters, qualities.
 */
#ifndef HTTP_FIELD_H
#define HTTP_FIELD_H

#include <stdbool.h>
#include <stddef.h>

struct slice {
    const char *start;
    size_t length;
};

/* "gzip;q=0.5" has the value "gzip" and the parameters ";q=0.5". */
struct field_element {
    struct slice value;
    struct slice parameters;
};

/* The next element of a comma-separated list, whitespace trimmed, empty ones skipped, commas within
 * quoted strings respected. Moves *cursor on; false at the end. */
bool field_next_element(const char **cursor, struct field_element *ret_element);

/* A parameter's value without quotes, by case-insensitive name; false when it is not there. */
bool field_parameter(struct slice parameters, const char *name, struct slice *ret_value);

/* The weight of an element in thousandths: 1000 without "q", -1 when malformed. */
int field_quality(struct slice parameters);

/* ASCII comparison without regard to case. */
bool slice_equals(struct slice slice, const char *text);

/* Whether all characters may stand in a token, and there is one. */
bool slice_is_token(struct slice slice);

#endif
