/* Overviews: every stretch of every level against a search through the values themselves. */
#include "formats/overview.h"

#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
/* cmocka needs the four above first */
#include <cmocka.h>
#include <string.h>

enum { COUNT_MAX = 256 * 8192 + 8191 };

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

/* xorshift64* (Vigna 2016, "An experimental exploration of Marsaglia's xorshift generators,
 * scrambled", ACM TOMS 42): the same numbers in every run. */
static uint64_t next_random(uint64_t *seed)
{
    *seed ^= *seed >> 12;
    *seed ^= *seed << 25;
    *seed ^= *seed >> 27;
    return *seed * UINT64_C(2685821657736338717);
}

/* ---- making codes ---- */

static void set_missing(void *codes, enum sample_encoding encoding, size_t i)
{
    switch (encoding) {
    case SAMPLES_INT16:
        ((int16_t *)codes)[i] = INT16_MIN;
        return;
    case SAMPLES_FLOAT32:
        ((float *)codes)[i] = (float)(double)NAN;
        return;
    case SAMPLES_FLOAT64:
        ((double *)codes)[i] = (double)NAN;
        return;
    case SAMPLES_DECIMAL:
    case SAMPLES_INT32:
    case SAMPLES_ENCODING_COUNT:
        break;
    }
    ((int32_t *)codes)[i] = INT32_MIN;
}

/* Any code of the whole range, now and then the least and the greatest that is no missing one. */
static void set_random(void *codes, enum sample_encoding encoding, size_t i, uint64_t random)
{
    bool least = random % 97 == 0;
    bool greatest = random % 97 == 1;
    uint32_t bits = (uint32_t)(random >> 20);
    int32_t wide = (int32_t)(bits == (uint32_t)INT32_MIN ? 0 : bits);
    int16_t narrow = (int16_t)((uint16_t)bits == 0x8000U ? 0 : (uint16_t)bits);
    switch (encoding) {
    case SAMPLES_INT16:
        narrow = least ? -INT16_MAX : narrow;
        ((int16_t *)codes)[i] = greatest ? INT16_MAX : narrow;
        return;
    case SAMPLES_FLOAT32:
        ((float *)codes)[i] = (float)wide / 3.0F;
        return;
    case SAMPLES_FLOAT64:
        ((double *)codes)[i] = (double)wide / 7.0;
        return;
    case SAMPLES_DECIMAL:
    case SAMPLES_INT32:
    case SAMPLES_ENCODING_COUNT:
        break;
    }
    wide = least ? -INT32_MAX : wide;
    ((int32_t *)codes)[i] = greatest ? INT32_MAX : wide;
}

/* Random codes with missing runs from one sample to several stretches of the coarsest level. */
static struct samples random_samples(struct arena *arena, enum sample_encoding encoding,
                                     double scale, size_t count, uint64_t *seed)
{
    void *codes = arena_array(arena, count, sample_encoding_width(encoding));
    bool scaled = sample_encoding_is_scaled(encoding);
    struct samples samples = {.encoding = encoding,
                              .decimals = encoding == SAMPLES_DECIMAL ? 2 : 0,
                              .scale = scaled ? scale : 1.0,
                              .offset = scaled ? 12.5 : 0.0,
                              .count = count,
                              .codes = codes};
    size_t missing_until = 0;
    for (size_t i = 0; i < count; i++) {
        uint64_t random = next_random(seed);
        if (i >= missing_until && random % 400 == 0) {
            missing_until = i + 1 + next_random(seed) % (random % 8000 == 0 ? 30000 : 70);
        }
        if (i < missing_until) {
            set_missing(codes, encoding, i);
            samples.missing++;
        } else {
            set_random(codes, encoding, i, next_random(seed));
        }
    }
    return samples;
}

/* ---- comparing ---- */

static bool same(double one, double other)
{
    return (isnan(one) && isnan(other)) ||
           !(isnan(one) || isnan(other) || islessgreater(one, other));
}

