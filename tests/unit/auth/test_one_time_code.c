/* Codes of authenticators against the vectors of the standards. */
#include "auth/one_time_code.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>
#include <string.h>

/* RFC 4226 appendix D, and RFC 6238 appendix B for SHA-1: the same secret. */
static const unsigned char SECRET[] = "12345678901234567890";

enum { SECRET_LENGTH = sizeof SECRET - 1 };

static void codes_of_counters(void **state)
{
    (void)state;
    static const char *const EXPECTED[] = {"755224", "287082", "359152", "969429", "338314",
                                           "254676", "287922", "162583", "399871", "520489"};
    for (int64_t i = 0; i < 10; i++) {
        char code[ONE_TIME_CODE_SIZE];
        assert_true(one_time_code(SECRET, SECRET_LENGTH, i, 6, code));
        assert_string_equal(code, EXPECTED[i]);
    }
}

static void codes_of_times(void **state)
{
    (void)state;

    static const struct {
        int64_t time_s;
        const char *code;
    } EXPECTED[] = {{59, "94287082"},         {1111111109, "07081804"}, {1111111111, "14050471"},
                    {1234567890, "89005924"}, {2000000000, "69279037"}, {20000000000, "65353130"}};

    for (size_t i = 0; i < sizeof EXPECTED / sizeof EXPECTED[0]; i++) {
        char code[ONE_TIME_CODE_SIZE];
        int64_t step = one_time_step(EXPECTED[i].time_s * 1000000);
        assert_true(one_time_code(SECRET, SECRET_LENGTH, step, 8, code));
        assert_string_equal(code, EXPECTED[i].code);
    }
}

static int64_t step_of(int64_t time_s, const char *code)
{
    return one_time_code_step(SECRET, SECRET_LENGTH, time_s * 1000000, code);
}

/* The six digits of RFC 4226's counters 1 to 3 are those of the times 30 to 119. */
static void one_step_around_now_counts(void **state)
{
    (void)state;
    assert_int_equal(step_of(75, "287082"), 1);
    assert_int_equal(step_of(75, "359152"), 2);
    assert_int_equal(step_of(75, "969429"), 3);
    assert_int_equal(step_of(75, "755224"), -1);
    assert_int_equal(step_of(75, "338314"), -1);
    assert_int_equal(step_of(89, "969429"), 3);
    assert_int_equal(step_of(60, "287082"), 1);
    assert_int_equal(step_of(120, "287082"), -1);
    static const char *const NONE[] = {"", "35915", "3591520", "35915 ", "-59152", "three!"};
    for (size_t i = 0; i < sizeof NONE / sizeof NONE[0]; i++) {
        assert_int_equal(step_of(75, NONE[i]), -1);
    }
}

static void secret_travels_in_base32(void **state)
{
    (void)state;
    struct arena *arena = arena_new();
    /* RFC 4648 section 10, without its padding */
    assert_string_equal(one_time_secret_text(arena, (const unsigned char *)"foobar", 6),
                        "MZXW6YTBOI");
    const char *text = one_time_secret_text(arena, SECRET, SECRET_LENGTH);
    assert_string_equal(text, "GEZDGNBVGY3TQOJQGEZDGNBVGY3TQOJQ");
    assert_string_equal(one_time_uri(arena, text, "kim@holt", "Tarn: Valley"),
                        "otpauth://totp/Tarn%3A%20Valley:kim%40holt"
                        "?secret=GEZDGNBVGY3TQOJQGEZDGNBVGY3TQOJQ&issuer=Tarn%3A%20Valley"
                        "&algorithm=SHA1&digits=6&period=30");
    arena_free(arena);
}

static void recovery_codes_are_read_as_people_type(void **state)
{
    (void)state;
    char code[RECOVERY_CODE_SIZE];
    char other[RECOVERY_CODE_SIZE];
    unsigned char expected[SECRET_HASH_BYTES];
    unsigned char hash[SECRET_HASH_BYTES];
    recovery_code_new(code);
    recovery_code_new(other);
    assert_int_equal(strlen(code), 19);
    assert_string_not_equal(code, other);
    assert_true(recovery_code_hash("abcd-efgh-ijkl-2345", expected));
    assert_true(recovery_code_hash(" ABCDEFGH ijkl-2345", hash));
    assert_memory_equal(hash, expected, sizeof hash);
    assert_true(recovery_code_hash(code, hash));
    assert_memory_not_equal(hash, expected, sizeof hash);
    assert_false(recovery_code_hash("123456", hash));
    assert_false(recovery_code_hash("abcd-efgh-ijkl-23456", hash));
    assert_false(recovery_code_hash("", hash));
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(codes_of_counters),
        cmocka_unit_test(codes_of_times),
        cmocka_unit_test(one_step_around_now_counts),
        cmocka_unit_test(secret_travels_in_base32),
        cmocka_unit_test(recovery_codes_are_read_as_people_type),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
