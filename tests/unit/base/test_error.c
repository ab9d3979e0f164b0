#include "base/error.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <string.h>

#include <cmocka.h>

static void carries_kind_and_detail(void **state)
{
    (void)state;
    struct error error;
    assert_false(error_set(&error, ERROR_STALE, "revision %d", 4));
    assert_int_equal(error.kind, ERROR_STALE);
    assert_string_equal(error.detail, "revision 4");
}

static void puts_context_before_the_detail(void **state)
{
    (void)state;
    struct error error;
    (void)error_set(&error, ERROR_UNAVAILABLE, "refused");
    assert_false(error_context(&error, "connecting to %s", "socket"));
    assert_false(error_context(&error, "starting"));
    assert_int_equal(error.kind, ERROR_UNAVAILABLE);
    assert_string_equal(error.detail, "starting: connecting to socket: refused");
}

static void cuts_what_is_too_long(void **state)
{
    (void)state;
    struct error error;
    (void)error_set(&error, ERROR_INTERNAL, "%*d", 1000, 1);
    assert_int_equal(strlen(error.detail), ERROR_DETAIL_SIZE - 1);
    for (int width = ERROR_DETAIL_SIZE - 5; width < ERROR_DETAIL_SIZE + 5; width++) {
        (void)error_set(&error, ERROR_INTERNAL, "detail");
        (void)error_context(&error, "%*d", width, 1);
        assert_in_range(strlen(error.detail), ERROR_DETAIL_SIZE - 5, ERROR_DETAIL_SIZE - 1);
    }
    (void)error_context(&error, "short");
    assert_memory_equal(error.detail, "short: ", 7);
    assert_int_equal(strlen(error.detail), ERROR_DETAIL_SIZE - 1);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(carries_kind_and_detail),
        cmocka_unit_test(puts_context_before_the_detail),
        cmocka_unit_test(cuts_what_is_too_long),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
