/* Compressed texts come back byte for byte, or not at all. */
#include "formats/packed_text.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
/* cmocka needs the four above first */
#include <cmocka.h>
#include <string.h>

enum { LONG_TEXT = 300000 };

static int set_up(void **state)
{
    *state = arena_new();
    return 0;
}

static int tear_down(void **state)
{
    arena_free(*state);
    return 0;
}

/* Text that shrinks, or (`noisy`) bytes of every value, zeros among them, that hardly do. */
static char *make_text(struct arena *arena, size_t length, bool noisy)
{
    char *text = arena_alloc(arena, length + 1);
    uint32_t noise = 1;
    for (size_t i = 0; i < length; i++) {
        noise = noise * 1664525U + 1013904223U; /* Numerical Recipes' generator, from memory */
        text[i] = noisy ? (char)(noise >> 24) : "0123456789,.[]"[i % 14];
    }
    text[length] = '\0';
    return text;
}

static void texts_come_back(void **state)
{
    struct arena *arena = *state;
    static const size_t lengths[] = {0, 1, 100, 65536, LONG_TEXT};
    struct error error;
    for (size_t i = 0; i < sizeof lengths / sizeof lengths[0]; i++) {
        for (int noisy = 0; noisy < 2; noisy++) {
            const char *text = make_text(arena, lengths[i], noisy == 1);
            const uint8_t *data = NULL;
            size_t packed = 0;
            const char *got = NULL;
            size_t length = 1;
            assert_true(packed_text_make(arena, text, lengths[i], &data, &packed, &error));
            assert_true(packed_text_read(arena, data, packed, lengths[i], &got, &length, &error));
            assert_int_equal(length, lengths[i]);
            assert_memory_equal(got, text, lengths[i] + 1); /* with the NUL */
            assert_true(noisy == 1 || lengths[i] < 1000 || packed < lengths[i] / 10);
        }
    }
}

static void limit_is_exact(void **state)
{
    struct arena *arena = *state;
    struct error error;
    const uint8_t *data = NULL;
    size_t packed = 0;
    const char *got = NULL;
    size_t length = 0;
    assert_true(
        packed_text_make(arena, make_text(arena, 1000, false), 1000, &data, &packed, &error));
    assert_true(packed_text_read(arena, data, packed, 1000, &got, &length, &error));
    assert_false(packed_text_read(arena, data, packed, 999, &got, &length, &error));
    assert_int_equal(error.kind, ERROR_INTERNAL);
}

/* Its own checksum finds every flipped bit; a few bits of the frame's head mean nothing. */
static void damage_is_noticed(void **state)
{
    struct arena *arena = *state;
    struct error error;
    const char *text = make_text(arena, 400, true);
    const uint8_t *data = NULL;
    size_t packed = 0;
    assert_true(packed_text_make(arena, text, 400, &data, &packed, &error));
    uint8_t *copy = arena_alloc(arena, packed + 1);
    size_t refused = 0;
    for (size_t bit = 0; bit < 8 * packed; bit++) {
        memcpy(copy, data, packed);
        copy[bit / 8] = (uint8_t)(copy[bit / 8] ^ (1U << bit % 8));
        const char *got = NULL;
        size_t length = 0;
        if (packed_text_read(arena, copy, packed, 1000, &got, &length, &error)) {
            assert_int_equal(length, 400);
            assert_memory_equal(got, text, 400);
        } else {
            assert_int_equal(error.kind, ERROR_INTERNAL);
            refused++;
        }
    }
    assert_true(refused >= 8 * packed - 8);
}

static void cut_or_longer_data_is_refused(void **state)
{
    struct arena *arena = *state;
    struct error error;
    const uint8_t *data = NULL;
    size_t packed = 0;
    const char *got = NULL;
    size_t length = 0;
    assert_true(packed_text_make(arena, make_text(arena, 400, false), 400, &data, &packed, &error));
    for (size_t kept = 0; kept < packed; kept++) {
        uint8_t *cut = arena_alloc(arena, kept + 1);
        memcpy(cut, data, kept);
        assert_false(packed_text_read(arena, cut, kept, 1000, &got, &length, &error));
        assert_int_equal(error.kind, ERROR_INTERNAL);
    }
    uint8_t *twice = arena_alloc(arena, 2 * packed);
    memcpy(twice, data, packed);
    memcpy(twice + packed, data, packed);
    assert_false(packed_text_read(arena, twice, 2 * packed, 1000, &got, &length, &error));
    assert_false(packed_text_read(arena, twice, packed + 1, 1000, &got, &length, &error));
}

/* A head that promises gigabytes is refused before any room is made for them. */
static void forged_size_is_refused(void **state)
{
    struct arena *arena = *state;
    /* RFC 8878: magic number, then a descriptor with a content size of eight bytes */
    const uint8_t forged[] = {0x28, 0xb5, 0x2f, 0xfd, 0xe0, 0xff, 0xff, 0xff,
                              0xff, 0xff, 0xff, 0xff, 0x7f, 0x01, 0x00, 0x00};
    struct error error;
    const char *got = NULL;
    size_t length = 0;
    assert_false(packed_text_read(arena, forged, sizeof forged, 1000, &got, &length, &error));
    assert_int_equal(error.kind, ERROR_INTERNAL);
    assert_null(got);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test_setup_teardown(texts_come_back, set_up, tear_down),
        cmocka_unit_test_setup_teardown(limit_is_exact, set_up, tear_down),
        cmocka_unit_test_setup_teardown(damage_is_noticed, set_up, tear_down),
        cmocka_unit_test_setup_teardown(cut_or_longer_data_is_refused, set_up, tear_down),
        cmocka_unit_test_setup_teardown(forged_size_is_refused, set_up, tear_down),
    };
    return cmocka_run_group_tests_name("formats: packed text", tests, NULL, NULL);
}
