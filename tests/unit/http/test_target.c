#include "http/target.h"

#include "base/text.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <string.h>

#include <cmocka.h>

static struct target parse(struct arena *arena, const char *raw)
{
    struct target target;
    const char *problem = NULL;
    assert_true(target_parse(arena, raw, &target, &problem));
    assert_null(problem);
    return target;
}

static void splits_and_decodes_the_path(void **state)
{
    (void)state;
    struct arena *arena = arena_new();
    struct target target = parse(arena, "/v1/p%C3%A4tients/a%20b/");
    assert_int_equal(target.segment_count, 4);
    assert_string_equal(target.segments[0], "v1");
    assert_string_equal(target.segments[1], "pätients");
    assert_string_equal(target.segments[2], "a b");
    assert_string_equal(target.segments[3], "");
    assert_string_equal(target.path, "/v1/pätients/a b/");
    assert_string_equal(target.raw_path, "/v1/p%C3%A4tients/a%20b/");
    assert_int_equal(target.query_count, 0);
    assert_string_equal(parse(arena, "/a+b").segments[0], "a+b");
    arena_free(arena);
}

static void reads_the_query(void **state)
{
    (void)state;
    struct arena *arena = arena_new();
    struct target target = parse(arena, "/s?a=1&&b=x+y%26%3D=z&flag&=v&a=2&");
    static const struct query_parameter expected[] = {
        {"a", "1"}, {"b", "x y&==z"}, {"flag", ""}, {"", "v"}, {"a", "2"}};
    assert_int_equal(target.query_count, 5);
    for (size_t i = 0; i < 5; i++) {
        assert_string_equal(target.query[i].name, expected[i].name);
        assert_string_equal(target.query[i].value, expected[i].value);
    }
    assert_string_equal(target.raw_path, "/s");
    assert_string_equal(target.raw_query, "a=1&&b=x+y%26%3D=z&flag&=v&a=2&");
    assert_int_equal(parse(arena, "/s?").query_count, 0);
    assert_string_equal(parse(arena, "/s?").raw_query, "");
    assert_string_equal(parse(arena, "/s").raw_query, "");
    arena_free(arena);
}

static void takes_absolute_and_asterisk_form(void **state)
{
    (void)state;
    struct arena *arena = arena_new();
    struct target target = parse(arena, "http://example.org:80/v1/x?y=1");
    assert_string_equal(target.raw_path, "/v1/x");
    assert_string_equal(target.authority, "example.org:80");
    assert_null(parse(arena, "/v1/x").authority);
    assert_string_equal(target.raw_query, "y=1");
    assert_int_equal(target.query_count, 1);
    assert_string_equal(parse(arena, "HTTPS://example.org").raw_path, "/");
    assert_string_equal(parse(arena, "http://example.org?y=1").raw_path, "/");
    assert_true(parse(arena, "*").asterisk);
    assert_string_equal(parse(arena, "*").raw_query, "");
    assert_false(target.asterisk);
    arena_free(arena);
}

static void refuses_what_could_be_read_in_two_ways(void **state)
{
    (void)state;
    static const char *const bad[] = {
        "",
        "v1",
        "/a%00b",
        "/%",
        "/%4",
        "/%zz",
        "/%4g",
        "/%ff",
        "/%C3",
        "/%C3%28",
        "/%ED%A0%80",
        "/%0a",
        "/%7f",
        "/a b",
        "/a\tb",
        "/\xC3\xA9",
        "/a#b",
        "/a\\b",
        "/..",
        "/v1/../x",
        "/v1/%2e%2E/x",
        "/./x",
        "/.",
        "/s?a=%00",
        "/s?%zz=1",
        "/s?a=%ff",
        "ftp://h/x",
        "http:///x",
        "http:/x",
        "*x",
        "example.org:443",
        "/a%",
        "/s?a=%",
        "/s?a=%4",
    };
    struct arena *arena = arena_new();
    for (size_t i = 0; i < sizeof bad / sizeof bad[0]; i++) {
        struct target target;
        const char *problem = NULL;
        assert_false(target_parse(arena, bad[i], &target, &problem));
        assert_non_null(problem);
    }
    assert_string_equal(parse(arena, "/...").segments[0], "...");
    arena_free(arena);
}

static void bounds_segments_and_parameters(void **state)
{
    (void)state;
    struct arena *arena = arena_new();
    assert_int_equal(parse(arena, "/1/2/3/4/5/6/7/8/9/10/11/12/13/14/15/16").segment_count, 16);
    assert_int_equal(parse(arena, "/1/2/3/4/5/6/7/8/9/10/11/12/13/14/15/16/17/18").segment_count,
                     17);
    struct text query;
    text_init(&query, arena, 400);
    text_append(&query, "/s?a=1");
    for (int i = 1; i < TARGET_QUERY_MAX; i++) {
        text_append(&query, "&a=1");
    }
    assert_int_equal(parse(arena, query.data).query_count, TARGET_QUERY_MAX);
    text_append(&query, "&a=1");
    struct target target;
    const char *problem = NULL;
    assert_false(target_parse(arena, query.data, &target, &problem));
    assert_string_equal(problem, "The query has too many parameters.");
    arena_free(arena);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(splits_and_decodes_the_path),
        cmocka_unit_test(reads_the_query),
        cmocka_unit_test(takes_absolute_and_asterisk_form),
        cmocka_unit_test(refuses_what_could_be_read_in_two_ways),
        cmocka_unit_test(bounds_segments_and_parameters),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
