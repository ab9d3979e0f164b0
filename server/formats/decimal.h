/* Decimal text to doubles: the same doubles as strtod(), several times faster for the usual short
 * ones, and nothing that strtod() takes beyond decimals (no inf, nan, hexadecimal, blanks). */
#ifndef FORMATS_DECIMAL_H
#define FORMATS_DECIMAL_H

#include "base/compiler.h"

#include <stdbool.h>
#include <stddef.h>

enum { DECIMAL_TEXT_MAX = 100 };

/* Reads the whole of `text` as [+-] digits [mark digits] [e [+-] digits], with a digit on at least
 * one side of the mark; `mark` is '.' or ','. False when it is anything else or longer than
 * DECIMAL_TEXT_MAX. A number beyond the range of a double is infinite. *ret_decimals is the decimal
 * place of the last digit written: 2 for 0.10 and 1e-2, 0 for 12 and 3e4. */
MUST_CHECK bool decimal_parse(const char *text, size_t length, char mark, double *ret_value,
                              int *ret_decimals);

#endif
