#include "calendar.h"

#include <inttypes.h>
#include <stdio.h>
#include <string.h>

static int days_in_month(int year, int month)
{
    static const int lengths[] = {31, 28, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31};
    bool leap = (year % 4 == 0 && year % 100 != 0) || year % 400 == 0;
    return month == 2 && leap ? 29 : lengths[month - 1];
}

static bool read_digits(const char *text, int count, int *ret_number)
{
    int number = 0;
    for (int i = 0; i < count; i++) {
        if (text[i] < '0' || text[i] > '9') {
            return false;
        }
        number = number * 10 + (text[i] - '0');
    }
    *ret_number = number;
    return true;
}

bool calendar_parse(const char *text, struct calendar_date *ret_date)
{
    struct calendar_date date;
    if (strlen(text) != 10 || text[4] != '-' || text[7] != '-' ||
        !read_digits(text, 4, &date.year) || !read_digits(text + 5, 2, &date.month) ||
        !read_digits(text + 8, 2, &date.day)) {
        return false;
    }
    if (date.year < 1900 || date.year > 2199 || date.month < 1 || date.month > 12 || date.day < 1 ||
        date.day > days_in_month(date.year, date.month)) {
        return false;
    }
    *ret_date = date;
    return true;
}

/* Years begin in March here, so that the leap day comes last. */
int64_t calendar_days(struct calendar_date date)
{
    int64_t year = date.month > 2 ? date.year : date.year - 1;
    int64_t month = date.month > 2 ? date.month - 3 : date.month + 9;
    int64_t day_of_year = (153 * month + 2) / 5 + date.day - 1;
    return year * 365 + year / 4 - year / 100 + year / 400 + day_of_year - 719468;
}

struct calendar_date calendar_date_of(int64_t days)
{
    int earliest = 1970 + (int)(days >= 0 ? days / 366 : days / 365 - 1);
    struct calendar_date date = {earliest, 1, 1};
    while (calendar_days((struct calendar_date){date.year + 1, 1, 1}) <= days) {
        date.year++;
    }
    while (days - calendar_days(date) >= days_in_month(date.year, date.month)) {
        date.month++;
    }
    date.day += (int)(days - calendar_days(date));
    return date;
}

int64_t calendar_working_day(int64_t days)
{
    int64_t weekday = ((days + 3) % 7 + 7) % 7; /* Monday is 0: 1970-01-01 was a Thursday */
    return weekday > 4 ? days - (weekday - 4) : days;
}

void calendar_format_date(int64_t days, char text[CALENDAR_DATE_SIZE])
{
    struct calendar_date date = calendar_date_of(days);
    (void)snprintf(text, CALENDAR_DATE_SIZE, "%04u-%02u-%02u", (unsigned)date.year % 10000U,
                   (unsigned)date.month % 100U, (unsigned)date.day % 100U);
}

void calendar_format_time(int64_t days, int minutes, char text[CALENDAR_TIME_SIZE],
                          int64_t *ret_unix_ms)
{
    char day[CALENDAR_DATE_SIZE];
    struct calendar_date date = calendar_date_of(days);
    int offset_hours = date.month >= 4 && date.month <= 10 ? 1 : 0;
    calendar_format_date(days, day);
    (void)snprintf(text, CALENDAR_TIME_SIZE, "%sT%02u:%02u:00+%02u:00", day,
                   (unsigned)(minutes / 60) % 24U, (unsigned)(minutes % 60) % 60U,
                   (unsigned)offset_hours % 100U);
    *ret_unix_ms = ((days * 24 - offset_hours) * 60 + minutes) * 60000;
}
