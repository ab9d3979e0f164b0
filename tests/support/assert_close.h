/* Comparison of doubles for cmocka, which has none of its own in this version. */
#ifndef TESTS_SUPPORT_ASSERT_CLOSE_H
#define TESTS_SUPPORT_ASSERT_CLOSE_H

#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
/* cmocka needs the four before it. */
#include <setjmp.h>

#include <cmocka.h>

/* Fails, and prints both numbers, unless |actual - expected| <= tolerance. A NaN always fails. */
#define assert_close(actual, expected, tolerance)                                                  \
    assert_close_at((actual), (expected), (tolerance), #actual, __FILE__, __LINE__)

void assert_close_at(double actual, double expected, double tolerance, const char *what,
                     const char *file, int line);

#endif
