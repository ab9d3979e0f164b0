/* Where a yes/no answer of the analysis changes, so that a test can say that it changes exactly
 * where a limit stands. */
#ifndef TESTS_SUPPORT_FLIP_H
#define TESTS_SUPPORT_FLIP_H

#include <stdbool.h>

/* The answer for a number. */
typedef bool flip_question(double number);

/* Bisects between two numbers that must be answered differently; to within 0.05 % of the way. */
double flip_between(flip_question *question, double from, double to);

#endif
