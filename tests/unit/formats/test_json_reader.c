#include "formats/json_reader.h"

#include "base/text.h"
#include "formats/limits.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <string.h>

#include <cmocka.h>

struct fixture {
    struct arena *arena;
    struct fault_list faults;
    struct json_reader reader;
};

static void open_text(struct fixture *fixture, const char *text)
{
    fixture->arena = arena_new();
    fault_list_init(&fixture->faults, fixture->arena);
    const json_t *value = json_reader_parse(fixture->arena, text, strlen(text), &fixture->faults);
    assert_non_null(value);
    json_reader_open(&fixture->reader, value, "", &fixture->faults);
}

static void assert_only_fault(const struct fixture *fixture, const char *pointer,
                              const char *detail)
{
    assert_int_equal(fixture->faults.count, 1);
    assert_string_equal(fixture->faults.items[0].pointer, pointer);
    assert_string_equal(fixture->faults.items[0].detail, detail);
}

static void test_malformed_texts(void **state)
{
    static const struct {
        const char *body;
        size_t length;
        const char *place;
        const char *problem;
    } rows[] = {
        {"", 0, "Line 1, column ", ": the text ends before the value is complete."},
        {"{\"a\":", 5, "Line 1, column ", ": the text ends before the value is complete."},
        {"[1,\n 2,\n NaN]", 13, "Line 3, column ", ": the text is not valid JSON."},
        {"[1e999]", 7, "Line 1, column ", ": a number is too large."},
        {"[-1e999]", 8, "Line 1, column ", ": a number is too large."},
        {"[123456789012345678901234567890]", 32, "Line 1, column ", ": a number is too large."},
        {"{\"a\":1,\"a\":2}", 13, "Line 1, column ", ": a member is repeated within its object."},
        {"{} x", 4, "Line 1, column ", ": something follows the value."},
        {"[1]\0", 4, "Line 1, column ", ": the character NUL is not allowed."},
        {"[\"\0\"]", 5, "Line 1, column ", ": the character NUL is not allowed."},
        {"[\"\\u0000\"]", 10, "Line 1, column ", ": the character NUL is not allowed."},
        {"[\"\xff\"]", 5, "Line 1, column ", ": the text is not valid UTF-8."},
        {"[\"\xed\xa0\x80\"]", 7, "Line 1, column ", ": the text is not valid UTF-8."},
        {"[\"\xc0\x80\"]", 6, "Line 1, column ", ": the text is not valid UTF-8."},
        {"\xef\xbb\xbf{}", 5, "Line 1, column ", ": the text is not valid JSON."},
        {"['a']", 5, "Line 1, column ", ": the text is not valid JSON."},
        {"[01]", 4, "Line 1, column ", ": the text is not valid JSON."},
        {"[1,]", 4, "Line 1, column ", ": the text is not valid JSON."},
        {"[Infinity]", 10, "Line 1, column ", ": the text is not valid JSON."},
        {"[\"a\nb\"]", 7, "Line 1, column ", ": the text is not valid JSON."},
    };

    (void)state;
    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
        struct arena *arena = arena_new();
        struct fault_list faults;
        fault_list_init(&faults, arena);
        const json_t *value = json_reader_parse(arena, rows[i].body, rows[i].length, &faults);
        if (value != NULL || faults.count != 1 ||
            strncmp(faults.items[0].detail, rows[i].place, strlen(rows[i].place)) != 0 ||
            strstr(faults.items[0].detail, rows[i].problem) == NULL) {
            fail_msg("row %zu: %s", i, faults.count == 0 ? "no fault" : faults.items[0].detail);
        }
        assert_string_equal(faults.items[0].pointer, "");
        arena_free(arena);
    }
}

static const char *nested(struct arena *arena, size_t depth)
{
    struct text text;
    text_init(&text, arena, 4 * depth + 16);
    for (size_t i = 0; i < depth; i++) {
        text_append(&text, i % 2 == 0 ? "[" : "{\"a\":");
    }
    text_append(&text, "\"[[[[\\\"{{{{\"");
    for (size_t i = depth; i > 0; i--) {
        text_append(&text, i % 2 == 1 ? "]" : "}");
    }
    return text.data;
}

