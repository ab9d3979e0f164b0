/* The request target, from its raw form: path segments and query parameters, decoded. */
#ifndef HTTP_TARGET_H
#define HTTP_TARGET_H

#include "base/arena.h"

#include <stdbool.h>
#include <stddef.h>

enum { TARGET_SEGMENTS_MAX = 16, TARGET_QUERY_MAX = 32 };

struct query_parameter {
    const char *name;
    const char *value;
};

struct target {
    bool asterisk;         /* the target "*" of an OPTIONS request: no path */
    const char *authority; /* of the absolute form, else NULL */
    const char *raw_path;  /* still encoded, without query */
    const char *raw_query; /* still encoded, without "?"; "" when there is none */
    const char *path;      /* decoded */
    size_t segment_count;  /* TARGET_SEGMENTS_MAX + 1 when there are more: matches nothing */
    const char *segments[TARGET_SEGMENTS_MAX];
    size_t query_count;
    struct query_parameter query[TARGET_QUERY_MAX];
};

/* Reads an origin-form, absolute-form or asterisk-form target (RFC 9112 section 3.2). Decoding
 * gives UTF-8 without control characters, or the target is refused: *ret_problem then is a
 * sentence. All memory is on the arena. */
MUST_CHECK bool target_parse(struct arena *arena, const char *raw, struct target *ret_target,
                             const char **ret_problem);

#endif
