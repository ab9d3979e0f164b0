/* The sample codec gives back every bit that it was given, and refuses everything else. */
#include "formats/samples.h"

#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
/* cmocka needs the four above first */
#include <cmocka.h>
#include <string.h>
#include <zlib.h>

enum { COUNT_MAX = 3 * SAMPLES_BLOCK_LENGTH };

static const size_t counts[] = {0, 1, 2, 4095, 4096, 4097, COUNT_MAX};

struct inputs {
    struct arena *arena;
    double values[COUNT_MAX];
    double decoded[COUNT_MAX];
    int16_t codes[COUNT_MAX];
    int16_t decoded_codes[COUNT_MAX];
};

static int set_up(void **state)
{
    struct arena *arena = arena_new();
    struct inputs *inputs = arena_alloc(arena, sizeof *inputs);
    inputs->arena = arena;
    *state = inputs;
    return 0;
}

static int tear_down(void **state)
{
    const struct inputs *inputs = *state;
    arena_free(inputs->arena);
    return 0;
}

/* xorshift64* (Vigna 2016, "An experimental exploration of Marsaglia's xorshift generators,
 * scrambled", ACM TOMS 42): the same numbers in every run. */
static uint64_t next_random(uint64_t *seed)
{
    *seed ^= *seed >> 12;
    *seed ^= *seed << 25;
    *seed ^= *seed >> 27;
    return *seed * UINT64_C(2685821657736338717);
}

static double of_bits64(uint64_t bits)
{
    double value = 0;
    memcpy(&value, &bits, sizeof value);
    return value;
}

static double of_bits32(uint32_t bits)
{
    float value = 0;
    memcpy(&value, &bits, sizeof value);
    return (double)value;
}

/* Encodes and decodes all blocks of `samples`; the values must come back bit for bit, except that
 * codes have one kind of NaN only. */
static void assert_round_trip(struct inputs *inputs, const struct samples *samples)
{
    struct error error;
    bool one_nan = samples->encoding == SAMPLES_DECIMAL || samples->encoding == SAMPLES_INT16;
    size_t done = 0;
    for (size_t b = 0; b < samples_block_count(samples->count); b++) {
        struct sample_block block;
        assert_true(samples_encode_block(samples, b, inputs->arena, &block, &error));
        assert_true(samples_decode_block(samples, &block, inputs->decoded + done, &error));
        if (samples->encoding == SAMPLES_INT16) {
            assert_true(samples_decode_codes16(&block, inputs->decoded_codes + done, &error));
        }
        done += block.sample_count;
    }
    assert_int_equal(done, samples->count);
    for (size_t i = 0; i < samples->count; i++) {
        if (one_nan && isnan(samples->values[i])) {
            assert_true(isnan(inputs->decoded[i]));
        } else {
            assert_memory_equal(&inputs->decoded[i], &samples->values[i], sizeof(double));
        }
    }
    if (samples->encoding == SAMPLES_INT16 && samples->count > 0) {
        assert_memory_equal(inputs->decoded_codes, samples->codes16,
                            samples->count * sizeof(int16_t));
    }
    struct sample_block none;
    assert_false(samples_encode_block(samples, samples_block_count(samples->count), inputs->arena,
                                      &none, &error));
}

static void names_are_stable(void **state)
{
    (void)state;
    static const char *const names[] = {"decimal", "int16", "float32", "float64"};
    for (size_t i = 0; i < 4; i++) {
        enum sample_encoding encoding = SAMPLES_DECIMAL;
        assert_string_equal(sample_encoding_name((enum sample_encoding)i), names[i]);
        assert_true(sample_encoding_from_name(names[i], &encoding));
        assert_int_equal(encoding, i);
    }
    enum sample_encoding untouched = SAMPLES_INT16;
    assert_false(sample_encoding_from_name("float", &untouched));
    assert_int_equal(untouched, SAMPLES_INT16);
}

static void counts_make_blocks(void **state)
{
    (void)state;
    static const size_t blocks[] = {0, 1, 1, 1, 1, 2, 3};
    for (size_t i = 0; i < sizeof counts / sizeof counts[0]; i++) {
        assert_int_equal(samples_block_count(counts[i]), blocks[i]);
    }
}

