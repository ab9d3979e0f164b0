#include "base/text.h"

#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include <cmocka.h>

static int set_up(void **state)
{
    *state = arena_new();
    return 0;
}

static int tear_down(void **state)
{
    arena_free(*state);
    return 0;
}

static struct text empty(void **state, size_t limit)
{
    struct text text;
    text_init(&text, *state, limit);
    return text;
}

static void grows_up_to_its_limit_and_not_beyond(void **state)
{
    struct text text = empty(state, 1000);
    for (int i = 0; i < 100; i++) {
        text_append(&text, "0123456789");
    }
    assert_false(text.overflowed);
    assert_int_equal(text.length, 1000);
    assert_int_equal(strlen(text.data), 1000);
    text_append_char(&text, 'x');
    assert_true(text.overflowed);
    assert_int_equal(text.length, 1000);
}

static void stays_overflowed_so_that_no_gap_goes_unseen(void **state)
{
    struct text text = empty(state, 5);
    text_append(&text, "too long");
    text_append(&text, "ok");
    text_printf(&text, "%d", 1);
    assert_true(text.overflowed);
    assert_string_equal(text.data, "");
}

static void has_text_even_with_no_room_at_all(void **state)
{
    struct text text = empty(state, 0);
    assert_string_equal(text.data, "");
    text_append(&text, "");
    assert_false(text.overflowed);
    text_append(&text, "a");
    assert_true(text.overflowed);
}

static void appends_bytes_with_a_nul_among_them(void **state)
{
    struct text text = empty(state, 10);
    text_append_bytes(&text, "a\0b", 3);
    assert_int_equal(text.length, 3);
    assert_memory_equal(text.data, "a\0b", 4);
}

static void formats_in_place(void **state)
{
    struct text text = empty(state, 500);
    text_printf(&text, "%s-%03d", "room", 7);
    text_printf(&text, "%*s", 300, "end");
    assert_int_equal(text.length, 308);
    assert_memory_equal(text.data, "room-007 ", 9);
    assert_string_equal(text.data + 305, "end");
}

struct pair {
    const char *from;
    const char *to;
};

static void escapes_json_strings(void **state)
{
    static const struct pair pairs[] = {
        {"", "\"\""},
        {"plain", "\"plain\""},
        {"a\"b\\c/d", "\"a\\\"b\\\\c/d\""},
        {"line\nreturn\rtab\t", "\"line\\nreturn\\rtab\\t\""},
        {"\x01\x1f\x7f", "\"\\u0001\\u001f\\u007f\""},
        {"Grüße €  \U0001F4A7", "\"Grüße €  \U0001F4A7\""},
        {NULL, "null"},
    };
    for (size_t i = 0; i < sizeof pairs / sizeof pairs[0]; i++) {
        struct text text = empty(state, 200);
        text_append_json_string(&text, pairs[i].from);
        assert_string_equal(text.data, pairs[i].to);
    }
}

static void escapes_html(void **state)
{
    static const struct pair pairs[] = {
        {"", ""},
        {"5 < 6 & 7 > 6", "5 &lt; 6 &amp; 7 &gt; 6"},
        {"\"'", "&quot;&#39;"},
        {"&amp;", "&amp;amp;"},
        {"é", "é"},
    };
    for (size_t i = 0; i < sizeof pairs / sizeof pairs[0]; i++) {
        struct text text = empty(state, 200);
        text_append_html(&text, pairs[i].from);
        assert_string_equal(text.data, pairs[i].to);
    }
}

static void writes_the_shortest_number(void **state)
{
    static const struct {
        double value;
        const char *text;
    } cases[] = {
        {0.0, "0"},
        {-0.0, "-0"},
        {1.0, "1"},
        {-41.5, "-41.5"},
        {0.1, "0.1"},
        {12.1, "12.1"},
        {0.000001, "0.000001"},
        {0.0000001, "1e-07"},
        {999999999.999999, "999999999.999999"},
        {1e9, "1000000000"},
        {1e20, "1e+20"},
        {0.1 + 0.2, "0.30000000000000004"},
        {1.0 / 3.0, "0.3333333333333333"},
        {5e-324, "5e-324"},
        {1.7976931348623157e308, "1.7976931348623157e+308"},
        {9007199254740993.0, "9007199254740992"},
    };

    for (size_t i = 0; i < sizeof cases / sizeof cases[0]; i++) {
        struct text text = empty(state, 64);
        text_append_number(&text, cases[i].value);
        assert_string_equal(text.data, cases[i].text);
    }
}

