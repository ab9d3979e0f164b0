/* Every level of an overview holds the extremes that one finds by looking at each sample. */
#include "formats/overview.h"

#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
/* cmocka needs the four above first */
#include <cmocka.h>
#include <string.h>

enum {
    COUNT = 20011,    /* the last stretch is a short one on every level */
    GAP_BEGIN = 4000, /* a gap as long as whole stretches of level 2 */
    GAP_END = 6000,   /* and one that ends within a stretch */
    LOST_EVERY = 7,   /* and single samples */
    LEVELS_HERE = 2   /* of COUNT samples, made from one another */
};

/* xorshift64* (Vigna 2016): the same numbers in every run. */
static uint64_t next_random(uint64_t *seed)
{
    *seed ^= *seed >> 12;
    *seed ^= *seed << 25;
    *seed ^= *seed >> 27;
    return *seed * UINT64_C(2685821657736338717);
}

static bool is_lost(size_t i)
{
    return (i >= GAP_BEGIN && i < GAP_END) || i % LOST_EVERY == 3;
}

/* Codes of the encoding for numbers on both sides of zero. */
static struct samples make_samples(struct arena *arena, enum sample_encoding encoding, double scale)
{
    struct samples samples = {
        .encoding = encoding, .decimals = 1, .scale = scale, .offset = 0.5, .count = COUNT};
    size_t width = sample_encoding_width(encoding);
    uint8_t *codes = arena_array(arena, COUNT, width);
    uint64_t seed = 20240229;
    for (size_t i = 0; i < COUNT; i++) {
        int16_t number = (int16_t)((int)(next_random(&seed) % 4001) - 2000);
        int16_t of16 = is_lost(i) ? INT16_MIN : number;
        int32_t of32 = is_lost(i) ? INT32_MIN : number;
        float single = is_lost(i) ? (float)NAN : (float)number / 8;
        double full = is_lost(i) ? (double)NAN : (double)number / 10;
        const void *code = encoding == SAMPLES_INT16     ? (const void *)&of16
                           : encoding == SAMPLES_FLOAT32 ? (const void *)&single
                           : encoding == SAMPLES_FLOAT64 ? (const void *)&full
                                                         : (const void *)&of32;
        memcpy(codes + i * width, code, width);
    }
    samples.codes = codes;
    return samples;
}

static void assert_same(double one, double other)
{
    if (isnan(one) || isnan(other)) {
        assert_true(isnan(one) && isnan(other));
        return;
    }
    assert_true(islessgreater(one, other) == 0);
}

/* The extremes of values [first, end) by the definition; NaN without any. */
static void look_at_each(const double *values, size_t first, size_t end, double *ret_least,
                         double *ret_greatest)
{
    *ret_least = (double)NAN;
    *ret_greatest = (double)NAN;
    for (size_t i = first; i < end; i++) {
        if (!isnan(values[i])) {
            *ret_least = isnan(*ret_least) || values[i] < *ret_least ? values[i] : *ret_least;
            *ret_greatest =
                isnan(*ret_greatest) || values[i] > *ret_greatest ? values[i] : *ret_greatest;
        }
    }
}

static void check_level(struct arena *arena, const double *values, int level,
                        const struct samples *least, const struct samples *greatest)
{
    size_t stretch = overview_stretch(level);
    size_t empty = 0;
    assert_int_equal(least->count, overview_count(COUNT, level));
    assert_int_equal(greatest->count, least->count);
    const double *lows = samples_all_values(least, arena);
    const double *highs = samples_all_values(greatest, arena);
    for (size_t i = 0; i < least->count; i++) {
        size_t end = (i + 1) * stretch < COUNT ? (i + 1) * stretch : COUNT;
        double low = 0.0;
        double high = 0.0;
        look_at_each(values, i * stretch, end, &low, &high);
        assert_same(lows[i], low);
        assert_same(highs[i], high);
        empty += isnan(low) ? 1 : 0;
    }
    assert_true(empty > 0 && empty < least->count / 2);
}

static void check_overview(enum sample_encoding encoding, double scale)
{
    struct arena *arena = arena_new();
    struct samples samples = make_samples(arena, encoding, scale);
    const double *values = samples_all_values(&samples, arena);
    struct samples least = samples;
    struct samples greatest = samples;
    for (int level = 1; level <= LEVELS_HERE; level++) {
        struct samples finer_least = least;
        struct samples finer_greatest = greatest;
        overview_make(&finer_least, &finer_greatest, level, arena, &least, &greatest);
        check_level(arena, values, level, &least, &greatest);
    }
    arena_free(arena);
}

static void integers_have_their_extremes(void **state)
{
    (void)state;
    check_overview(SAMPLES_DECIMAL, 1.0);
    check_overview(SAMPLES_INT16, 0.1);
    check_overview(SAMPLES_INT32, 0.1);
}

static void a_negative_scale_turns_them(void **state)
{
    (void)state;
    check_overview(SAMPLES_INT16, -0.1);
    check_overview(SAMPLES_INT32, -0.1);
}

static void floats_have_their_extremes(void **state)
{
    (void)state;
    check_overview(SAMPLES_FLOAT32, 1.0);
    check_overview(SAMPLES_FLOAT64, 1.0);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(integers_have_their_extremes),
        cmocka_unit_test(a_negative_scale_turns_them),
        cmocka_unit_test(floats_have_their_extremes),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
