#include "base/clock.h"

#include <math.h>
#include <stddef.h>
#include <stdio.h>

static const int64_t US_PER_S = 1000000;
static const int64_t S_PER_DAY = 86400;

struct date {
    int64_t year;
    int month; /* 1..12 */
    int day;   /* 1..31 */
};

int64_t clock_now_us(void)
{
    struct timespec now;
    (void)clock_gettime(CLOCK_REALTIME, &now);
    return (int64_t)now.tv_sec * US_PER_S + now.tv_nsec / 1000;
}

double clock_monotonic_s(void)
{
    struct timespec now;
    (void)clock_gettime(CLOCK_MONOTONIC, &now);
    return (double)now.tv_sec + (double)now.tv_nsec * 1e-9;
}

struct timespec clock_monotonic_time(double at_s)
{
    struct timespec time = {0, 0};
    time.tv_sec = (time_t)at_s;
    time.tv_nsec = (long)((at_s - floor(at_s)) * 1e9);
    return time;
}

static int64_t floor_divide(int64_t dividend, int64_t divisor)
{
    int64_t quotient = dividend / divisor;
    return dividend % divisor < 0 ? quotient - 1 : quotient;
}

static bool is_leap(int64_t year)
{
    return (year % 4 == 0 && year % 100 != 0) || year % 400 == 0;
}

static int days_in_month(int64_t year, int month)
{
    static const int days[] = {31, 28, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31};
    return month == 2 && is_leap(year) ? 29 : days[month - 1];
}

/* Days since 1970-01-01 in the proleptic Gregorian calendar. Years are counted from March, so that
 * the leap day comes last; 153 days make five months from there. */
static int64_t days_of_date(struct date date)
{
    int64_t year = date.month > 2 ? date.year : date.year - 1;
    int64_t month = date.month > 2 ? date.month - 3 : date.month + 9;
    int64_t day_of_year = (153 * month + 2) / 5 + date.day - 1;
    int64_t leap_days = floor_divide(year, 4) - floor_divide(year, 100) + floor_divide(year, 400);
    return 365 * year + leap_days + day_of_year - 719468;
}

/* The inverse: first the 400-year era, then the year in it, then the month. */
static struct date date_of_days(int64_t days)
{
    int64_t shifted = days + 719468;
    int64_t era = floor_divide(shifted, 146097);
    int64_t day_of_era = shifted - era * 146097;
    int64_t year_of_era =
        (day_of_era - day_of_era / 1460 + day_of_era / 36524 - day_of_era / 146096) / 365;
    int64_t day_of_year = day_of_era - (365 * year_of_era + year_of_era / 4 - year_of_era / 100);
    int64_t month = (5 * day_of_year + 2) / 153;
    struct date date;
    date.day = (int)(day_of_year - (153 * month + 2) / 5) + 1;
    date.month = (int)(month < 10 ? month + 3 : month - 9);
    date.year = era * 400 + year_of_era + (date.month <= 2 ? 1 : 0);
    return date;
}

/* Reads exactly `count` digits at *at and moves it on. */
static bool read_digits(const char **at, int count, int *ret_value)
{
    int value = 0;
    for (int i = 0; i < count; i++) {
        char digit = (*at)[i];
        if (digit < '0' || digit > '9') {
            return false;
        }
        value = value * 10 + (digit - '0');
    }
    *at += count;
    *ret_value = value;
    return true;
}

static bool read_char(const char **at, char wanted)
{
    if (**at != wanted) {
        return false;
    }
    (*at)++;
    return true;
}

static bool read_date(const char **at, struct date *ret_date)
{
    int year = 0;
    struct date date = {0, 0, 0};
    if (!read_digits(at, 4, &year) || !read_char(at, '-') || !read_digits(at, 2, &date.month) ||
        !read_char(at, '-') || !read_digits(at, 2, &date.day)) {
        return false;
    }
    date.year = year;
    if (date.month < 1 || date.month > 12 || date.day < 1 ||
        date.day > days_in_month(year, date.month)) {
        return false;
    }
    *ret_date = date;
    return true;
}

/* Seconds of the day; 60 seconds are let through for the caller to check. */
static bool read_time(const char **at, int *ret_seconds, bool *ret_leap)
{
    int hour = 0;
    int minute = 0;
    int second = 0;
    if (!read_digits(at, 2, &hour) || !read_char(at, ':') || !read_digits(at, 2, &minute) ||
        !read_char(at, ':') || !read_digits(at, 2, &second)) {
        return false;
    }
    *ret_seconds = (hour * 60 + minute) * 60 + second;
    *ret_leap = second == 60;
    return hour <= 23 && minute <= 59 && second <= 60;
}

