#include "formats/json_writer.h"

#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <string.h>

#include <cmocka.h>

static void test_rounded_numbers(void **state)
{
    static const struct {
        double value;
        const char *text;
    } rows[] = {
        {0.0, "0"},
        {-0.0, "0"},
        {-0.0004, "0"},
        {21.34, "21.34"},
        {21.3404, "21.34"},
        {21.0, "21"},
        {100.0, "100"},
        {-31.0626, "-31.063"},
        {0.0005001, "0.001"},
        {0.1, "0.1"},
        {1e15, "1000000000000000"},
    };

    (void)state;
    struct arena *arena = arena_new();
    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
        struct text out;
        text_init(&out, arena, 400);
        json_writer_rounded(&out, rows[i].value);
        assert_string_equal(out.data, rows[i].text);
    }
    arena_free(arena);
}

static void test_commas(void **state)
{
    (void)state;
    struct arena *arena = arena_new();
    struct text out;
    text_init(&out, arena, 400);
    json_writer_comma(&out);
    text_append_char(&out, '{');
    json_writer_string(&out, "a{", "x[");
    json_writer_number(&out, "b", 0.25);
    json_writer_name(&out, "c");
    text_append_char(&out, '[');
    json_writer_comma(&out);
    json_writer_rounded(&out, 1.0);
    json_writer_comma(&out);
    json_writer_rounded(&out, 2.0);
    text_append_char(&out, ']');
    json_writer_string(&out, "d", NULL);
    text_append_char(&out, '}');
    assert_string_equal(out.data, "{\"a{\":\"x[\",\"b\":0.25,\"c\":[1,2],\"d\":null}");
    arena_free(arena);
}

/* What is not known leaves no trace, not even a comma. */
static void test_known_numbers_and_flags(void **state)
{
    (void)state;
    struct arena *arena = arena_new();
    struct text out;
    text_init(&out, arena, 400);
    text_append_char(&out, '{');
    json_writer_known(&out, "a", (double)NAN);
    json_writer_known(&out, "b", 21.3404);
    json_writer_known(&out, "c", (double)INFINITY);
    json_writer_flag(&out, "d", true);
    json_writer_flag(&out, "e", false);
    text_append_char(&out, '}');
    assert_string_equal(out.data, "{\"b\":21.34,\"d\":true,\"e\":false}");
    arena_free(arena);
}

static void test_full_text_is_left_alone(void **state)
{
    (void)state;
    struct arena *arena = arena_new();
    struct text out;
    text_init(&out, arena, 0);
    text_append_char(&out, '{');
    json_writer_number(&out, "a", 1.0);
    assert_true(out.overflowed);
    assert_int_equal(out.length, 0);
    arena_free(arena);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_rounded_numbers),
        cmocka_unit_test(test_commas),
        cmocka_unit_test(test_known_numbers_and_flags),
        cmocka_unit_test(test_full_text_is_left_alone),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