static void test_depth_limit(void **state)
{
    (void)state;
    struct arena *arena = arena_new();
    struct fault_list faults;
    fault_list_init(&faults, arena);
    const char *allowed = nested(arena, LIMIT_JSON_DEPTH);
    assert_non_null(json_reader_parse(arena, allowed, strlen(allowed), &faults));
    assert_int_equal(faults.count, 0);

    const char *deeper = nested(arena, LIMIT_JSON_DEPTH + 1);
    assert_null(json_reader_parse(arena, deeper, strlen(deeper), &faults));
    assert_int_equal(faults.count, 1);
    assert_non_null(strstr(faults.items[0].detail, "nested too deeply"));

    enum { HOSTILE_DEPTH = 1000000 };

    char *hostile = arena_alloc(arena, HOSTILE_DEPTH);
    memset(hostile, '[', HOSTILE_DEPTH);
    assert_null(json_reader_parse(arena, hostile, HOSTILE_DEPTH, &faults));
    assert_string_equal(faults.items[1].detail,
                        "Line 1, column 33: the value is nested too deeply.");
    arena_free(arena);
}

/* An object of `count` members, each with a colon that counts for nothing in its name. */
static const char *with_members(struct arena *arena, size_t count)
{
    struct text text;
    text_init(&text, arena, 16 * count + 16);
    for (size_t i = 0; i < count; i++) {
        text_printf(&text, "%s\"%zu:\":1", i == 0 ? "{" : ",", i);
    }
    text_append(&text, "}");
    return text.data;
}

static void test_member_limit(void **state)
{
    (void)state;
    struct arena *arena = arena_new();
    struct fault_list faults;
    fault_list_init(&faults, arena);
    const char *allowed = with_members(arena, LIMIT_JSON_MEMBERS);
    assert_non_null(json_reader_parse(arena, allowed, strlen(allowed), &faults));
    assert_int_equal(faults.count, 0);
    const char *more = with_members(arena, LIMIT_JSON_MEMBERS + 1);
    assert_null(json_reader_parse(arena, more, strlen(more), &faults));
    assert_int_equal(faults.count, 1);
    assert_non_null(strstr(faults.items[0].detail, ": there are more than 250,000 members"));
    arena_free(arena);
}

static void test_column_counts_characters(void **state)
{
    static const char text[] = "{\"\xc3\xa9\":\n\"\xe2\x82\x82\", \0}";
    (void)state;
    struct arena *arena = arena_new();
    struct fault_list faults;
    fault_list_init(&faults, arena);
    assert_null(json_reader_parse(arena, text, sizeof text - 1, &faults));
    assert_string_equal(faults.items[0].detail,
                        "Line 2, column 6: the character NUL is not allowed.");
    arena_free(arena);
}

static void test_member_faults(void **state)
{
    static const struct {
        const char *text;
        const char *detail; /* NULL: no fault */
    } rows[] = {
        {"{\"m\":5}", NULL},
        {"{\"m\":1}", NULL},
        {"{\"m\":10}", NULL},
        {"{\"m\":10.000001}", "Must be between 1 and 10."},
        {"{\"m\":0.999}", "Must be between 1 and 10."},
        {"{\"m\":\"5\"}", "Must be a number."},
        {"{\"m\":true}", "Must be a number."},
        {"{\"m\":null}", "Required."},
        {"{}", "Required."},
    };

    (void)state;
    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
        struct fixture fixture;
        open_text(&fixture, rows[i].text);
        struct optional_number number =
            json_reader_number(&fixture.reader, "m", JSON_REQUIRED, 1.0, 10.0);
        json_reader_close(&fixture.reader);
        assert_int_equal(number.known, rows[i].detail == NULL);
        if (rows[i].detail == NULL) {
            assert_int_equal(fixture.faults.count, 0);
        } else {
            assert_only_fault(&fixture, "/m", rows[i].detail);
        }
        arena_free(fixture.arena);
    }
}

static void test_string_faults(void **state)
{
    static const struct {
        const char *text;
        enum json_presence presence;
        const char *value;
        const char *detail;
    } rows[] = {
        {"{\"m\":\"12345\"}", JSON_REQUIRED, "12345", NULL},
        {"{\"m\":\"a\\n\\tb\"}", JSON_OPTIONAL, "a\n\tb", NULL},
        {"{\"m\":\"\"}", JSON_OPTIONAL, "", NULL},
        {"{\"m\":null}", JSON_OPTIONAL, NULL, NULL},
        {"{\"m\":\"\"}", JSON_REQUIRED, NULL, "Must not be empty."},
        {"{\"m\":\"123456\"}", JSON_OPTIONAL, NULL, "Must be at most 5 bytes long; this is 6."},
        {"{\"m\":5}", JSON_OPTIONAL, NULL, "Must be a string."},
        {"{\"m\":\"a\\rb\"}", JSON_OPTIONAL, NULL, "Must not hold control characters."},
        {"{\"m\":\"\\u001b\"}", JSON_OPTIONAL, NULL, "Must not hold control characters."},
        {"{\"m\":\"\\u007f\"}", JSON_OPTIONAL, NULL, "Must not hold control characters."},
        {"{\"m\":\"\\u0085\"}", JSON_OPTIONAL, NULL, "Must not hold control characters."},
    };

    (void)state;
    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
        struct fixture fixture;
        open_text(&fixture, rows[i].text);
        const char *value = json_reader_string(&fixture.reader, "m", rows[i].presence, 5);
        if (rows[i].value == NULL) {
            assert_null(value);
        } else {
            assert_non_null(value);
            assert_string_equal(value, rows[i].value);
        }
        if (rows[i].detail == NULL) {
            assert_int_equal(fixture.faults.count, 0);
        } else {
            assert_only_fault(&fixture, "/m", rows[i].detail);
        }
        arena_free(fixture.arena);
    }
}

