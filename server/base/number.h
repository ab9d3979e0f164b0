/* Decimal text of doubles. */
#ifndef BASE_NUMBER_H
#define BASE_NUMBER_H

#include <stddef.h>

enum { NUMBER_TEXT_SIZE = 32 };

/* Writes the shortest decimal that reads back as `value` (NUL-terminated) and returns its length.
 * The text is a JSON number. Not for NaN or infinity. */
size_t number_format(char text[NUMBER_TEXT_SIZE], double value);

#endif
