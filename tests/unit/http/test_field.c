#include "http/field.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <string.h>

#include <cmocka.h>

static void splits_lists(void **state)
{
    (void)state;
    static const char *const values[] = {"a", "b/c", "\"x, y\"", "d"};
    static const char *const parameters[] = {"", ";q=0.5 ; v=\"1,2\"", "", ";"};
    const char *cursor = " a , , b/c ;q=0.5 ; v=\"1,2\",\"x, y\",\td;,";
    struct field_element element;
    for (size_t i = 0; i < 4; i++) {
        assert_true(field_next_element(&cursor, &element));
        assert_int_equal(element.value.length, strlen(values[i]));
        assert_memory_equal(element.value.start, values[i], element.value.length);
        assert_int_equal(element.parameters.length, strlen(parameters[i]));
        assert_memory_equal(element.parameters.start, parameters[i], element.parameters.length);
    }
    assert_false(field_next_element(&cursor, &element));
}

static void reads_empty_and_broken_lists(void **state)
{
    (void)state;
    struct field_element element;
    const char *cursor = "";
    assert_false(field_next_element(&cursor, &element));
    cursor = " ,\t, ";
    assert_false(field_next_element(&cursor, &element));
    cursor = "\"never closed, \\"; /* a backslash at the very end must not lead past it */
    assert_true(field_next_element(&cursor, &element));
    assert_int_equal(element.value.length, strlen("\"never closed, \\"));
    assert_false(field_next_element(&cursor, &element));
}

static struct slice slice(const char *text)
{
    return (struct slice){text, strlen(text)};
}

static void finds_parameters(void **state)
{
    (void)state;
    struct slice value;
    struct slice all = slice("; charset = \"UTF-8\" ;q=1;x=\"a;b=c\"; empty=");
    assert_true(field_parameter(all, "CHARSET", &value));
    assert_true(slice_equals(value, "utf-8"));
    assert_true(field_parameter(all, "x", &value));
    assert_true(slice_equals(value, "a;b=c"));
    assert_true(field_parameter(all, "empty", &value));
    assert_int_equal(value.length, 0);
    assert_false(field_parameter(all, "b", &value));
    assert_false(field_parameter(all, "char", &value));
    assert_false(field_parameter(slice(""), "q", &value));
}

static void reads_weights(void **state)
{
    (void)state;

    static const struct {
        const char *parameters;
        int thousandths;
    } cases[] = {
        {"", 1000},       {";v=1", 1000},    {";q=1", 1000},   {";q=1.000", 1000}, {";q=0", 0},
        {";q=0.000", 0},  {";Q=0.5", 500},   {";q=0.25", 250}, {";q=0.123", 123},  {";q=0.", 0},
        {";q=1.001", -1}, {";q=0.1234", -1}, {";q=2", -1},     {";q=-1", -1},      {";q=", -1},
        {";q=.5", -1},    {";q=0,5", -1},    {";q=0.5x", -1},  {";q=1e0", -1},     {";q=00", -1},
    };

    for (size_t i = 0; i < sizeof cases / sizeof cases[0]; i++) {
        assert_int_equal(field_quality(slice(cases[i].parameters)), cases[i].thousandths);
    }
}

static void knows_tokens(void **state)
{
    (void)state;
    assert_true(slice_is_token(slice("X-Request_Id.1~")));
    assert_false(slice_is_token(slice("")));
    assert_false(slice_is_token(slice("a b")));
    assert_false(slice_is_token(slice("a:")));
    assert_false(slice_is_token(slice("a\x7f")));
    assert_false(slice_is_token(slice("\xC3\xA9")));
    assert_false(slice_is_token((struct slice){"a\0b", 3}));
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(splits_lists),     cmocka_unit_test(reads_empty_and_broken_lists),
        cmocka_unit_test(finds_parameters), cmocka_unit_test(reads_weights),
        cmocka_unit_test(knows_tokens),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
