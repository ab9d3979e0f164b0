/* The only clock, and the only text form of time: RFC 3339. */
#ifndef BASE_CLOCK_H
#define BASE_CLOCK_H

#include "base/compiler.h"

#include <stdbool.h>
#include <stdint.h>
#include <time.h>

enum { CLOCK_TEXT_SIZE = 40, CLOCK_DATE_SIZE = 11 };

/* Microseconds since 1970-01-01T00:00:00Z. */
int64_t clock_now_us(void);

/* Monotonic seconds, for measuring how long something takes. */
double clock_monotonic_s(void);

/* A time that clock_monotonic_s() tells (finite, not negative), for waits on CLOCK_MONOTONIC. */
struct timespec clock_monotonic_time(double at_s);

/* Parses an RFC 3339 date-time; the offset is required. False when malformed or not a real date. */
MUST_CHECK bool clock_parse(const char *text, int64_t *ret_us);

/* Writes "2026-03-02T08:31:05.25Z": UTC, fraction only as long as needed. */
void clock_format(int64_t time_us, char text[CLOCK_TEXT_SIZE]);

/* Whether `text` is a real calendar date YYYY-MM-DD. There is no year 0. */
bool clock_is_date(const char *text);

/* Years from a birth date YYYY-MM-DD to the UTC day of `time_us`, with the fraction of the running
 * year; negative before birth. NaN when `birth_date` is not a date (see clock_is_date). */
double clock_years_between(const char *birth_date, int64_t time_us);

#endif
