/* The sample codec gives back every bit that it was given, and refuses everything else. */
#include "formats/sample_block.h"

#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
/* cmocka needs the four above first */
#include <cmocka.h>
#include <string.h>
#include <zlib.h>

enum { COUNT_MAX = 3 * SAMPLE_BLOCK_LENGTH };

static const size_t counts[] = {0, 1, 2, 4095, 4096, 4097, COUNT_MAX};

struct inputs {
    struct arena *arena;
    struct sample_codec *codec;
    double values[COUNT_MAX];
    float floats[COUNT_MAX];
    int16_t codes16[COUNT_MAX];
    int32_t codes32[COUNT_MAX];
    double decoded[COUNT_MAX]; /* room for codes of any encoding */
};

static int set_up(void **state)
{
    struct arena *arena = arena_new();
    struct inputs *inputs = arena_alloc(arena, sizeof *inputs);
    inputs->arena = arena;
    inputs->codec = sample_codec_new();
    *state = inputs;
    return 0;
}

static int tear_down(void **state)
{
    const struct inputs *inputs = *state;
    sample_codec_free(inputs->codec);
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

static float of_bits32(uint32_t bits)
{
    float value = 0;
    memcpy(&value, &bits, sizeof value);
    return value;
}

/* Encodes and decodes all blocks of `samples`; the codes must come back bit for bit. */
static void assert_round_trip(struct inputs *inputs, const struct samples *samples)
{
    struct error error;
    size_t width = sample_encoding_width(samples->encoding);
    size_t done = 0;
    for (size_t b = 0; b < sample_block_count(samples->count); b++) {
        struct sample_block block;
        assert_true(sample_block_encode(inputs->codec, samples, b, &block, &error));
        assert_true(sample_block_decode(inputs->codec, samples->encoding, &block,
                                        (uint8_t *)inputs->decoded + done * width, &error));
        done += block.sample_count;
    }
    assert_int_equal(done, samples->count);
    struct samples decoded = *samples;
    decoded.codes = inputs->decoded;
    assert_true(samples_equal(&decoded, samples));
    struct sample_block none;
    assert_false(sample_block_encode(inputs->codec, samples, sample_block_count(samples->count),
                                     &none, &error));
}

/* The samples' values are these, bit for bit; any NaN stands for missing. */
static void assert_values(struct inputs *inputs, const struct samples *samples,
                          const double *values)
{
    const double *got = samples_all_values(samples, inputs->arena);
    size_t missing = 0;
    for (size_t i = 0; i < samples->count; i++) {
        if (isnan(values[i])) {
            assert_true(isnan(got[i]));
            missing++;
        } else {
            assert_memory_equal(&got[i], &values[i], sizeof got[i]);
        }
    }
    assert_int_equal(samples->missing, missing);
}

static void names_are_stable(void **state)
{
    (void)state;
    static const char *const names[] = {"decimal", "int16", "int32", "float32", "float64"};
    for (size_t i = 0; i < SAMPLES_ENCODING_COUNT; i++) {
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
        assert_int_equal(sample_block_count(counts[i]), blocks[i]);
    }
}

/* What a JSON document may say, and what is to be found in it. */
static void fewest_decimals_are_found(void **state)
{
    struct inputs *inputs = *state;

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
        samples_from_values(cases[i].values, 3, inputs->arena, &samples);
        assert_int_equal(samples.encoding, cases[i].encoding);
        assert_int_equal(samples.decimals, cases[i].decimals);
        assert_int_equal(samples.count, 3);
        assert_int_equal(samples.missing, i == 13 ? 2 : 0);
        assert_values(inputs, &samples, cases[i].values);
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
            samples_from_values(inputs->values, counts[c], inputs->arena, &samples);
            assert_int_equal(samples.encoding, SAMPLES_DECIMAL);
            assert_true(samples.decimals <= decimals);
            assert_values(inputs, &samples, inputs->values);
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
    samples_from_values(inputs->values, COUNT_MAX, inputs->arena, &samples);
    assert_int_equal(samples.encoding, SAMPLES_DECIMAL);
    assert_true(samples.missing > 1000);
    assert_values(inputs, &samples, inputs->values);
    assert_round_trip(inputs, &samples);

    for (size_t i = 0; i < COUNT_MAX; i++) {
        inputs->values[i] = (double)NAN;
    }
    samples_from_values(inputs->values, COUNT_MAX, inputs->arena, &samples);
    assert_int_equal(samples.missing, COUNT_MAX);
    assert_round_trip(inputs, &samples);
}

/* Random codes of both widths, each extreme among them; gives how many are missing. */
static size_t fill_codes(struct inputs *inputs, size_t count, uint64_t *seed)
{
    size_t missing = 0;
    for (size_t i = 0; i < count; i++) {
        uint64_t random = next_random(seed);
        bool is_missing = i % 11 == 0;
        inputs->codes16[i] = is_missing ? INT16_MIN : (int16_t)((int)(random % 65535) - INT16_MAX);
        inputs->codes32[i] = is_missing ? INT32_MIN : inputs->codes16[i] - (int32_t)(i % 2);
        missing += is_missing ? 1 : 0;
    }
    return missing;
}

/* value = code * scale + offset, as documented. */
static void fill_values(struct inputs *inputs, const struct samples *samples)
{
    bool narrow = samples->encoding == SAMPLES_INT16;
    for (size_t i = 0; i < samples->count; i++) {
        double code = narrow ? (double)inputs->codes16[i] : (double)inputs->codes32[i];
        inputs->values[i] = i % 11 == 0 ? (double)NAN : code * samples->scale + samples->offset;
    }
}

static void scaled_codes_survive_with_any_scale(void **state)
{
    struct inputs *inputs = *state;
    static const double scales[][2] = {{1, 0}, {0.1, -3.7},     {1.0 / 3.0, 1e-9}, {-2.5e-3, 1e6},
                                       {0, 4}, {1e290, -1e300}, {5e-324, -0.0}};
    uint64_t seed = 3;
    for (size_t s = 0; s < sizeof scales / sizeof scales[0]; s++) {
        for (size_t c = 0; c < sizeof counts / sizeof counts[0]; c++) {
            struct samples samples = {.encoding = SAMPLES_INT16,
                                      .scale = scales[s][0],
                                      .offset = scales[s][1],
                                      .count = counts[c],
                                      .missing = fill_codes(inputs, counts[c], &seed),
                                      .codes = inputs->codes16};
            fill_values(inputs, &samples);
            assert_values(inputs, &samples, inputs->values);
            assert_round_trip(inputs, &samples);
            samples.encoding = SAMPLES_INT32;
            samples.codes = inputs->codes32;
            fill_values(inputs, &samples);
            assert_values(inputs, &samples, inputs->values);
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
        0x7f800001, 0xffbfffff,                         /* signalling ones */
        0x00000001, 0x807fffff,                         /* subnormal */
        0x7f7fffff, 0xff7fffff,                         /* largest */
    };

    enum { SPECIAL_COUNT = sizeof special / sizeof special[0] };

    uint64_t seed = 4;
    for (size_t c = 0; c < sizeof counts / sizeof counts[0]; c++) {
        for (size_t i = 0; i < counts[c]; i++) {
            uint32_t bits = (uint32_t)next_random(&seed);
            inputs->floats[i] = of_bits32(i % 3 == 0 ? special[i / 3 % SPECIAL_COUNT] : bits);
        }
        struct samples samples = {
            .encoding = SAMPLES_FLOAT32, .scale = 1, .count = counts[c], .codes = inputs->floats};
        assert_round_trip(inputs, &samples);
    }
}

static void slices_are_parts(void **state)
{
    struct inputs *inputs = *state;
    for (size_t i = 0; i < 100; i++) {
        inputs->values[i] = i % 10 == 3 ? (double)NAN : (double)i / 4.0;
    }
    struct samples samples;
    samples_from_values(inputs->values, 100, inputs->arena, &samples);
    struct samples part = samples_slice(&samples, 13, 50);
    assert_int_equal(part.count, 50);
    assert_int_equal(part.missing, 5);
    assert_values(inputs, &part, inputs->values + 13);
    struct samples other = samples_slice(&samples, 14, 50);
    assert_false(samples_equal(&part, &other));
    assert_true(samples_equal(&part, &part));
}

static void every_member_and_bit_counts_for_equality(void **state)
{
    (void)state;
    const int16_t codes[] = {1, 2, INT16_MIN};
    const int16_t others[] = {1, 2, 3};
    const struct samples samples = {
        .encoding = SAMPLES_INT16, .scale = 0.5, .count = 3, .missing = 1, .codes = codes};
    struct samples changed[7];
    for (size_t i = 0; i < 7; i++) {
        changed[i] = samples;
    }
    changed[0].encoding = SAMPLES_INT32; /* differs before any code is read */
    changed[1].decimals = 1;
    changed[2].scale = nextafter(0.5, 1.0);
    changed[3].offset = -0.0; /* the same value, but not the same bits */
    changed[4].count = 2;
    changed[5].codes = others;
    changed[6].count = 0;
    for (size_t i = 0; i < 7; i++) {
        assert_false(samples_equal(&samples, &changed[i]));
    }
    struct samples empty = changed[6];
    empty.codes = NULL;
    assert_true(samples_equal(&empty, &changed[6]));
}

/* A slice of nothing, at either end, and of all. */
static void slices_may_be_empty_or_whole(void **state)
{
    (void)state;
    for (int e = 0; e < SAMPLES_ENCODING_COUNT; e++) {
        double room[4] = {0};
        const struct samples samples = {
            .encoding = (enum sample_encoding)e, .scale = 1, .count = 4, .codes = room};
        assert_int_equal(samples_slice(&samples, 0, 0).count, 0);
        struct samples end = samples_slice(&samples, 4, 0);
        assert_int_equal(end.count, 0);
        assert_ptr_equal(end.codes,
                         (const uint8_t *)room + 4 * sample_encoding_width(samples.encoding));
        struct samples whole = samples_slice(&samples, 0, 4);
        assert_true(samples_equal(&whole, &samples));
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
        samples_from_values(inputs->values, counts[c], inputs->arena, &samples);
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
    for (size_t i = 0; i < SAMPLE_BLOCK_LENGTH; i++) {
        code += (int)(next_random(&seed) % 3) - 1;
        inputs->values[i] = (double)code / 10.0;
    }
    struct samples samples;
    samples_from_values(inputs->values, SAMPLE_BLOCK_LENGTH, inputs->arena, &samples);
    struct sample_block block;
    struct error error;
    assert_true(sample_block_encode(inputs->codec, &samples, 0, &block, &error));
    assert_true(block.length < SAMPLE_BLOCK_LENGTH); /* below a byte a sample */
}

static void damage_is_noticed(void **state)
{
    struct inputs *inputs = *state;
    for (size_t i = 0; i < SAMPLE_BLOCK_LENGTH; i++) {
        inputs->values[i] = (double)i;
    }
    struct samples samples;
    samples_from_values(inputs->values, SAMPLE_BLOCK_LENGTH, inputs->arena, &samples);
    struct sample_block good;
    struct error error;
    assert_true(sample_block_encode(inputs->codec, &samples, 0, &good, &error));
    uint8_t *copy = arena_alloc(inputs->arena, good.length);
    for (size_t i = 0; i < good.length; i++) {
        memcpy(copy, good.data, good.length);
        copy[i] ^= 1;
        struct sample_block damaged = good;
        damaged.data = copy;
        assert_false(sample_block_decode(inputs->codec, samples.encoding, &damaged, inputs->decoded,
                                         &error));
        assert_int_equal(error.kind, ERROR_INTERNAL);
    }
    struct sample_block shorter = good;
    shorter.length--;
    assert_false(
        sample_block_decode(inputs->codec, samples.encoding, &shorter, inputs->decoded, &error));
    struct sample_block fewer = good;
    fewer.sample_count--;
    assert_false(
        sample_block_decode(inputs->codec, samples.encoding, &fewer, inputs->decoded, &error));
    struct sample_block more = good;
    more.sample_count = SAMPLE_BLOCK_LENGTH + 1;
    assert_false(
        sample_block_decode(inputs->codec, samples.encoding, &more, inputs->decoded, &error));
    struct sample_block nothing = {.sample_count = 1};
    assert_false(
        sample_block_decode(inputs->codec, samples.encoding, &nothing, inputs->decoded, &error));
    assert_false(sample_block_decode(inputs->codec, SAMPLES_INT16, &good, inputs->decoded, &error));
}

/* Random bytes with a right checksum: the decoder must stay within its memory (the sanitizers
 * watch) whatever it says. */
static void random_bytes_do_no_harm(void **state)
{
    struct inputs *inputs = *state;
    uint64_t seed = 7;
    for (size_t i = 0; i < SAMPLE_BLOCK_LENGTH; i++) {
        inputs->values[i] = (double)(i % 100);
    }
    struct samples samples;
    samples_from_values(inputs->values, SAMPLE_BLOCK_LENGTH, inputs->arena, &samples);
    struct sample_block good;
    struct error error;
    assert_true(sample_block_encode(inputs->codec, &samples, 0, &good, &error));
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
        enum sample_encoding encoding =
            (enum sample_encoding)(next_random(&seed) % SAMPLES_ENCODING_COUNT);
        struct sample_block block = {
            .sample_count = (uint32_t)(next_random(&seed) % (SAMPLE_BLOCK_LENGTH + 2)),
            .checksum = (uint32_t)crc32_z(0, bytes, length),
            .length = length,
            .data = bytes,
        };
        if (!sample_block_decode(inputs->codec, encoding, &block, inputs->decoded, &error)) {
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
        SAMPLES_TEST(scaled_codes_survive_with_any_scale),
        SAMPLES_TEST(float32_survives_with_every_bit),
        SAMPLES_TEST(slices_are_parts),
        SAMPLES_TEST(slices_may_be_empty_or_whole),
        SAMPLES_TEST(every_member_and_bit_counts_for_equality),
        SAMPLES_TEST(float64_survives_with_every_bit),
        SAMPLES_TEST(slow_signals_become_small),
        SAMPLES_TEST(damage_is_noticed),
        SAMPLES_TEST(random_bytes_do_no_harm),
    };
    return cmocka_run_group_tests_name("samples", tests, NULL, NULL);
}
