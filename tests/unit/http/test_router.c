#include "http/router.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <string.h>

#include <cmocka.h>

static const struct http_route routes[] = {
    {.method = HTTP_GET, .pattern = "/"},
    {.method = HTTP_GET, .pattern = "/v1/sessions/{id}"},
    {.method = HTTP_DELETE, .pattern = "/v1/sessions/{id}"},
    {.method = HTTP_GET, .pattern = "/v1/sessions/current"},
    {.method = HTTP_POST, .pattern = "/v1/sessions"},
    {.method = HTTP_PUT, .pattern = "/v1/recordings/{id}/overrides/{section}/{code}"},
    {.method = HTTP_GET, .pattern = "/v1/{kind}/first"},
    {.method = HTTP_GET, .pattern = "/v1/{kind}/{id}"},
    {.method = HTTP_GET, .pattern = "/l/{secret}", .flags = HTTP_ROUTE_SECRET_PATH},
};

enum { ROUTE_COUNT = sizeof routes / sizeof routes[0] };

static struct route_match find(struct arena *arena, enum http_method method, const char *path)
{
    struct target target;
    const char *problem = NULL;
    assert_true(target_parse(arena, path, &target, &problem));
    struct route_match match;
    router_find(routes, ROUTE_COUNT, method, &target, &match);
    return match;
}

static void finds_rows_by_path_and_method(void **state)
{
    (void)state;

    static const struct {
        enum http_method method;
        const char *path;
        int row; /* -1: none */
    } cases[] = {
        {HTTP_GET, "/", 0},
        {HTTP_HEAD, "/", 0},
        {HTTP_GET, "/v1/sessions/abc", 1},
        {HTTP_DELETE, "/v1/sessions/abc", 2},
        {HTTP_GET, "/v1/sessions/current", 3},
        {HTTP_DELETE, "/v1/sessions/current", 2}, /* the literal row has no DELETE */
        {HTTP_POST, "/v1/sessions", 4},
        {HTTP_GET, "/v1/rooms/first", 6},
        {HTTP_GET, "/v1/rooms/second", 7},
        {HTTP_PUT, "/v1/sessions/abc", -1},
        {HTTP_POST, "/v1/sessions/", -1},
        {HTTP_GET, "/v1/sessions//", -1},
        {HTTP_GET, "/v1", -1},
        {HTTP_GET, "/V1/sessions/abc", -1},
        {HTTP_GET, "/v1/sessions/abc/more", -1},
    };
    struct arena *arena = arena_new();
    for (size_t i = 0; i < sizeof cases / sizeof cases[0]; i++) {
        struct route_match match = find(arena, cases[i].method, cases[i].path);
        const struct http_route *expected = cases[i].row < 0 ? NULL : &routes[cases[i].row];
        assert_ptr_equal(match.route, expected);
    }
    arena_free(arena);
}

static void hands_over_the_brace_segments_in_order(void **state)
{
    (void)state;
    struct arena *arena = arena_new();
    struct route_match match = find(arena, HTTP_PUT, "/v1/recordings/r%201/overrides/uroflow/qmax");
    assert_string_equal(match.parameters[0], "r 1");
    assert_string_equal(match.parameters[1], "uroflow");
    assert_string_equal(match.parameters[2], "qmax");
    assert_null(match.parameters[3]);
    arena_free(arena);
}

static void says_what_a_path_takes(void **state)
{
    (void)state;
    struct arena *arena = arena_new();
    struct route_match match = find(arena, HTTP_PUT, "/v1/sessions/current");
    assert_null(match.route);
    assert_string_equal(router_allow(arena, match.methods), "GET, HEAD, DELETE, OPTIONS");
    assert_string_equal(router_allow(arena, find(arena, HTTP_GET, "/v1/sessions").methods),
                        "POST, OPTIONS");
    assert_int_equal(find(arena, HTTP_GET, "/nowhere").methods, 0);
    arena_free(arena);
}

static bool is_hidden(struct arena *arena, const char *path, bool wants_sound)
{
    struct target target;
    const char *problem = NULL;
    assert_int_equal(target_parse(arena, path, &target, &problem), wants_sound);
    return router_hides_path(routes, ROUTE_COUNT, &target);
}

static void hides_what_is_below_a_secret_path(void **state)
{
    (void)state;
    static const char *const hidden[] = {
        "/l/secret", "/l/secret/", "/l/secret/more",
        "/l",        "/l/",        "/l/1/2/3/4/5/6/7/8/9/10/11/12/13/14/15/16/17"};
    static const char *const unsound[] = {"/l/secret%00", "/l/secret/..", "/l/secret%2F.."};
    static const char *const shown[] = {"/", "/L/secret", "/ll/secret", "/v1/l/secret", "/v1"};
    struct arena *arena = arena_new();
    for (size_t i = 0; i < sizeof hidden / sizeof hidden[0]; i++) {
        assert_true(is_hidden(arena, hidden[i], true));
    }
    for (size_t i = 0; i < sizeof unsound / sizeof unsound[0]; i++) {
        assert_true(is_hidden(arena, unsound[i], false));
    }
    for (size_t i = 0; i < sizeof shown / sizeof shown[0]; i++) {
        assert_false(is_hidden(arena, shown[i], true));
    }
    arena_free(arena);
}

static void knows_methods_by_their_exact_name(void **state)
{
    (void)state;
    enum http_method method = HTTP_GET;
    assert_true(router_method("PATCH", &method));
    assert_int_equal(method, HTTP_PATCH);
    assert_string_equal(router_method_name(HTTP_DELETE), "DELETE");
    assert_false(router_method("get", &method));
    assert_false(router_method("TRACE", &method));
    assert_false(router_method("", &method));
}

static void refuses_a_table_that_cannot_be_served(void **state)
{
    (void)state;
    static const struct http_route bad[] = {
        {.method = HTTP_GET, .pattern = "v1"},
        {.method = HTTP_HEAD, .pattern = "/v1"},
        {.method = HTTP_OPTIONS, .pattern = "/v1"},
        {.method = HTTP_GET, .pattern = "/{a}/{b}/{c}/{d}/{e}"},
        {.method = HTTP_GET, .pattern = "/1/2/3/4/5/6/7/8/9/10/11/12/13/14/15/16/17"},
        {.method = HTTP_POST, .pattern = "/v1", .flags = HTTP_ROUTE_INLINE, .body_limit = 1},
    };
    struct error error = {ERROR_NONE, ""};
    assert_true(router_check(routes, ROUTE_COUNT, &error));
    for (size_t i = 0; i < sizeof bad / sizeof bad[0]; i++) {
        error.detail[0] = '\0';
        assert_false(router_check(&bad[i], 1, &error));
        assert_true(strlen(error.detail) > 0);
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(finds_rows_by_path_and_method),
        cmocka_unit_test(hands_over_the_brace_segments_in_order),
        cmocka_unit_test(says_what_a_path_takes),
        cmocka_unit_test(hides_what_is_below_a_secret_path),
        cmocka_unit_test(knows_methods_by_their_exact_name),
        cmocka_unit_test(refuses_a_table_that_cannot_be_served),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