/* Compares the extremes of every step with what a search finds; gives the number of empty steps. */
static size_t compare_steps(const double *values, size_t count, size_t step, const double *low,
                            const double *high)
{
    size_t empty = 0;
    for (size_t s = 0; s * step < count; s++) {
        double wanted_low = (double)NAN;
        double wanted_high = (double)NAN;
        for (size_t i = s * step; i < (s + 1) * step && i < count; i++) {
            wanted_low = isnan(wanted_low) || values[i] < wanted_low ? values[i] : wanted_low;
            wanted_high = isnan(wanted_high) || values[i] > wanted_high ? values[i] : wanted_high;
        }
        empty += isnan(wanted_low) ? 1 : 0;
        if (!same(low[s], wanted_low) || !same(high[s], wanted_high)) {
            fail_msg("step %zu of %zu: %g to %g instead of %g to %g", s, step, low[s], high[s],
                     wanted_low, wanted_high);
        }
    }
    return empty;
}

static size_t compare_level(struct arena *arena, const double *values, size_t count, int level,
                            const struct samples *least, const struct samples *greatest)
{
    assert_int_equal(least->count, overview_count(count, level));
    assert_int_equal(greatest->count, least->count);
    return compare_steps(values, count, overview_stretch(level), samples_all_values(least, arena),
                         samples_all_values(greatest, arena));
}

/* All levels of `samples`, also those too short to be kept; gives the number of empty stretches. */
static size_t compare_levels(struct arena *arena, const struct samples *samples)
{
    const double *values = samples_all_values(samples, arena);
    struct samples least = *samples;
    struct samples greatest = *samples;
    size_t empty = 0;
    for (int level = 1; level <= OVERVIEW_LEVELS; level++) {
        struct samples finer_least = least;
        struct samples finer_greatest = greatest;
        overview_make(&finer_least, &finer_greatest, level, arena, &least, &greatest);
        assert_int_equal(least.encoding, samples->encoding);
        empty += compare_level(arena, values, samples->count, level, &least, &greatest);
    }
    return empty;
}

static void levels_are_the_extremes(void **state)
{
    struct arena *arena = *state;
    static const size_t counts[] = {0,   1,    31,   32,   33,    511,  512,
                                    513, 8191, 8192, 8193, 65536, 99991};
    static const double scales[] = {0.05, -0.05};
    uint64_t seed = 11;
    size_t empty = 0;
    for (int e = 0; e < SAMPLES_ENCODING_COUNT; e++) {
        for (size_t c = 0; c < sizeof counts / sizeof counts[0]; c++) {
            for (int s = 0; s < 2; s++) {
                struct samples samples =
                    random_samples(arena, (enum sample_encoding)e, scales[s], counts[c], &seed);
                empty += compare_levels(arena, &samples);
            }
        }
    }
    assert_true(empty > 1000); /* or the missing runs were too short to matter */
}

static void any_step_gives_its_extremes(void **state)
{
    struct arena *arena = *state;
    uint64_t seed = 23;
    for (int e = 0; e < SAMPLES_ENCODING_COUNT; e++) {
        for (int round = 0; round < 20; round++) {
            size_t count = next_random(&seed) % 5000;
            size_t step = 1 + next_random(&seed) % 700;
            struct samples samples = random_samples(arena, (enum sample_encoding)e,
                                                    round % 2 == 0 ? 0.05 : -0.05, count, &seed);
            struct samples least;
            struct samples greatest;
            overview_reduce(&samples, &samples, step, arena, &least, &greatest);
            assert_int_equal(least.count, (count + step - 1) / step);
            (void)compare_steps(samples_all_values(&samples, arena), count, step,
                                samples_all_values(&least, arena),
                                samples_all_values(&greatest, arena));
        }
    }
}

static void nothing_but_missing_is_missing(void **state)
{
    struct arena *arena = *state;

    enum { COUNT = 20000 };

    for (int e = 0; e < SAMPLES_ENCODING_COUNT; e++) {
        void *codes = arena_array(arena, COUNT, sizeof(double));
        struct samples samples = {.encoding = (enum sample_encoding)e,
                                  .scale = -1,
                                  .count = COUNT,
                                  .missing = COUNT,
                                  .codes = codes};
        for (size_t i = 0; i < COUNT; i++) {
            set_missing(codes, samples.encoding, i);
        }
        size_t all = overview_count(COUNT, 1) + overview_count(COUNT, 2) + overview_count(COUNT, 3);
        assert_int_equal(compare_levels(arena, &samples), all);
    }
}