/* What a JSON document may say, and what is to be found in it. */
static void fewest_decimals_are_found(void **state)
{
    (void)state;

    static const struct {
        double values[3];
        enum sample_encoding encoding;
        int decimals;
    } cases[] = {
        {{0, 12, -7}, SAMPLES_DECIMAL, 0},
        {{12.5, 12, 0.1}, SAMPLES_DECIMAL, 1},
        {{0.1, 0.25, -3}, SAMPLES_DECIMAL, 2},
        {{0.000001, 1, 2}, SAMPLES_DECIMAL, 6},
        {{0.0000001, 1, 2}, SAMPLES_FLOAT64, 0},
        {{1.0 / 3.0, 1, 2}, SAMPLES_FLOAT64, 0},
        {{0.1 + 0.2, 1, 2}, SAMPLES_FLOAT64, 0}, /* 0.30000000000000004 */
        {{2147483647, -2147483647, 0}, SAMPLES_DECIMAL, 0},
        {{-2147483648.0, 0, 0}, SAMPLES_FLOAT64, 0}, /* its code means missing */
        {{2147483648.0, 0, 0}, SAMPLES_FLOAT64, 0},
        {{2147483647, 0.1, 0}, SAMPLES_FLOAT64, 0}, /* in range only without the decimal */
        {{1e300, 0, 0}, SAMPLES_FLOAT64, 0},
        {{-0.0, 1, 2}, SAMPLES_FLOAT64, 0}, /* no integer code has a negative zero */
        {{(double)NAN, 0.5, (double)NAN}, SAMPLES_DECIMAL, 1},
        {{(double)INFINITY, 1, 2}, SAMPLES_FLOAT64, 0},
    };

    for (size_t i = 0; i < sizeof cases / sizeof cases[0]; i++) {
        struct samples samples;
        samples_from_values(cases[i].values, 3, &samples);
        assert_int_equal(samples.encoding, cases[i].encoding);
        assert_int_equal(samples.decimals, cases[i].decimals);
        assert_int_equal(samples.count, 3);
        assert_int_equal(samples.missing, i == 13 ? 2 : 0);
        assert_ptr_equal(samples.values, cases[i].values);
    }
}

static void decimals_survive(void **state)
{
    struct inputs *inputs = *state;
    static const double powers[] = {1, 10, 100, 1000, 10000, 100000, 1000000};
    uint64_t seed = 1;
    for (int decimals = 0; decimals <= 6; decimals++) {
        for (size_t c = 0; c < sizeof counts / sizeof counts[0]; c++) {
            for (size_t i = 0; i < counts[c]; i++) {
                int64_t code = (int64_t)(next_random(&seed) % 4294967295U) - INT32_MAX;
                inputs->values[i] = (double)code / powers[decimals];
            }
            struct samples samples;
            samples_from_values(inputs->values, counts[c], &samples);
            assert_int_equal(samples.encoding, SAMPLES_DECIMAL);
            assert_true(samples.decimals <= decimals);
            assert_round_trip(inputs, &samples);
        }
    }
}

static void missing_runs_survive(void **state)
{
    struct inputs *inputs = *state;
    uint64_t seed = 2;
    bool missing = true;
    for (size_t i = 0; i < COUNT_MAX; i++) {
        missing = next_random(&seed) % 50 == 0 ? !missing : missing;
        inputs->values[i] =
            missing ? (double)NAN : ((double)(next_random(&seed) % 2000) - 500.0) / 10.0;
    }
    struct samples samples;
    samples_from_values(inputs->values, COUNT_MAX, &samples);
    assert_int_equal(samples.encoding, SAMPLES_DECIMAL);
    assert_true(samples.missing > 1000);
    assert_round_trip(inputs, &samples);

    for (size_t i = 0; i < COUNT_MAX; i++) {
        inputs->values[i] = (double)NAN;
    }
    samples_from_values(inputs->values, COUNT_MAX, &samples);
    assert_int_equal(samples.missing, COUNT_MAX);
    assert_round_trip(inputs, &samples);
}

