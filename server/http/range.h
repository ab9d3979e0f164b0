/* Parts of an answer: Range and If-Range (RFC 9110, sections 13.1.5 and 14). */
#ifndef HTTP_RANGE_H
#define HTTP_RANGE_H

#include "base/compiler.h"

#include <stdbool.h>
#include <stddef.h>

struct range {
    size_t first; /* offset of the first byte */
    size_t length;
};

enum range_kind {
    RANGE_WHOLE,        /* there is no range to heed: the whole is sent */
    RANGE_PART,         /* 206 */
    RANGE_UNSATISFIABLE /* 416 */
};

/* What a Range field (or NULL) asks of `whole` bytes; for RANGE_PART *ret_range is at least one
 * byte within them. Only a single range of bytes is heeded; several ranges, other units and what is
 * malformed are ignored, as section 14.2 allows or demands. */
MUST_CHECK enum range_kind range_parse(const char *field, size_t whole, struct range *ret_range);

/* Whether Range may be heeded: there is no If-Range, or it is exactly the answer's ETag (NULL:
 * none) and that is a strong one. A date never is: no answer has a Last-Modified to compare with.
 */
MUST_CHECK bool range_is_current(const char *if_range, const char *etag);

#endif
