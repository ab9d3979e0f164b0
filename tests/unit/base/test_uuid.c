#include "base/uuid.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>

#include <cmocka.h>

static void has_version_and_variant(void **state)
{
    (void)state;
    for (int i = 0; i < 1000; i++) {
        char id[UUID_TEXT_SIZE];
        uuid_new(id);
        assert_true(uuid_is_valid(id));
        assert_int_equal(id[14], '7');
        assert_non_null(strchr("89ab", id[19]));
    }
}

static uint64_t now_us(void)
{
    struct timespec now;
    assert_int_equal(clock_gettime(CLOCK_REALTIME, &now), 0);
    return (uint64_t)now.tv_sec * 1000000 + (uint64_t)now.tv_nsec / 1000;
}

/* RFC 9562 section 5.7: the first 48 bits are milliseconds since 1970. */
static void begins_with_the_time(void **state)
{
    (void)state;
    uint64_t before = now_us() / 1000;
    char id[UUID_TEXT_SIZE];
    uuid_new(id);
    uint64_t after = now_us() / 1000;
    char digits[13];
    memcpy(digits, id, 8);
    memcpy(digits + 8, id + 9, 5);
    digits[12] = '\0';
    assert_in_range(strtoull(digits, NULL, 16), before, after);
}

static void sorts_by_time_of_making(void **state)
{
    (void)state;
    char earlier[UUID_TEXT_SIZE];
    char later[UUID_TEXT_SIZE];
    uuid_new(earlier);
    for (int i = 0; i < 200; i++) {
        /* The order holds from one step of the clock's 12 bits (0.25 us) to the next. */
        uint64_t start = now_us();
        while (now_us() == start) {
        }
        uuid_new(later);
        assert_true(strcmp(earlier, later) < 0);
        memcpy(earlier, later, sizeof earlier);
    }
}

static int compare(const void *a, const void *b)
{
    return strcmp(a, b);
}

static void never_repeats(void **state)
{
    (void)state;
    static char ids[20000][UUID_TEXT_SIZE];
    for (size_t i = 0; i < 20000; i++) {
        uuid_new(ids[i]);
    }
    qsort(ids, 20000, UUID_TEXT_SIZE, compare);
    for (size_t i = 1; i < 20000; i++) {
        assert_string_not_equal(ids[i - 1], ids[i]);
    }
}

static void accepts_the_canonical_form_only(void **state)
{
    (void)state;
    static const char *const bad[] = {
        "",
        "017f22e2-79b0-7cc3-98c4-dc0c0c07398",
        "017f22e2-79b0-7cc3-98c4-dc0c0c07398ff",
        "017F22E2-79B0-7CC3-98C4-DC0C0C07398F",
        "017f22e279b07cc398c4dc0c0c07398f",
        "017f22e2-79b0-7cc3-98c4_dc0c0c07398f",
        "g17f22e2-79b0-7cc3-98c4-dc0c0c07398f",
        "{17f22e2-79b0-7cc3-98c4-dc0c0c07398}",
    };
    assert_true(uuid_is_valid("017f22e2-79b0-7cc3-98c4-dc0c0c07398f")); /* RFC 9562 A.6 */
    for (size_t i = 0; i < sizeof bad / sizeof bad[0]; i++) {
        assert_false(uuid_is_valid(bad[i]));
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(has_version_and_variant),         cmocka_unit_test(begins_with_the_time),
        cmocka_unit_test(sorts_by_time_of_making),         cmocka_unit_test(never_repeats),
        cmocka_unit_test(accepts_the_canonical_form_only),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
