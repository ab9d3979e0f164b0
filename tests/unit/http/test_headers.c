#include "http/headers.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <string.h>

#include <cmocka.h>

enum { LINES = 4 };

struct section {
    struct http_header lines[LINES];
    int minor;
    bool good;
    struct framing framing;
};

static const struct section sections[] = {
    {{{"Host", "h"}}, 1, true, {false, false, 0}},
    {{{NULL, NULL}}, 0, true, {false, false, 0}},
    {{{"host", "h:80"}, {"content-length", "12"}}, 1, true, {true, false, 12}},
    {{{"Host", "h"}, {"Content-Length", "0"}}, 1, true, {false, false, 0}},
    {{{"Host", "h"}, {"Content-Length", "007"}}, 1, true, {true, false, 7}},
    {{{"Host", "h"}, {"Transfer-Encoding", "Chunked"}}, 1, true, {true, true, 0}},
    {{{"Host", ""}}, 1, true, {false, false, 0}},
    {{{"Host", "[::1]:8080"}}, 1, true, {false, false, 0}},
    {{{NULL, NULL}}, 1, false, {false, false, 0}},
    {{{"Host", "h"}, {"Host", "h"}}, 1, false, {false, false, 0}},
    {{{"Host", "a b"}}, 1, false, {false, false, 0}},
    {{{"Host", "a,b"}}, 1, false, {false, false, 0}},
    {{{"Host", "user@h"}}, 1, false, {false, false, 0}},
    {{{"Host", "h"}, {"Content-Length", "5"}, {"Content-Length", "5"}},
     1,
     false,
     {false, false, 0}},
    {{{"Host", "h"}, {"Content-Length", "5, 5"}}, 1, false, {false, false, 0}},
    {{{"Host", "h"}, {"Content-Length", "+5"}}, 1, false, {false, false, 0}},
    {{{"Host", "h"}, {"Content-Length", "-5"}}, 1, false, {false, false, 0}},
    {{{"Host", "h"}, {"Content-Length", ""}}, 1, false, {false, false, 0}},
    {{{"Host", "h"}, {"Content-Length", "0x5"}}, 1, false, {false, false, 0}},
    {{{"Host", "h"}, {"Content-Length", "9999999999999999999"}}, 1, false, {false, false, 0}},
    {{{"Host", "h"}, {"Content-Length", "5"}, {"Transfer-Encoding", "chunked"}},
     1,
     false,
     {false, false, 0}},
    {{{"Host", "h"}, {"Transfer-Encoding", "gzip, chunked"}}, 1, false, {false, false, 0}},
    {{{"Host", "h"}, {"Transfer-Encoding", "identity"}}, 1, false, {false, false, 0}},
    {{{"Host", "h"}, {"Transfer-Encoding", "chunked"}, {"Transfer-Encoding", "chunked"}},
     1,
     false,
     {false, false, 0}},
    {{{"Host", "h"}, {"Transfer-Encoding", "chunked"}}, 0, false, {false, false, 0}},
    {{{"Host", "h"}, {"Transfer-Encoding ", "chunked"}}, 1, false, {false, false, 0}},
    {{{"Host", "h"}, {"", "x"}}, 1, false, {false, false, 0}},
    {{{"Host", "h"}, {"X", "a\rTransfer-Encoding: chunked"}}, 1, false, {false, false, 0}},
    {{{"Host", "h"}, {"X", "a\x01"}}, 1, false, {false, false, 0}},
    {{{"Host", "h"}, {"X", "a\tb"}}, 1, true, {false, false, 0}},
    {{{"Host", "h"}, {"Content-Type", "a/b"}, {"content-type", "a/b"}},
     1,
     false,
     {false, false, 0}},
    {{{"Host", "h"}, {"Authorization", "a"}, {"Authorization", "b"}}, 1, false, {false, false, 0}},
};

static struct header_table table_of(const struct http_header lines[LINES])
{
    struct header_table table;
    memset(&table, 0, sizeof table);
    while (table.count < LINES && lines[table.count].name != NULL) {
        table.items[table.count] = lines[table.count];
        table.count++;
    }
    return table;
}

static void accepts_only_what_can_be_read_in_one_way(void **state)
{
    (void)state;
    for (size_t i = 0; i < sizeof sections / sizeof sections[0]; i++) {
        struct header_table table = table_of(sections[i].lines);
        struct framing framing = {false, false, 0};
        struct header_problem problem = {0, ""};
        bool good = headers_check(&table, sections[i].minor, &framing, &problem);
        assert_int_equal(good, sections[i].good);
        if (good) {
            assert_int_equal(framing.has_body, sections[i].framing.has_body);
            assert_int_equal(framing.chunked, sections[i].framing.chunked);
            assert_int_equal(framing.length, sections[i].framing.length);
        } else {
            assert_int_equal(problem.status, 400);
            assert_true(strlen(problem.detail) > 0);
        }
    }
}

static void joins_the_lines_of_a_field(void **state)
{
    (void)state;
    static const struct http_header lines[LINES] = {
        {"Accept", "a/b"}, {"Cookie", "x=1"}, {"accept", "c/d"}, {"cookie", "y=2"}};
    struct header_table table = table_of(lines);
    struct arena *arena = arena_new();
    assert_string_equal(headers_get(&table, arena, "ACCEPT"), "a/b, c/d");
    assert_string_equal(headers_get(&table, arena, "Cookie"), "x=1; y=2");
    assert_null(headers_get(&table, arena, "Accep"));
    arena_free(arena);
}

static void takes_over_harmless_request_ids(void **state)
{
    (void)state;
    static const char longest[] =
        "0123456789012345678901234567890123456789012345678901234567890123";
    assert_true(headers_is_request_id("aZ09._-"));
    assert_true(headers_is_request_id(longest));
    assert_false(
        headers_is_request_id("01234567890123456789012345678901234567890123456789012345678901234"));
    assert_false(headers_is_request_id(""));
    assert_false(headers_is_request_id("a b"));
    assert_false(headers_is_request_id("a\"b"));
    assert_false(headers_is_request_id("a, b"));
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(accepts_only_what_can_be_read_in_one_way),
        cmocka_unit_test(joins_the_lines_of_a_field),
        cmocka_unit_test(takes_over_harmless_request_ids),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
