/* What a secret arena leaves in memory that it gives back: every free() of the program is looked
 * at. */
#include "base/arena.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdlib.h>

#include <cmocka.h>
#include <malloc.h>
#include <string.h>

static const char SECRET[] = "eight dry badgers in a row";

static int frees;
static int frees_with_secret;

/* The linker puts __wrap_free() in place of free(), which it then calls __real_free().
 * NOLINTBEGIN(bugprone-reserved-identifier,readability-identifier-naming) */
void __real_free(void *memory);
void __wrap_free(void *memory);

void __wrap_free(void *memory)
{
    if (memory != NULL) {
        frees++;
        size_t size = malloc_usable_size(memory);
        frees_with_secret += memmem(memory, size, SECRET, sizeof SECRET - 1) != NULL ? 1 : 0;
    }
    __real_free(memory);
}

/* NOLINTEND(bugprone-reserved-identifier,readability-identifier-naming) */

static void fill_and_free(bool is_secret)
{
    struct arena *arena = arena_new();
    (void)arena_strdup(arena, SECRET); /* before it is known to be one */
    if (is_secret) {
        arena_keep_secret(arena);
    }
    assert_int_equal(arena_is_secret(arena), is_secret);
    for (int i = 0; i < 1000; i++) {
        (void)arena_strdup(arena, SECRET); /* more than one block */
    }
    char *large = arena_alloc(arena, 100000);
    memcpy(large + 99000, SECRET, sizeof SECRET);
    frees = 0;
    frees_with_secret = 0;
    arena_free(arena);
}

static void nothing_is_left_of_a_secret(void **state)
{
    (void)state;
    fill_and_free(true);
    assert_true(frees > 3);
    assert_int_equal(frees_with_secret, 0);
}

/* Or the other test would show nothing. */
static void an_ordinary_arena_leaves_what_it_held(void **state)
{
    (void)state;
    fill_and_free(false);
    assert_true(frees_with_secret > 3);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(nothing_is_left_of_a_secret),
        cmocka_unit_test(an_ordinary_arena_leaves_what_it_held),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
