/* Numbers collected one by one: the fewest decimals that hold them all, or the doubles. */
#include "formats/sample_builder.h"

#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <string.h>

#include <cmocka.h>

#define N ((double)NAN)

static void test_decimals_grow(void **state)
{
    static const struct {
        double values[4];
        int decimals; /* -1: doubles */
        int32_t codes[4];
    } rows[] = {
        {{1, 2, N, -3}, 0, {1, 2, INT32_MIN, -3}},
        {{1, N, 2.5, -3}, 1, {10, INT32_MIN, 25, -30}},
        {{0.5, 0.25, 0.125, 0}, 3, {500, 250, 125, 0}},
        {{0.000001, 2147, -2147, 1}, 6, {1, 2147000000, -2147000000, 1000000}},
        {{2147, N, 0.000001, 0}, 6, {2147000000, INT32_MIN, 1, 0}},
        {{2148, N, 0.000001, 0}, -1, {0}},
        {{-2148, N, 0.000001, 0}, -1, {0}},
        {{0.000001, 2148, N, 0}, -1, {0}},
        {{2147483647, -2147483647, N, 0}, 0, {2147483647, -2147483647, INT32_MIN, 0}},
        {{-2147483648.0, N, 0, 0}, -1, {0}}, /* its code would mean missing */
        {{1, 2147483647, 0.1, N}, -1, {0}},
        {{1, N, 0.0000001, 2}, -1, {0}},
        {{1, N, -0.0, 2}, -1, {0}}, /* no code is a negative zero */
        {{-0.0, 1, 2, N}, -1, {0}},
        {{0.1, 0.30000000000000004, N, 1}, -1, {0}},
        {{N, N, N, N}, 0, {INT32_MIN, INT32_MIN, INT32_MIN, INT32_MIN}},
    };

    (void)state;
    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
        struct arena *arena = arena_new();
        struct sample_builder builder;
        sample_builder_init(&builder, arena, 4);
        size_t missing = 0;
        for (size_t j = 0; j < 4; j++) {
            sample_builder_add(&builder, rows[i].values[j]);
            missing += isnan(rows[i].values[j]) ? 1 : 0;
        }
        struct samples samples = sample_builder_samples(&builder);
        assert_int_equal(samples.count, 4);
        assert_int_equal(samples.missing, missing);
        if (rows[i].decimals < 0) {
            assert_int_equal(samples.encoding, SAMPLES_FLOAT64);
            const double *values = samples.codes;
            for (size_t j = 0; j < 4; j++) {
                if (isnan(rows[i].values[j])) {
                    assert_true(isnan(values[j]));
                } else {
                    assert_memory_equal(&values[j], &rows[i].values[j], sizeof *values);
                }
            }
        } else {
            assert_int_equal(samples.encoding, SAMPLES_DECIMAL);
            assert_int_equal(samples.decimals, rows[i].decimals);
            assert_memory_equal(samples.codes, rows[i].codes, sizeof rows[i].codes);
        }
        arena_free(arena);
    }
}

/* Codes with more decimals than they need give what their values give. */
static void test_codes_and_values_agree(void **state)
{
    enum { ROUNDS = 20000, COUNT = 6 };

    static const int32_t shapes[] = {0, 10, 100, 120, 2147483647, -2147483647, 5, -1000000, 7, 250};
    (void)state;
    uint64_t random = 7;
    size_t doubles = 0;
    for (size_t round = 0; round < ROUNDS; round++) {
        struct arena *arena = arena_new();
        struct sample_builder by_code;
        struct sample_builder by_value;
        sample_builder_init(&by_code, arena, COUNT);
        sample_builder_init(&by_value, arena, COUNT);
        for (size_t i = 0; i < COUNT; i++) {
            random = random * 6364136223846793005U + 1442695040888963407U;
            int32_t code = shapes[(random >> 33) % (sizeof shapes / sizeof shapes[0])];
            int decimals = (int)((random >> 50) % (SAMPLES_DECIMALS_MAX + 1));
            sample_builder_add_code(&by_code, code, decimals);
            sample_builder_add(&by_value, samples_decimal_value(code, decimals));
        }
        struct samples one = sample_builder_samples(&by_code);
        struct samples other = sample_builder_samples(&by_value);
        assert_true(samples_equal(&one, &other));
        doubles += one.encoding == SAMPLES_FLOAT64 ? 1 : 0;
        arena_free(arena);
    }
    assert_in_range(doubles, ROUNDS / 20, ROUNDS - ROUNDS / 20);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_decimals_grow),
        cmocka_unit_test(test_codes_and_values_agree),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
