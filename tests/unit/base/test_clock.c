#include "base/clock.h"

#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <time.h>

#include <cmocka.h>

struct moment {
    const char *text;
    const char *utc; /* as clock_format() writes it; NULL: refused */
};

static const struct moment moments[] = {
    {"1970-01-01T00:00:00Z", "1970-01-01T00:00:00Z"},
    {"2026-03-02T09:31:05+01:00", "2026-03-02T08:31:05Z"},
    {"2026-03-02T09:31:05.250-05:30", "2026-03-02T15:01:05.25Z"},
    {"2026-03-02t09:31:05z", "2026-03-02T09:31:05Z"},
    {"2026-03-02T09:31:05-00:00", "2026-03-02T09:31:05Z"},
    {"2026-01-01T00:30:00+01:00", "2025-12-31T23:30:00Z"},
    {"2024-02-29T12:00:00Z", "2024-02-29T12:00:00Z"},
    {"2000-02-29T00:00:00Z", "2000-02-29T00:00:00Z"},
    {"2024-03-01T00:30:00+01:00", "2024-02-29T23:30:00Z"},
    {"2026-03-02T09:31:05.000001Z", "2026-03-02T09:31:05.000001Z"},
    {"2026-03-02T09:31:05.1234567890123Z", "2026-03-02T09:31:05.123456Z"},
    {"1969-12-31T23:59:59.5Z", "1969-12-31T23:59:59.5Z"},
    {"1900-02-28T23:59:59Z", "1900-02-28T23:59:59Z"},
    {"0000-01-01T00:00:00Z", "0000-01-01T00:00:00Z"},
    {"9999-12-31T23:59:59.999999Z", "9999-12-31T23:59:59.999999Z"},
    /* Leap seconds: only the last second of a month in UTC (RFC 3339 section 5.7 and 5.8). */
    {"1990-12-31T23:59:60Z", "1991-01-01T00:00:00Z"},
    {"1990-12-31T15:59:60-08:00", "1991-01-01T00:00:00Z"},
    {"2026-03-02T23:59:60Z", NULL},
    {"1990-12-31T12:00:60Z", NULL},
    {"2026-03-02T09:31:05", NULL},
    {"2026-03-02 09:31:05Z", NULL},
    {"2026-03-02T09:31Z", NULL},
    {"2026-03-02T09:31:05.Z", NULL},
    {"2026-03-02T24:00:00Z", NULL},
    {"2026-03-02T09:60:00Z", NULL},
    {"2026-03-02T09:31:61Z", NULL},
    {"2026-02-29T00:00:00Z", NULL},
    {"1900-02-29T00:00:00Z", NULL},
    {"2026-04-31T00:00:00Z", NULL},
    {"2026-13-01T00:00:00Z", NULL},
    {"2026-00-01T00:00:00Z", NULL},
    {"2026-01-00T00:00:00Z", NULL},
    {"2026-03-02T09:31:05+24:00", NULL},
    {"2026-03-02T09:31:05+01:60", NULL},
    {"2026-03-02T09:31:05+0100", NULL},
    {"2026-03-02T09:31:05+01:00 ", NULL},
    {" 2026-03-02T09:31:05Z", NULL},
    {"26-03-02T09:31:05Z", NULL},
    {"+2026-03-02T09:31:05Z", NULL},
    {"0000-01-01T00:00:00+01:00", NULL},
    {"9999-12-31T23:59:59-01:00", NULL},
    {"", NULL},
};

static void reads_and_writes_rfc_3339(void **state)
{
    (void)state;
    for (size_t i = 0; i < sizeof moments / sizeof moments[0]; i++) {
        int64_t time_us = 12345;
        bool good = clock_parse(moments[i].text, &time_us);
        assert_int_equal(good, moments[i].utc != NULL);
        if (good) {
            char text[CLOCK_TEXT_SIZE];
            clock_format(time_us, text);
            assert_string_equal(text, moments[i].utc);
        } else {
            assert_int_equal(time_us, 12345);
        }
    }
}

