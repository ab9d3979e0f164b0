/* Whether libmicrohttpd 0.9.75 took a header section apart where its lines end.
 *
 * The library splits the section in place: it writes NULs over colons, blanks of the request line
 * and line ends, and hands out pointers between them. It also takes a bare LF for the end of a
 * line, joins a folded line to the *name* of the field before, ends a value at a NUL, and ends the
 * section at a line that begins with a colon or a NUL. Where another reader on the way sees that
 * otherwise, a request can be smuggled (RFC 9112, sections 2.2, 5.2 and 11.2; RFC 9110,
 * section 5.5). Each of these leaves the pieces elsewhere than CRLF would, and that can be seen. A
 * later version of the library refuses all this by itself and needs no such look. */
#ifndef HTTP_SEAMS_H
#define HTTP_SEAMS_H

#include "http/headers.h"

#include <stdbool.h>
#include <stddef.h>

struct request_section {
    size_t length; /* of request line and fields, with the empty line that ends them */
    const char *method;
    const char *target;   /* as the library's callback for it got it */
    size_t target_length; /* at that time; the library shortens it later */
    const char *version;
};

/* All pointers are the library's own, and nothing has been taken out of the table. */
bool seams_are_sound(const struct request_section *section, const struct header_table *headers);

#endif
