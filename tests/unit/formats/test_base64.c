#include "formats/base64.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <string.h>

#include <cmocka.h>

enum { BYTES_MAX = 16, FAR = 99, GUARD = 0xa5 };

/* The vectors of RFC 4648, section 10. */
static void test_published_vectors(void **state)
{
    static const struct {
        const char *text;
        const char *plain;
    } rows[] = {
        {"", ""},
        {"Zg==", "f"},
        {"Zm8=", "fo"},
        {"Zm9v", "foo"},
        {"Zm9vYg==", "foob"},
        {"Zm9vYmE=", "fooba"},
        {"Zm9vYmFy", "foobar"},
    };

    (void)state;
    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
        uint8_t bytes[BYTES_MAX] = {0};
        size_t fault_at = FAR;
        size_t length = strlen(rows[i].text);
        assert_int_equal(base64_decoded_length(rows[i].text, length), strlen(rows[i].plain));
        assert_true(base64_decode(rows[i].text, length, bytes, &fault_at));
        assert_memory_equal(bytes, rows[i].plain, strlen(rows[i].plain) + 1);
        assert_int_equal(fault_at, FAR);
    }
}

static void test_every_digit(void **state)
{
    static const char text[] = "ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789+/";
    (void)state;
    uint8_t bytes[48] = {0};
    size_t fault_at = 0;
    assert_true(base64_decode(text, strlen(text), bytes, &fault_at));
    for (unsigned digit = 0; digit < 64; digit++) {
        unsigned bit = digit * 6;
        unsigned pair = (unsigned)bytes[bit / 8] << 8 | (bit / 8 + 1 < 48 ? bytes[bit / 8 + 1] : 0);
        assert_int_equal(pair >> (10 - bit % 8) & 63, digit);
    }
}

static void test_refused(void **state)
{
    static const struct {
        const char *text;
        size_t fault_at;
    } rows[] = {
        {"Z", 1},                                          /* ends too early */
        {"Zg", 2},                                         /* padding left out */
        {"Zg=", 2},                                        /* padding incomplete */
        {"Zm9vZg", 6},                                     /* the same after a full group */
        {"Zm9v\nYg==", 4},                                 /* line break */
        {"Zm9v Yg=", 4},                                   /* blank */
        {"Zm-v", 2},                                       /* the URL alphabet */
        {"Zg==Zg==", 2},                                   /* padding inside */
        {"=m9v", 0},       {"====", 0},       {"Zh==", 1}, /* spare bits set */
        {"Zm9=", 2},       {"Zm+=", 2},       {"Zo==", 1},
        {"Zm9v===", 4},    {"Z\xc3\xa9v", 1}, /* not ASCII */
        {"Zm9v=", 4},      {"Zm9v==", 4},     /* padding behind a full group */
    };

    (void)state;
    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
        uint8_t bytes[BYTES_MAX] = {0};
        size_t fault_at = FAR;
        size_t length = strlen(rows[i].text);
        size_t room = base64_decoded_length(rows[i].text, length);
        assert_true(room < BYTES_MAX);
        bytes[room] = GUARD;
        if (base64_decode(rows[i].text, length, bytes, &fault_at) || fault_at != rows[i].fault_at) {
            fail_msg("row %zu: fault at %zu", i, fault_at);
        }
        assert_int_equal(bytes[room], GUARD);
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_published_vectors),
        cmocka_unit_test(test_every_digit),
        cmocka_unit_test(test_refused),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
