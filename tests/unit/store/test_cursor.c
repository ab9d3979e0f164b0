#include "store/cursor.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <string.h>

#include <cmocka.h>

static const char id[] = "01890000-0000-7000-8000-0123456789ab";

static void test_gives_back(void **state)
{
    static const int64_t positions[] = {0, 1, -1, INT64_MAX, INT64_MIN, 1772440265250000};
    struct arena *arena = arena_new();

    (void)state;
    for (size_t i = 0; i < sizeof positions / sizeof positions[0]; i++) {
        struct cursor cursor = {0};
        struct error error = {0};
        const char *text = cursor_write(arena, 'p', positions[i], id);
        assert_true(cursor_read(text, 'p', &cursor, &error));
        assert_true(cursor.position == positions[i]);
        assert_string_equal(cursor.id, id);
    }
    arena_free(arena);
}

static void assert_refused(const char *text)
{
    struct cursor cursor = {.id = "as it was"};
    struct error error = {0};
    assert_false(cursor_read(text, 'p', &cursor, &error));
    assert_int_equal(error.kind, ERROR_INVALID);
    assert_string_equal(error.detail, "cursor");
    assert_string_equal(cursor.id, "as it was");
}

static void test_refused(void **state)
{
    struct arena *arena = arena_new();
    const char *text = cursor_write(arena, 'p', -1, id);

    (void)state;
    assert_refused("");
    assert_refused("p");
    assert_refused(cursor_write(arena, 's', -1, id));
    assert_refused(cursor_write(arena, 'p', -1, "01890000-0000-7000-8000-0123456789AB"));
    assert_refused(arena_printf(arena, "%sA", text));
    assert_refused(arena_printf(arena, "%s=", text));
    assert_refused(arena_strndup(arena, text, strlen(text) - 1));
    /* libsodium reads such a byte as the digit that stands there. */
    char *other = arena_strdup(arena, text);
    char *digit = strchr(other, '_');
    assert_non_null(digit);
    *digit = '\xc3';
    assert_refused(other);
    arena_free(arena);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_gives_back),
        cmocka_unit_test(test_refused),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
