#include "base/utf8.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <string.h>

#include <cmocka.h>

static void accepts_every_scalar_value(void **state)
{
    (void)state;
    for (uint32_t code = 0; code <= 0x10FFFF; code++) {
        char bytes[4];
        size_t size = 0;
        if (code < 0x80) {
            bytes[size++] = (char)code;
        } else if (code < 0x800) {
            bytes[size++] = (char)(0xC0 | code >> 6);
        } else if (code < 0x10000) {
            bytes[size++] = (char)(0xE0 | code >> 12);
            bytes[size++] = (char)(0x80 | (code >> 6 & 0x3F));
        } else {
            bytes[size++] = (char)(0xF0 | code >> 18);
            bytes[size++] = (char)(0x80 | (code >> 12 & 0x3F));
            bytes[size++] = (char)(0x80 | (code >> 6 & 0x3F));
        }
        if (code >= 0x80) {
            bytes[size++] = (char)(0x80 | (code & 0x3F));
        }
        bool surrogate = code >= 0xD800 && code <= 0xDFFF;
        assert_int_equal(utf8_sequence(bytes, size), surrogate ? 0 : size);
        assert_int_equal(utf8_sequence(bytes, size - 1), 0);
    }
}

static void refuses_what_is_not_well_formed(void **state)
{
    (void)state;
    static const char *const bad[] = {
        "\x80",             /* a continuation alone */
        "\xC0\x80",         /* overlong NUL */
        "\xC1\xBF",         /* overlong DEL */
        "\xE0\x9F\xBF",     /* overlong, three bytes */
        "\xF0\x8F\xBF\xBF", /* overlong, four bytes */
        "\xED\xA0\x80",     /* surrogate */
        "\xF4\x90\x80\x80", /* beyond U+10FFFF */
        "\xF5\x80\x80\x80",
        "\xFE",
        "\xFF",
        "a\xC3",
        "\xE2\x82",
        "\xE2\x28\xA1",
        "\xF0\x90\x28\xBC",
    };
    for (size_t i = 0; i < sizeof bad / sizeof bad[0]; i++) {
        assert_false(utf8_is_valid(bad[i], strlen(bad[i])));
    }
    assert_true(utf8_is_valid("", 0));
    assert_true(utf8_is_valid("a\0é", 4));
    assert_true(utf8_is_valid("€ \U0001F4A7", strlen("€ \U0001F4A7")));
}

static void characters_are_counted(void **state)
{
    (void)state;
    assert_int_equal(utf8_length(""), 0);
    assert_int_equal(utf8_length("abc"), 3);
    assert_int_equal(utf8_length("\xc3\xa4\xe2\x82\xac\xf0\x9f\x98\x80"), 3);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(accepts_every_scalar_value),
        cmocka_unit_test(refuses_what_is_not_well_formed),
        cmocka_unit_test(characters_are_counted),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