static void int16_survives_with_any_scale(void **state)
{
    struct inputs *inputs = *state;
    static const double scales[][2] = {{1, 0}, {0.1, -3.7},     {1.0 / 3.0, 1e-9}, {-2.5e-3, 1e6},
                                       {0, 4}, {1e300, -1e300}, {5e-324, -0.0}};
    uint64_t seed = 3;
    for (size_t s = 0; s < sizeof scales / sizeof scales[0]; s++) {
        for (size_t c = 0; c < sizeof counts / sizeof counts[0]; c++) {
            struct samples samples = {.encoding = SAMPLES_INT16,
                                      .scale = scales[s][0],
                                      .offset = scales[s][1],
                                      .count = counts[c],
                                      .values = inputs->values,
                                      .codes16 = inputs->codes};
            for (size_t i = 0; i < counts[c]; i++) {
                int16_t code = (int16_t)((int)(next_random(&seed) % 65536) - 32768);
                inputs->codes[i] = i % 11 == 0 ? INT16_MIN : code;
                inputs->values[i] = inputs->codes[i] == INT16_MIN
                                        ? (double)NAN
                                        : (double)inputs->codes[i] * samples.scale + samples.offset;
            }
            assert_round_trip(inputs, &samples);
        }
    }
}

static void float32_survives_with_every_bit(void **state)
{
    struct inputs *inputs = *state;
    static const uint32_t special[] = {
        0x00000000, 0x80000000,                         /* zeros of both signs */
        0x7f800000, 0xff800000,                         /* infinities */
        0x7fc00000, 0xffc00001, 0x7fffffff, 0x7fc12345, /* quiet NaNs with payloads */
        0x00000001, 0x807fffff,                         /* subnormal */
        0x7f7fffff, 0xff7fffff,                         /* largest */
    };

    enum { SPECIAL_COUNT = sizeof special / sizeof special[0] };

    uint64_t seed = 4;
    for (size_t c = 0; c < sizeof counts / sizeof counts[0]; c++) {
        for (size_t i = 0; i < counts[c]; i++) {
            uint32_t bits = (uint32_t)next_random(&seed);
            if ((bits & 0x7f800000) == 0x7f800000) {
                bits |= 0x00400000; /* processors quieten signalling NaNs when they widen them */
            }
            inputs->values[i] = of_bits32(i % 3 == 0 ? special[i / 3 % SPECIAL_COUNT] : bits);
        }
        struct samples samples = {
            .encoding = SAMPLES_FLOAT32, .scale = 1, .count = counts[c], .values = inputs->values};
        assert_round_trip(inputs, &samples);
    }
}

static void float32_refuses_what_it_cannot_hold(void **state)
{
    struct inputs *inputs = *state;
    static const double too_much[] = {0.1, 1e39, -1e39, 1e-60, 16777217};
    for (size_t i = 0; i < sizeof too_much / sizeof too_much[0]; i++) {
        struct samples samples = {
            .encoding = SAMPLES_FLOAT32, .scale = 1, .count = 1, .values = &too_much[i]};
        struct sample_block block;
        struct error error;
        assert_false(samples_encode_block(&samples, 0, inputs->arena, &block, &error));
        assert_int_equal(error.kind, ERROR_INTERNAL);
    }
}

static void float64_survives_with_every_bit(void **state)
{
    struct inputs *inputs = *state;
    uint64_t seed = 5;
    for (size_t c = 0; c < sizeof counts / sizeof counts[0]; c++) {
        for (size_t i = 0; i < counts[c]; i++) {
            inputs->values[i] = of_bits64(next_random(&seed));
        }
        if (counts[c] > 0) {
            inputs->values[0] = -0.0;
        }
        struct samples samples;
        samples_from_values(inputs->values, counts[c], &samples);
        if (counts[c] > 0) {
            assert_int_equal(samples.encoding, SAMPLES_FLOAT64);
        }
        assert_round_trip(inputs, &samples);
    }
}

/* A pressure on a 0.1 grid that moves by a few steps: that is what the layout is made for. */
static void slow_signals_become_small(void **state)
{
    struct inputs *inputs = *state;
    uint64_t seed = 6;
    int code = 200;
    for (size_t i = 0; i < SAMPLES_BLOCK_LENGTH; i++) {
        code += (int)(next_random(&seed) % 3) - 1;
        inputs->values[i] = (double)code / 10.0;
    }
    struct samples samples;
    samples_from_values(inputs->values, SAMPLES_BLOCK_LENGTH, &samples);
    struct sample_block block;
    struct error error;
    assert_true(samples_encode_block(&samples, 0, inputs->arena, &block, &error));
    assert_true(block.length < SAMPLES_BLOCK_LENGTH); /* below a byte a sample */
}

