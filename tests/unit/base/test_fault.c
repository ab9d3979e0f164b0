#include "base/fault.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <string.h>

#include <cmocka.h>

static void escapes_members_after_rfc_6901(void **state)
{
    (void)state;

    /* The members of RFC 6901 section 5. */
    static const struct {
        const char *member;
        const char *pointer;
    } cases[] = {
        {"foo", "/foo"}, {"", "/"},        {"a/b", "/a~1b"}, {"c%d", "/c%d"},
        {" ", "/ "},     {"m~n", "/m~0n"}, {"~1", "/~01"},   {"k\"l", "/k\"l"},
    };
    struct arena *arena = arena_new();
    for (size_t i = 0; i < sizeof cases / sizeof cases[0]; i++) {
        assert_string_equal(fault_pointer_member(arena, "", cases[i].member), cases[i].pointer);
    }
    const char *channel = fault_pointer_index(arena, "/channels", 12);
    assert_string_equal(channel, "/channels/12");
    assert_string_equal(fault_pointer_member(arena, channel, "unit"), "/channels/12/unit");
    arena_free(arena);
}

static void keeps_copies_of_both_texts(void **state)
{
    (void)state;
    struct arena *arena = arena_new();
    struct fault_list faults;
    fault_list_init(&faults, arena);
    char pointer[] = "/a";
    fault_add(&faults, pointer, "%s is %d too long", "It", 3);
    pointer[1] = 'z';
    assert_int_equal(faults.count, 1);
    assert_string_equal(faults.items[0].pointer, "/a");
    assert_string_equal(faults.items[0].detail, "It is 3 too long");
    arena_free(arena);
}

static void counts_what_it_does_not_keep(void **state)
{
    (void)state;
    struct arena *arena = arena_new();
    struct fault_list faults;
    fault_list_init(&faults, arena);
    for (int i = 0; i < FAULT_LIMIT + 25; i++) {
        fault_add(&faults, "", "%d", i);
    }
    assert_int_equal(faults.count, FAULT_LIMIT);
    assert_int_equal(faults.dropped, 25);
    assert_string_equal(faults.items[FAULT_LIMIT - 1].detail, "99");
    arena_free(arena);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(escapes_members_after_rfc_6901),
        cmocka_unit_test(keeps_copies_of_both_texts),
        cmocka_unit_test(counts_what_it_does_not_keep),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