/* An optional fraction; digits beyond the microsecond are dropped. */
static bool read_fraction(const char **at, int64_t *ret_us)
{
    *ret_us = 0;
    if (**at != '.') {
        return true;
    }
    (*at)++;
    const char *start = *at;
    int64_t unit = US_PER_S / 10;
    while (**at >= '0' && **at <= '9') {
        *ret_us += (**at - '0') * unit;
        unit /= 10;
        (*at)++;
    }
    return *at > start;
}

static bool read_offset(const char **at, int64_t *ret_seconds)
{
    *ret_seconds = 0;
    if (**at == 'Z' || **at == 'z') {
        (*at)++;
        return true;
    }
    int sign = **at == '-' ? -1 : 1;
    if (**at != '+' && **at != '-') {
        return false;
    }
    (*at)++;
    int hours = 0;
    int minutes = 0;
    if (!read_digits(at, 2, &hours) || !read_char(at, ':') || !read_digits(at, 2, &minutes) ||
        hours > 23 || minutes > 59) {
        return false;
    }
    *ret_seconds = (int64_t)sign * (hours * 60 + minutes) * 60;
    return true;
}

/* A leap second is only ever the last one of a month in UTC (RFC 3339 section 5.7). `next` is the
 * second after it. */
static bool may_follow_leap_second(int64_t next)
{
    return next % S_PER_DAY == 0 && date_of_days(floor_divide(next, S_PER_DAY)).day == 1;
}

bool clock_parse(const char *text, int64_t *ret_us)
{
    const char *at = text;
    struct date date;
    int seconds = 0;
    bool leap = false;
    int64_t fraction_us = 0;
    int64_t offset_s = 0;
    if (!read_date(&at, &date) || (!read_char(&at, 'T') && !read_char(&at, 't')) ||
        !read_time(&at, &seconds, &leap) || !read_fraction(&at, &fraction_us) ||
        !read_offset(&at, &offset_s) || *at != '\0') {
        return false;
    }
    int64_t utc_s = days_of_date(date) * S_PER_DAY + seconds - offset_s;
    if (leap && !may_follow_leap_second(utc_s)) {
        return false;
    }
    int64_t utc_year = date_of_days(floor_divide(utc_s, S_PER_DAY)).year;
    if (utc_year < 0 || utc_year > 9999) {
        return false;
    }
    *ret_us = utc_s * US_PER_S + fraction_us;
    return true;
}

/* Writes `count` decimal digits and the character after them; returns the end. */
static char *write_digits(char *at, int count, int64_t value, char after)
{
    for (int i = count - 1; i >= 0; i--) {
        at[i] = (char)('0' + (int)(value % 10));
        value /= 10;
    }
    at[count] = after;
    return at + count + 1;
}

void clock_format(int64_t time_us, char text[CLOCK_TEXT_SIZE])
{
    int64_t seconds = floor_divide(time_us, US_PER_S);
    int64_t fraction_us = (time_us % US_PER_S + US_PER_S) % US_PER_S;
    int64_t days = floor_divide(seconds, S_PER_DAY);
    int64_t second_of_day = seconds - days * S_PER_DAY;
    struct date date = date_of_days(days);
    char *end = text + snprintf(text, CLOCK_TEXT_SIZE, "%04lld", (long long)date.year);
    *end++ = '-';
    end = write_digits(end, 2, date.month, '-');
    end = write_digits(end, 2, date.day, 'T');
    end = write_digits(end, 2, second_of_day / 3600, ':');
    end = write_digits(end, 2, second_of_day / 60 % 60, ':');
    if (fraction_us == 0) {
        end = write_digits(end, 2, second_of_day % 60, 'Z');
    } else {
        end = write_digits(end, 2, second_of_day % 60, '.');
        int digits = 6;
        for (; fraction_us % 10 == 0; fraction_us /= 10) {
            digits--;
        }
        end = write_digits(end, digits, fraction_us, 'Z');
    }
    *end = '\0';
}

bool clock_is_date(const char *text)
{
    struct date date;
    return read_date(&text, &date) && *text == '\0' && date.year > 0;
}

/* The day on which a year of life is completed; somebody born on 29 February completes it on 1
 * March where there is no such day. */
static int64_t birthday(struct date birth, int64_t year)
{
    if (birth.day > days_in_month(year, birth.month)) {
        return days_of_date((struct date){year, 3, 1});
    }
    return days_of_date((struct date){year, birth.month, birth.day});
}

double clock_years_between(const char *birth_date, int64_t time_us)
{
    struct date birth;
    if (!read_date(&birth_date, &birth) || *birth_date != '\0') {
        return (double)NAN;
    }
    int64_t day = floor_divide(time_us, US_PER_S * S_PER_DAY);
    int64_t year = date_of_days(day).year;
    if (birthday(birth, year) > day) {
        year--;
    }
    int64_t last = birthday(birth, year);
    int64_t next = birthday(birth, year + 1);
    return (double)(year - birth.year) + (double)(day - last) / (double)(next - last);
}
