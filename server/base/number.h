/* Decimal text of doubles, and division of whole numbers. */
#ifndef BASE_NUMBER_H
#define BASE_NUMBER_H

#include "base/compiler.h"

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

enum { NUMBER_TEXT_SIZE = 32 };

/* Writes the shortest decimal that reads back as `value` (NUL-terminated) and returns its length.
 * The text is a JSON number. Not for NaN or infinity. */
size_t number_format(char text[NUMBER_TEXT_SIZE], double value);

/* The double nearest to digits * 10^power where one multiplication or division gives it; false
 * where it would not, and strtod() has to. */
MUST_CHECK bool number_from_digits(uint64_t digits, int power, double *ret_value);

/* number / divisor, rounded up; the divisor is not 0. */
size_t number_divide_up(size_t number, size_t divisor);

#endif
