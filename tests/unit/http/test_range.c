#include "http/range.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

struct parsing {
    const char *field;
    size_t whole;
    enum range_kind kind;
    size_t first;
    size_t length;
};

static const struct parsing parsings[] = {
    /* RFC 9110, section 14.1.2: the examples, for 10,000 bytes. */
    {"bytes=0-499", 10000, RANGE_PART, 0, 500},
    {"bytes=500-999", 10000, RANGE_PART, 500, 500},
    {"bytes=-500", 10000, RANGE_PART, 9500, 500},
    {"bytes=9500-", 10000, RANGE_PART, 9500, 500},
    {"bytes=0-0", 10000, RANGE_PART, 0, 1},
    {"bytes=-1", 10000, RANGE_PART, 9999, 1},
    /* Several ranges may be ignored (section 14.2). */
    {"bytes=0-0,-1", 10000, RANGE_WHOLE, 0, 0},
    {"bytes= 0-999, 4500-5499, -1000", 10000, RANGE_WHOLE, 0, 0},
    {"bytes=500-600,601-999", 10000, RANGE_WHOLE, 0, 0},
    {"bytes=0-1, bytes=2-3", 10000, RANGE_WHOLE, 0, 0}, /* two lines, joined */
    /* Section 14.1.2: a last position at or beyond the end, or none, means the end; a longer suffix
     * than there is means all. */
    {"bytes=0-9999", 10000, RANGE_PART, 0, 10000},
    {"bytes=0-10000", 10000, RANGE_PART, 0, 10000},
    {"bytes=9999-20000", 10000, RANGE_PART, 9999, 1},
    {"bytes=0-", 10000, RANGE_PART, 0, 10000},
    {"bytes=-10000", 10000, RANGE_PART, 0, 10000},
    {"bytes=-10001", 10000, RANGE_PART, 0, 10000},
    /* Satisfiable only with a first position before the end, or a suffix that is not 0. */
    {"bytes=10000-", 10000, RANGE_UNSATISFIABLE, 0, 0},
    {"bytes=10000-10001", 10000, RANGE_UNSATISFIABLE, 0, 0},
    {"bytes=-0", 10000, RANGE_UNSATISFIABLE, 0, 0},
    {"bytes=0-", 0, RANGE_UNSATISFIABLE, 0, 0},
    {"bytes=0-0", 0, RANGE_UNSATISFIABLE, 0, 0},
    {"bytes=-0", 0, RANGE_UNSATISFIABLE, 0, 0},
    {"bytes=-1", 0, RANGE_WHOLE, 0, 0}, /* satisfiable, by nothing */
    /* Section 14.1.1: a last position before the first is invalid. */
    {"bytes=5-4", 10000, RANGE_WHOLE, 0, 0},
    {"bytes=20000-4", 10000, RANGE_WHOLE, 0, 0},
    /* Numbers of any length. */
    {"bytes=0-18446744073709551615", 10000, RANGE_PART, 0, 10000},
    {"bytes=1-18446744073709551616", 10000, RANGE_PART, 1, 9999},
    {"bytes=1-99999999999999999999999999999999", 10000, RANGE_PART, 1, 9999},
    {"bytes=18446744073709551616-", 10000, RANGE_UNSATISFIABLE, 0, 0},
    {"bytes=-99999999999999999999999999999999", 10000, RANGE_PART, 0, 10000},
    {"bytes=000000000000000000000000000007-7", 10000, RANGE_PART, 7, 1},
    /* Section 14.1: names of units have no case; unknown ones are ignored. */
    {"Bytes=0-1", 10000, RANGE_PART, 0, 2},
    {"seconds=0-1", 10000, RANGE_WHOLE, 0, 0},
    {"byte=0-1", 10000, RANGE_WHOLE, 0, 0},
    {"bytess=0-1", 10000, RANGE_WHOLE, 0, 0},
    /* Section 5.6.1.2: a recipient takes empty list elements. */
    {"bytes=,0-1", 10000, RANGE_PART, 0, 2},
    {"bytes=0-1 ,", 10000, RANGE_PART, 0, 2},
    /* What is no ranges-specifier is ignored (section 14.2). */
    {"", 10000, RANGE_WHOLE, 0, 0},
    {"bytes", 10000, RANGE_WHOLE, 0, 0},
    {"bytes 0-1", 10000, RANGE_WHOLE, 0, 0},
    {"bytes =0-1", 10000, RANGE_WHOLE, 0, 0},
    {"bytes=", 10000, RANGE_WHOLE, 0, 0},
    {"bytes=,", 10000, RANGE_WHOLE, 0, 0},
    {"bytes=-", 10000, RANGE_WHOLE, 0, 0},
    {"bytes=1", 10000, RANGE_WHOLE, 0, 0},
    {"bytes=--1", 10000, RANGE_WHOLE, 0, 0},
    {"bytes=1-2-3", 10000, RANGE_WHOLE, 0, 0},
    {"bytes=1 -2", 10000, RANGE_WHOLE, 0, 0},
    {"bytes=1- 2", 10000, RANGE_WHOLE, 0, 0},
    {"bytes=+1-2", 10000, RANGE_WHOLE, 0, 0},
    {"bytes=0x1-2", 10000, RANGE_WHOLE, 0, 0},
    {"bytes=1-2;q=1", 10000, RANGE_WHOLE, 0, 0},
    {"bytes=a-b", 10000, RANGE_WHOLE, 0, 0},
    {"=0-1", 10000, RANGE_WHOLE, 0, 0},
    {NULL, 10000, RANGE_WHOLE, 0, 0},
};

static void parses_ranges(void **state)
{
    (void)state;
    for (size_t i = 0; i < sizeof parsings / sizeof parsings[0]; i++) {
        const struct parsing *p = &parsings[i];
        struct range range = {0, 0};
        enum range_kind kind = range_parse(p->field, p->whole, &range);
        if (kind != p->kind || range.first != p->first || range.length != p->length) {
            fail_msg("%s of %zu: kind %d, %zu bytes at %zu", p->field, p->whole, (int)kind,
                     range.length, range.first);
        }
    }
}

struct comparison {
    const char *if_range;
    const char *etag;
    bool current;
};

/* RFC 9110, section 13.1.5: exactly one tag, compared strongly; neither a list nor "*". */
static const struct comparison comparisons[] = {
    {NULL, "\"7\"", true},
    {NULL, NULL, true},
    {"\"7\"", "\"7\"", true},
    {"\"7\"", "\"8\"", false},
    {"\"7\"", NULL, false},
    {"W/\"7\"", "\"7\"", false},
    {"W/\"7\"", "W/\"7\"", false},
    {"\"7\"", "W/\"7\"", false},
    {"*", "\"7\"", false},
    {"\"7\", \"8\"", "\"7\"", false},
    {"7", "\"7\"", false},
    {"", "\"7\"", false},
    {"Sat, 29 Oct 1994 19:43:31 GMT", "\"7\"", false},
};

static void compares_if_range(void **state)
{
    (void)state;
    for (size_t i = 0; i < sizeof comparisons / sizeof comparisons[0]; i++) {
        const struct comparison *c = &comparisons[i];
        if (range_is_current(c->if_range, c->etag) != c->current) {
            fail_msg("case %zu: %s", i, c->if_range == NULL ? "none" : c->if_range);
        }
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(parses_ranges),
        cmocka_unit_test(compares_if_range),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
