/* Well-formed UTF-8 (RFC 3629): no overlong forms, no surrogates, nothing beyond U+10FFFF. */
#ifndef BASE_UTF8_H
#define BASE_UTF8_H

#include <stdbool.h>
#include <stddef.h>

/* Length of the well-formed sequence at the start of `bytes`, or 0 when there is none. */
size_t utf8_sequence(const char *bytes, size_t length);

/* Whether all of `bytes` is well-formed. */
bool utf8_is_valid(const char *bytes, size_t length);

/* Characters (code points) of well-formed text. */
size_t utf8_length(const char *text);

#endif