/* xorshift64 (Marsaglia 2003): repeatable. */
static uint64_t next_random(uint64_t *seed)
{
    *seed ^= *seed << 13;
    *seed ^= *seed >> 7;
    *seed ^= *seed << 17;
    return *seed;
}

static void assert_reads_back(void **state, double value)
{
    struct text text = empty(state, 64);
    text_append_number(&text, value);
    double back = strtod(text.data, NULL);
    assert_memory_equal(&back, &value, sizeof value);
}

static void numbers_read_back_as_themselves(void **state)
{
    uint64_t seed = 88172645463325252U;
    for (int i = 0; i < 20000; i++) {
        uint64_t bits = next_random(&seed);
        double value = 0;
        memcpy(&value, &bits, sizeof value);
        if (value - value > -1) { /* finite: for infinity and NaN the difference is NaN */
            assert_reads_back(state, value);
        }
        assert_reads_back(state, (double)(int64_t)(bits % 2000000000) / 1000.0 - 1000000.0);
    }
}

/* The fewest digits of 15 to 17 that read back, by trying, as libc prints and reads them. */
static void assert_fewest_digits(void **state, double value)
{
    struct text text = empty(state, 64);
    text_append_number(&text, value);
    char tried[64];
    for (int digits = 15; digits <= 17; digits++) {
        snprintf(tried, sizeof tried, "%.*g", digits, value);
        if (!islessgreater(strtod(tried, NULL), value)) {
            break;
        }
    }
    assert_string_equal(text.data, tried);
}

static void numbers_have_the_fewest_digits(void **state)
{
    static const double scales[] = {0.1,    0.01,         0.05,
                                    0.001,  1.0 / 3.0,    1.0 / 65536.0,
                                    0.0123, 1234.5678901, 0.30000000000000004};
    for (size_t s = 0; s < sizeof scales / sizeof scales[0]; s++) {
        for (int code = -3000; code <= 3000; code++) {
            assert_fewest_digits(state, code * scales[s]);
            assert_fewest_digits(state, code * scales[s] + 0.7);
        }
    }
    /* Around powers of two, where neighbours change their distance, and of ten. */
    for (int power = -3; power <= 31; power++) {
        double two = ldexp(1.0, 2 * power);
        double ten = pow(10.0, power);
        for (int step = 0; step < 20; step++) {
            assert_fewest_digits(state, two);
            assert_fewest_digits(state, ten);
            two = nextafter(two, step < 10 ? 0.0 : 1e10);
            ten = nextafter(ten, step < 5 ? 0.0 : 1e40);
        }
    }
    uint64_t seed = 88172645463325252U;
    for (int i = 0; i < 200000; i++) {
        double part = (double)(next_random(&seed) >> 11) / 9007199254740992.0;
        assert_fewest_digits(state, ldexp(part, (int)(next_random(&seed) % 48) - 14));
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test_setup_teardown(grows_up_to_its_limit_and_not_beyond, set_up, tear_down),
        cmocka_unit_test_setup_teardown(stays_overflowed_so_that_no_gap_goes_unseen, set_up,
                                        tear_down),
        cmocka_unit_test_setup_teardown(has_text_even_with_no_room_at_all, set_up, tear_down),
        cmocka_unit_test_setup_teardown(appends_bytes_with_a_nul_among_them, set_up, tear_down),
        cmocka_unit_test_setup_teardown(formats_in_place, set_up, tear_down),
        cmocka_unit_test_setup_teardown(escapes_json_strings, set_up, tear_down),
        cmocka_unit_test_setup_teardown(escapes_html, set_up, tear_down),
        cmocka_unit_test_setup_teardown(writes_the_shortest_number, set_up, tear_down),
        cmocka_unit_test_setup_teardown(numbers_read_back_as_themselves, set_up, tear_down),
        cmocka_unit_test_setup_teardown(numbers_have_the_fewest_digits, set_up, tear_down),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
