/* Days and times without the C library's clock, locale or time zone. */
#ifndef DEMO_DATA_CALENDAR_H
#define DEMO_DATA_CALENDAR_H

#include <stdbool.h>
#include <stdint.h>

enum { CALENDAR_DATE_SIZE = 16, CALENDAR_TIME_SIZE = 32 };

struct calendar_date {
    int year;
    int month; /* 1 to 12 */
    int day;   /* 1 to 31 */
};

/* Reads "YYYY-MM-DD" strictly (years 1900 to 2199). False when it is not a day of the calendar. */
bool calendar_parse(const char *text, struct calendar_date *ret_date);

/* Days since 1970-01-01 in the Gregorian calendar, and back. */
int64_t calendar_days(struct calendar_date date);
struct calendar_date calendar_date_of(int64_t days);

/* The day itself, or the Friday before it if it falls on a weekend. */
int64_t calendar_working_day(int64_t days);

/* "YYYY-MM-DD". */
void calendar_format_date(int64_t days, char text[CALENDAR_DATE_SIZE]);

/* RFC 3339 with the invented clinic's offset: one hour from April to October, else zero. `minutes`
 * is the wall clock's time of day. *ret_unix_ms is the same moment in Unix milliseconds. */
void calendar_format_time(int64_t days, int minutes, char text[CALENDAR_TIME_SIZE],
                          int64_t *ret_unix_ms);

#endif