static void damage_is_noticed(void **state)
{
    struct inputs *inputs = *state;
    for (size_t i = 0; i < SAMPLES_BLOCK_LENGTH; i++) {
        inputs->values[i] = (double)i;
    }
    struct samples samples;
    samples_from_values(inputs->values, SAMPLES_BLOCK_LENGTH, &samples);
    struct sample_block good;
    struct error error;
    assert_true(samples_encode_block(&samples, 0, inputs->arena, &good, &error));
    uint8_t *copy = arena_alloc(inputs->arena, good.length);
    for (size_t i = 0; i < good.length; i++) {
        memcpy(copy, good.data, good.length);
        copy[i] ^= 1;
        struct sample_block damaged = good;
        damaged.data = copy;
        assert_false(samples_decode_block(&samples, &damaged, inputs->decoded, &error));
        assert_int_equal(error.kind, ERROR_INTERNAL);
    }
    struct sample_block shorter = good;
    shorter.length--;
    assert_false(samples_decode_block(&samples, &shorter, inputs->decoded, &error));
    struct sample_block fewer = good;
    fewer.sample_count--;
    assert_false(samples_decode_block(&samples, &fewer, inputs->decoded, &error));
    struct sample_block more = good;
    more.sample_count = SAMPLES_BLOCK_LENGTH + 1;
    assert_false(samples_decode_block(&samples, &more, inputs->decoded, &error));
    struct sample_block nothing = {.sample_count = 1};
    assert_false(samples_decode_block(&samples, &nothing, inputs->decoded, &error));
    struct samples other = samples;
    other.encoding = SAMPLES_INT16;
    assert_false(samples_decode_block(&other, &good, inputs->decoded, &error));
}

/* Random bytes with a right checksum: the decoder must stay within its memory (the sanitizers
 * watch) whatever it says. */
static void random_bytes_do_no_harm(void **state)
{
    struct inputs *inputs = *state;
    uint64_t seed = 7;
    for (size_t i = 0; i < SAMPLES_BLOCK_LENGTH; i++) {
        inputs->values[i] = (double)(i % 100);
    }
    struct samples samples;
    samples_from_values(inputs->values, SAMPLES_BLOCK_LENGTH, &samples);
    struct sample_block good;
    struct error error;
    assert_true(samples_encode_block(&samples, 0, inputs->arena, &good, &error));
    uint8_t bytes[1024];
    size_t refused = 0;
    for (int round = 0; round < 20000; round++) {
        size_t length = good.length < sizeof bytes ? good.length : sizeof bytes;
        if (round % 2 == 0) { /* a good block with some bytes changed */
            memcpy(bytes, good.data, length);
            for (uint64_t n = next_random(&seed) % 4 + 1; n > 0; n--) {
                bytes[next_random(&seed) % length] = (uint8_t)next_random(&seed);
            }
        } else {
            length = next_random(&seed) % sizeof bytes;
            for (size_t i = 0; i < length; i++) {
                bytes[i] = (uint8_t)next_random(&seed);
            }
        }
        struct samples shape = samples;
        shape.encoding = (enum sample_encoding)(next_random(&seed) % 4);
        struct sample_block block = {
            .sample_count = (uint32_t)(next_random(&seed) % (SAMPLES_BLOCK_LENGTH + 2)),
            .checksum = (uint32_t)crc32_z(0, bytes, length),
            .length = length,
            .data = bytes,
        };
        if (!samples_decode_block(&shape, &block, inputs->decoded, &error)) {
            assert_int_equal(error.kind, ERROR_INTERNAL);
            refused++;
        }
    }
    assert_true(refused > 19000);
}

int main(void)
{
#define SAMPLES_TEST(name) cmocka_unit_test_setup_teardown(name, set_up, tear_down)
    const struct CMUnitTest tests[] = {
        SAMPLES_TEST(names_are_stable),
        SAMPLES_TEST(counts_make_blocks),
        SAMPLES_TEST(fewest_decimals_are_found),
        SAMPLES_TEST(decimals_survive),
        SAMPLES_TEST(missing_runs_survive),
        SAMPLES_TEST(int16_survives_with_any_scale),
        SAMPLES_TEST(float32_survives_with_every_bit),
        SAMPLES_TEST(float32_refuses_what_it_cannot_hold),
        SAMPLES_TEST(float64_survives_with_every_bit),
        SAMPLES_TEST(slow_signals_become_small),
        SAMPLES_TEST(damage_is_noticed),
        SAMPLES_TEST(random_bytes_do_no_harm),
    };
    return cmocka_run_group_tests_name("samples", tests, NULL, NULL);
}
