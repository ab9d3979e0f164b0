#include "formats/overview.h"

#include "base/number.h"

#include <math.h>
#include <string.h>

enum {
    FIRST_STRETCH = 32,
    STEP = 16,            /* stretches of a level in one of the next */
    LEAST_STRETCHES = 256 /* fewer than these are not worth a row of their own */
};

size_t overview_stretch(int level)
{
    size_t stretch = 1;
    for (int i = 1; i <= level; i++) {
        stretch *= i == 1 ? FIRST_STRETCH : STEP;
    }
    return stretch;
}

size_t overview_count(size_t sample_count, int level)
{
    return number_divide_up(sample_count, overview_stretch(level));
}

bool overview_exists(size_t sample_count, int level)
{
    return level >= 1 && level <= OVERVIEW_LEVELS &&
           sample_count / overview_stretch(level) >= LEAST_STRETCHES;
}

int overview_level(size_t sample_count, size_t most_samples)
{
    int level = 0;
    while (overview_exists(sample_count, level + 1) &&
           overview_stretch(level + 1) <= most_samples) {
        level++;
    }
    return level;
}

/* ---- making ----
 *
 * Integer codes are compared as they are, because storing an upload waits for this. A missing one
 * is the smallest integer there is: one less, it is the greatest, and the least of the others can
 * be found without asking for it. Of floats a missing one is never less nor greater: comparing by
 * hand is one instruction, where fmin() is a call. */

static void extremes_of_int16(const int16_t *least, const int16_t *greatest, size_t count,
                              int16_t *ret_least, int16_t *ret_greatest)
{
    int16_t low = INT16_MAX;
    int16_t high = INT16_MIN;
    for (size_t i = 0; i < count; i++) {
        int16_t one_less = (int16_t)(uint16_t)((uint16_t)least[i] - 1U);
        low = one_less < low ? one_less : low;
        high = greatest[i] > high ? greatest[i] : high;
    }
    *ret_least = high == INT16_MIN ? INT16_MIN : (int16_t)(uint16_t)((uint16_t)low + 1U);
    *ret_greatest = high;
}

static void extremes_of_int32(const int32_t *least, const int32_t *greatest, size_t count,
                              int32_t *ret_least, int32_t *ret_greatest)
{
    int32_t low = INT32_MAX;
    int32_t high = INT32_MIN;
    for (size_t i = 0; i < count; i++) {
        int32_t one_less = (int32_t)((uint32_t)least[i] - 1U);
        low = one_less < low ? one_less : low;
        high = greatest[i] > high ? greatest[i] : high;
    }
    *ret_least = high == INT32_MIN ? INT32_MIN : (int32_t)((uint32_t)low + 1U);
    *ret_greatest = high;
}

static void extremes_of_float(const float *least, const float *greatest, size_t count,
                              float *ret_least, float *ret_greatest)
{
    float low = (float)INFINITY;
    float high = -low;
    for (size_t i = 0; i < count; i++) {
        low = least[i] < low ? least[i] : low;
        high = greatest[i] > high ? greatest[i] : high;
    }
    bool any = low <= high;
    *ret_least = any ? low : (float)NAN;
    *ret_greatest = any ? high : (float)NAN;
}

static void extremes_of_double(const double *least, const double *greatest, size_t count,
                               double *ret_least, double *ret_greatest)
{
    double low = (double)INFINITY;
    double high = -low;
    for (size_t i = 0; i < count; i++) {
        low = least[i] < low ? least[i] : low;
        high = greatest[i] > high ? greatest[i] : high;
    }
    bool any = low <= high;
    *ret_least = any ? low : (double)NAN;
    *ret_greatest = any ? high : (double)NAN;
}

/* The extremes of codes [first, first + count) into place `at`. */
static void extremes(const struct samples *least, const struct samples *greatest, size_t first,
                     size_t count, size_t at, void *ret_least, void *ret_greatest)
{
    switch (least->encoding) {
    case SAMPLES_INT16:
        extremes_of_int16((const int16_t *)least->codes + first,
                          (const int16_t *)greatest->codes + first, count,
                          (int16_t *)ret_least + at, (int16_t *)ret_greatest + at);
        return;
    case SAMPLES_DECIMAL:
    case SAMPLES_INT32:
        extremes_of_int32((const int32_t *)least->codes + first,
                          (const int32_t *)greatest->codes + first, count,
                          (int32_t *)ret_least + at, (int32_t *)ret_greatest + at);
        return;
    case SAMPLES_FLOAT32:
        extremes_of_float((const float *)least->codes + first,
                          (const float *)greatest->codes + first, count, (float *)ret_least + at,
                          (float *)ret_greatest + at);
        return;
    case SAMPLES_FLOAT64:
    case SAMPLES_ENCODING_COUNT:
        break;
    }
    extremes_of_double((const double *)least->codes + first,
                       (const double *)greatest->codes + first, count, (double *)ret_least + at,
                       (double *)ret_greatest + at);
}

void overview_reduce(const struct samples *finer_least, const struct samples *finer_greatest,
                     size_t step, struct arena *arena, struct samples *ret_least,
                     struct samples *ret_greatest)
{
    /* With a negative scale the least value is the one with the greatest code. */
    bool turned = sample_encoding_is_scaled(finer_least->encoding) && finer_least->scale < 0.0;
    const struct samples *low = turned ? finer_greatest : finer_least;
    const struct samples *high = turned ? finer_least : finer_greatest;
    size_t count = low->count;
    size_t groups = number_divide_up(count, step);
    size_t width = sample_encoding_width(low->encoding);
    void *lowest = arena_array(arena, groups, width);
    void *highest = arena_array(arena, groups, width);
    for (size_t i = 0; i < groups; i++) {
        size_t first = i * step;
        size_t left = count - first;
        extremes(low, high, first, left < step ? left : step, i, lowest, highest);
    }
    *ret_least = *finer_least;
    *ret_greatest = *finer_greatest;
    ret_least->count = groups;
    ret_greatest->count = groups;
    ret_least->codes = turned ? highest : lowest;
    ret_greatest->codes = turned ? lowest : highest;
}

void overview_make(const struct samples *finer_least, const struct samples *finer_greatest,
                   int level, struct arena *arena, struct samples *ret_least,
                   struct samples *ret_greatest)
{
    overview_reduce(finer_least, finer_greatest, level == 1 ? FIRST_STRETCH : STEP, arena,
                    ret_least, ret_greatest);
}
