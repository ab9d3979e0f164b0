#include "base/arena.h"

#include <setjmp.h>
#include <stdalign.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>
#include <string.h>

#include <cmocka.h>

static void gives_zeroed_aligned_memory_of_any_size(void **state)
{
    (void)state;
    static const size_t sizes[] = {0, 1, 15, 16, 17, 4000, 4096, 4097, 9000, 1000000};
    static const unsigned char zeros[1000000];
    struct arena *arena = arena_new();
    for (int round = 0; round < 20; round++) {
        for (size_t i = 0; i < sizeof sizes / sizeof sizes[0]; i++) {
            unsigned char *memory = arena_alloc(arena, sizes[i]);
            assert_int_equal((uintptr_t)memory % alignof(max_align_t), 0);
            assert_memory_equal(memory, zeros, sizes[i]);
            memset(memory, 0xA5, sizes[i]);
        }
    }
    arena_free(arena);
}

static void keeps_objects_apart(void **state)
{
    (void)state;
    struct arena *arena = arena_new();
    char *texts[3000];
    for (size_t i = 0; i < 3000; i++) {
        texts[i] = arena_printf(arena, "text number %zu", i);
    }
    for (size_t i = 0; i < 3000; i++) {
        char expected[40];
        assert_true(snprintf(expected, sizeof expected, "text number %zu", i) > 0);
        assert_string_equal(texts[i], expected);
    }
    arena_free(arena);
}

static void copies_text(void **state)
{
    (void)state;
    struct arena *arena = arena_new();
    const char source[] = "catheter";
    char *whole = arena_strdup(arena, source);
    assert_string_equal(whole, "catheter");
    assert_ptr_not_equal(whole, source);
    assert_string_equal(arena_strndup(arena, source, 3), "cat");
    assert_string_equal(arena_strndup(arena, source, 0), "");
    arena_free(arena);
}

static void formats_text_longer_than_any_buffer(void **state)
{
    (void)state;
    struct arena *arena = arena_new();
    for (int width = 250; width < 260; width++) {
        assert_int_equal(strlen(arena_printf(arena, "%*d", width, 7)), (size_t)width);
    }
    char *longest = arena_printf(arena, "%*d", 20000, 7);
    assert_int_equal(strlen(longest), 20000);
    assert_int_equal(longest[19999], '7');
    arena_free(arena);
}

struct order {
    char calls[8];
    size_t count;
};

struct noted {
    struct order *order;
    char name;
};

static void note(void *object)
{
    struct noted *noted = object;
    noted->order->calls[noted->order->count++] = noted->name;
}

static void runs_deferred_calls_newest_first(void **state)
{
    (void)state;
    struct order order = {"", 0};
    struct arena *arena = arena_new();
    static const char names[] = {'a', 'b', 'c'};
    for (size_t i = 0; i < sizeof names; i++) {
        struct noted *noted = arena_alloc(arena, sizeof *noted);
        *noted = (struct noted){&order, names[i]};
        arena_defer(arena, note, noted);
    }
    assert_int_equal(order.count, 0);
    arena_free(arena);
    assert_string_equal(order.calls, "cba");
    arena_free(NULL);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(gives_zeroed_aligned_memory_of_any_size),
        cmocka_unit_test(keeps_objects_apart),
        cmocka_unit_test(copies_text),
        cmocka_unit_test(formats_text_longer_than_any_buffer),
        cmocka_unit_test(runs_deferred_calls_newest_first),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