/* One sample in a long gap is both extremes of its stretch, on every level. */
static void lone_sample_is_found(void **state)
{
    struct arena *arena = *state;

    enum { COUNT = 30000 };

    static const size_t places[] = {0, 31, 32, 8191, 8192, 17000, COUNT - 1};
    static const int16_t lone_codes[] = {-INT16_MAX, 0, INT16_MAX};
    int16_t *codes = arena_array(arena, COUNT, sizeof *codes);
    for (size_t p = 0; p < sizeof places / sizeof places[0]; p++) {
        for (size_t c = 0; c < 3; c++) {
            for (size_t i = 0; i < COUNT; i++) {
                codes[i] = i == places[p] ? lone_codes[c] : INT16_MIN;
            }
            struct samples samples = {.encoding = SAMPLES_INT16,
                                      .scale = c == 1 ? -2.0 : 2.0,
                                      .count = COUNT,
                                      .missing = COUNT - 1,
                                      .codes = codes};
            size_t all =
                overview_count(COUNT, 1) + overview_count(COUNT, 2) + overview_count(COUNT, 3);
            assert_int_equal(compare_levels(arena, &samples), all - 3);
        }
    }
}

/* ---- choosing ---- */

static void stretches_are_as_documented(void **state)
{
    (void)state;
    static const size_t stretches[] = {1, 32, 512, 8192};
    for (int level = 0; level <= OVERVIEW_LEVELS; level++) {
        assert_int_equal(overview_stretch(level), stretches[level]);
        assert_int_equal(overview_count(0, level), 0);
        assert_int_equal(overview_count(1, level), 1);
        assert_int_equal(overview_count(3 * stretches[level], level), 3);
        assert_int_equal(overview_count(3 * stretches[level] + 1, level), 4);
    }
}

static void short_channels_have_no_level(void **state)
{
    (void)state;
    for (int level = 1; level <= OVERVIEW_LEVELS; level++) {
        assert_false(overview_exists(256 * overview_stretch(level) - 1, level));
        assert_true(overview_exists(256 * overview_stretch(level), level));
    }
    assert_false(overview_exists(COUNT_MAX, 0));
    assert_false(overview_exists(COUNT_MAX, -1));
    assert_false(overview_exists(SIZE_MAX, OVERVIEW_LEVELS + 1));
}

static void coarsest_fitting_level_is_chosen(void **state)
{
    (void)state;

    static const struct {
        size_t count;
        size_t most;
        int level;
    } rows[] = {
        {COUNT_MAX, 0, 0},     {COUNT_MAX, 1, 0},      {COUNT_MAX, 31, 0},
        {COUNT_MAX, 32, 1},    {COUNT_MAX, 511, 1},    {COUNT_MAX, 512, 2},
        {COUNT_MAX, 8191, 2},  {COUNT_MAX, 8192, 3},   {COUNT_MAX, SIZE_MAX, 3},
        {0, SIZE_MAX, 0},      {8191, SIZE_MAX, 0},    {8192, SIZE_MAX, 1},
        {131071, SIZE_MAX, 1}, {131072, SIZE_MAX, 2},  {2097151, SIZE_MAX, 2},
        {2097152, 8191, 2},    {2097152, SIZE_MAX, 3}, {SIZE_MAX, SIZE_MAX, 3},
    };

    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
        assert_int_equal(overview_level(rows[i].count, rows[i].most), rows[i].level);
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test_setup_teardown(levels_are_the_extremes, set_up, tear_down),
        cmocka_unit_test_setup_teardown(any_step_gives_its_extremes, set_up, tear_down),
        cmocka_unit_test_setup_teardown(nothing_but_missing_is_missing, set_up, tear_down),
        cmocka_unit_test_setup_teardown(lone_sample_is_found, set_up, tear_down),
        cmocka_unit_test(stretches_are_as_documented),
        cmocka_unit_test(short_channels_have_no_level),
        cmocka_unit_test(coarsest_fitting_level_is_chosen),
    };
    return cmocka_run_group_tests_name("formats: overview", tests, NULL, NULL);
}
