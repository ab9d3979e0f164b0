/* Makes documents, mostly sound and rich in awkward places, from any bytes: the choices are the
 * bytes'. Used by the unit tests and by the fuzzer. */
#ifndef TESTS_FORMATS_SCAN_TEXT_H
#define TESTS_FORMATS_SCAN_TEXT_H

#include <stddef.h>
#include <stdint.h>

enum { SCAN_TEXT_MAX = 16384 };

/* Writes a text into out[SCAN_TEXT_MAX] and gives its length. */
size_t scan_text_make(const uint8_t *bytes, size_t count, char *out);

#endif
