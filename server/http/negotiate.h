/* Choosing what both sides understand (RFC 9110 section 12), and reading media types. */
#ifndef HTTP_NEGOTIATE_H
#define HTTP_NEGOTIATE_H

#include "base/arena.h"
#include "http/encoding.h"

#include <stdbool.h>

/* The best of `produces` (NULL-terminated, preferred first) for an Accept field; the most specific
 * range that matches a type decides on it. NULL when none is acceptable. Without a field (NULL), or
 * when nothing in it can be understood, the first. */
const char *negotiate_media_type(const char *accept, const char *const produces[]);

/* The coding to answer in for an Accept-Encoding field: zstd before gzip at equal weight, identity
 * without a field. Identity is never refused: an answer is worth more than its size. */
enum coding negotiate_coding(const char *accept_encoding);

/* Reads a Content-Type: the lower-case type without parameters on the arena, or NULL when malformed
 * or in a charset other than UTF-8 (US-ASCII is a part of it). */
const char *negotiate_content_type(struct arena *arena, const char *field);

#endif
