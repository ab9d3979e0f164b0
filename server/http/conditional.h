/* Entity tags in If-Match and If-None-Match (RFC 9110 section 13.1).
 *
 * An ETag here names the revision of a resource, not the bytes of one answer: it is the same
 * whether the answer is JSON or HTML, compressed or not (Vary tells caches apart). So what a client
 * got in a compressed answer can be used for a change. */
#ifndef HTTP_CONDITIONAL_H
#define HTTP_CONDITIONAL_H

#include <stdbool.h>

/* Whether the list in `field` names `etag`, or is "*". Strong comparison: a weak tag equals
 * nothing; weak comparison looks at the quoted part only. What is malformed names nothing. */
bool conditional_matches(const char *field, const char *etag, bool weak);

#endif
