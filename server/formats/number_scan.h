/* Reads one JSON number (RFC 8259, section 6) of a text into a sample builder. */
#ifndef FORMATS_NUMBER_SCAN_H
#define FORMATS_NUMBER_SCAN_H

#include "formats/sample_builder.h"

/* Reads the number at `text`, up to the first byte that cannot continue it: there must be such a
 * byte. Adds the double nearest to it to the builder (NULL: only checks it) and gives the place
 * after it.
 *
 * NULL, with nothing added, when this is no number, or one beyond LIMIT_SAMPLE_MAGNITUDE, or one of
 * more than 63 characters. As Jansson has it, -0 is an integer and so 0, but -0.0 is not. */
const char *number_scan(const char *text, struct sample_builder *builder);

#endif