static void test_words(void **state)
{
    static const char *const allowed[] = {"red", "green", NULL};
    (void)state;
    struct fixture fixture;
    open_text(&fixture, "{\"a\":\"green\",\"b\":\"Green\",\"c\":7}");
    assert_string_equal(json_reader_word(&fixture.reader, "a", JSON_REQUIRED, allowed), "green");
    assert_null(json_reader_word(&fixture.reader, "b", JSON_REQUIRED, allowed));
    assert_null(json_reader_word(&fixture.reader, "c", JSON_REQUIRED, allowed));
    assert_null(json_reader_word(&fixture.reader, "d", JSON_OPTIONAL, allowed));
    assert_int_equal(fixture.faults.count, 2);
    assert_string_equal(fixture.faults.items[0].pointer, "/b");
    assert_string_equal(fixture.faults.items[0].detail, "Must be one of: red, green.");
    assert_string_equal(fixture.faults.items[1].pointer, "/c");
    arena_free(fixture.arena);
}

static void test_unknown_members(void **state)
{
    (void)state;
    struct fixture fixture;
    open_text(&fixture, "{\"known\":1,\"a/b~c\":2,\"\":3}");
    (void)json_reader_take(&fixture.reader, "known", JSON_REQUIRED);
    (void)json_reader_take(&fixture.reader, "known", JSON_REQUIRED);
    json_reader_close(&fixture.reader);
    assert_int_equal(fixture.faults.count, 2);
    assert_string_equal(fixture.faults.items[0].pointer, "/a~1b~0c");
    assert_string_equal(fixture.faults.items[0].detail, "Unknown member.");
    assert_string_equal(fixture.faults.items[1].pointer, "/");
    arena_free(fixture.arena);
}

static void test_long_names_are_not_repeated(void **state)
{
    (void)state;
    struct fixture fixture;
    open_text(&fixture,
              "{\"aaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaa\":1}");
    json_reader_close(&fixture.reader);
    assert_only_fault(&fixture, "", "Has an unknown member whose name is longer than 64 bytes.");
    arena_free(fixture.arena);
}

static void test_value_that_is_no_object(void **state)
{
    (void)state;
    struct fixture fixture;
    open_text(&fixture, "[1]");
    assert_null(json_reader_take(&fixture.reader, "m", JSON_REQUIRED));
    assert_null(json_reader_string(&fixture.reader, "n", JSON_REQUIRED, 5));
    json_reader_close(&fixture.reader);
    assert_only_fault(&fixture, "", "Must be an object.");
    json_reader_open(&fixture.reader, NULL, "/absent", &fixture.faults);
    assert_null(json_reader_take(&fixture.reader, "m", JSON_REQUIRED));
    json_reader_close(&fixture.reader);
    assert_int_equal(fixture.faults.count, 1);
    arena_free(fixture.arena);
}

static void test_scalars_are_json_too(void **state)
{
    static const char *const texts[] = {"5", "\"a\"", "null", "true"};
    (void)state;
    for (size_t i = 0; i < sizeof texts / sizeof texts[0]; i++) {
        struct fixture fixture;
        open_text(&fixture, texts[i]);
        assert_only_fault(&fixture, "", "Must be an object.");
        arena_free(fixture.arena);
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_malformed_texts),
        cmocka_unit_test(test_depth_limit),
        cmocka_unit_test(test_member_limit),
        cmocka_unit_test(test_column_counts_characters),
        cmocka_unit_test(test_member_faults),
        cmocka_unit_test(test_string_faults),
        cmocka_unit_test(test_words),
        cmocka_unit_test(test_unknown_members),
        cmocka_unit_test(test_long_names_are_not_repeated),
        cmocka_unit_test(test_value_that_is_no_object),
        cmocka_unit_test(test_scalars_are_json_too),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
