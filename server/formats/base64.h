/* Base 64 after RFC 4648, section 4, read strictly. */
#ifndef FORMATS_BASE64_H
#define FORMATS_BASE64_H

#include "base/compiler.h"

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

/* Number of bytes that `length` characters of base 64 stand for; of what is malformed, as many as
 * base64_decode() may write before it sees that. */
size_t base64_decoded_length(const char *text, size_t length);

/* Decodes the whole text into bytes[base64_decoded_length()].
 *
 * Strict: a multiple of four characters, padding only where it must be, bits that the padding
 * leaves over are zero, no line breaks. On false *ret_fault_at is the index of the first character
 * that does not fit (`length` when the text ends too early). */
MUST_CHECK bool base64_decode(const char *text, size_t length, uint8_t *bytes,
                              size_t *ret_fault_at);

#endif