/* The C library's calendar is the independent truth. */
static void agrees_with_the_system_calendar(void **state)
{
    (void)state;
    for (int64_t day = -800000; day < 2900000; day += 37) {
        time_t seconds = (time_t)(day * 86400 + (day % 86400 + 86400) % 86400);
        struct tm parts;
        assert_non_null(gmtime_r(&seconds, &parts));
        if (parts.tm_year + 1900 < 0 || parts.tm_year + 1900 > 9999) {
            continue;
        }
        char expected[CLOCK_TEXT_SIZE];
        assert_int_equal(strftime(expected, sizeof expected, "%Y-%m-%dT%H:%M:%SZ", &parts) > 0, 1);
        char text[CLOCK_TEXT_SIZE];
        clock_format((int64_t)seconds * 1000000, text);
        if (parts.tm_year + 1900 >= 1000) { /* below, strftime does not pad */
            assert_string_equal(text, expected);
        }
        int64_t back = 0;
        assert_true(clock_parse(text, &back));
        assert_int_equal(back, (int64_t)seconds * 1000000);
    }
}

static void formats_any_integer(void **state)
{
    (void)state;
    char text[CLOCK_TEXT_SIZE];
    clock_format(INT64_MIN, text);
    assert_string_equal(text, "-290308-12-21T19:59:05.224192Z");
    clock_format(INT64_MAX, text);
    assert_string_equal(text, "294247-01-10T04:00:54.775807Z");
    clock_format(-1, text);
    assert_string_equal(text, "1969-12-31T23:59:59.999999Z");
}

static void knows_real_dates(void **state)
{
    (void)state;
    static const char *const bad[] = {"2026-02-29", "2026-2-09",   "2026-12-32", "2026-12-3",
                                      "20261203",   "2026-12-03 ", "",           "2026-12-03T"};
    assert_true(clock_is_date("2024-02-29"));
    assert_true(clock_is_date("1958-11-30"));
    for (size_t i = 0; i < sizeof bad / sizeof bad[0]; i++) {
        assert_false(clock_is_date(bad[i]));
    }
}

static double age(const char *birth, const char *moment)
{
    int64_t time_us = 0;
    assert_true(clock_parse(moment, &time_us));
    return clock_years_between(birth, time_us);
}

static void assert_close(double actual, double expected)
{
    assert_true(fabs(actual - expected) < 1e-12);
}

static void counts_years_of_life(void **state)
{
    (void)state;
    assert_close(age("1970-06-15", "2026-06-15T00:00:00Z"), 56.0);
    assert_close(age("1970-06-15", "2026-06-14T23:59:59Z"), 55.0 + 364.0 / 365.0);
    assert_close(age("1970-06-15", "2026-06-16T00:00:00Z"), 56.0 + 1.0 / 365.0);
    assert_close(age("2023-03-01", "2024-02-29T00:00:00Z"), 365.0 / 366.0);
    assert_close(age("2026-03-02", "2026-03-02T12:00:00Z"), 0.0);
    assert_close(age("2027-03-02", "2026-03-02T00:00:00Z"), -1.0);
    /* Born on a leap day: the year is complete on 1 March, or on the next leap day. */
    assert_close(age("2000-02-29", "2025-02-28T00:00:00Z"), 24.0 + 365.0 / 366.0);
    assert_close(age("2000-02-29", "2025-03-01T00:00:00Z"), 25.0);
    assert_close(age("2000-02-29", "2024-02-29T00:00:00Z"), 24.0);
    assert_true(isnan(age("2026-02-30", "2026-03-02T00:00:00Z")));
}

static void runs_forward(void **state)
{
    (void)state;
    int64_t now_us = clock_now_us();
    assert_in_range(now_us / 1000000, time(NULL) - 5, time(NULL) + 5);
    double first_s = clock_monotonic_s();
    assert_true(clock_monotonic_s() >= first_s);
}

static void splits_monotonic_times(void **state)
{
    (void)state;
    struct timespec time = clock_monotonic_time(86400.25);
    assert_int_equal(time.tv_sec, 86400);
    assert_int_equal(time.tv_nsec, 250000000);
    time = clock_monotonic_time(7);
    assert_int_equal(time.tv_sec, 7);
    assert_int_equal(time.tv_nsec, 0);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(reads_and_writes_rfc_3339),
        cmocka_unit_test(agrees_with_the_system_calendar),
        cmocka_unit_test(formats_any_integer),
        cmocka_unit_test(knows_real_dates),
        cmocka_unit_test(counts_years_of_life),
        cmocka_unit_test(runs_forward),
        cmocka_unit_test(splits_monotonic_times),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
