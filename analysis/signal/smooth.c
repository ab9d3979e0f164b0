#include "analysis/signal/smooth.h"

#include <math.h>
#include <string.h>

size_t smooth_window(const struct series *series, double half_s)
{
    return 2 * series_whole_samples(series, half_s) + 1;
}

struct sliding_sum {
    double sum;
    size_t present;
};

static void sliding_add(struct sliding_sum *sliding, double sample)
{
    if (!isnan(sample)) {
        sliding->sum += sample;
        sliding->present++;
    }
}

static void sliding_remove(struct sliding_sum *sliding, double sample)
{
    if (isnan(sample)) {
        return;
    }
    sliding->sum -= sample;
    sliding->present--;
    if (sliding->present == 0) {
        sliding->sum = 0.0;
    }
}

void smooth_mean(const struct series *series, size_t window, enum smooth_ends ends, double *output)
{
    const double *samples = series->samples;
    const size_t count = series->count;
    const size_t half = window / 2;
    struct sliding_sum sliding = {0.0, 0};

    for (size_t i = 0; i < count && i < half; i++) {
        sliding_add(&sliding, samples[i]);
    }
    for (size_t i = 0; i < count; i++) {
        if (half < count - i) {
            sliding_add(&sliding, samples[i + half]);
        }
        if (i > half) {
            sliding_remove(&sliding, samples[i - half - 1]);
        }
        const size_t before = i < half ? i : half;
        const size_t after = count - 1 - i < half ? count - 1 - i : half;
        const size_t inside = before + after + 1;
        const size_t virtual_zeros = ends == SMOOTH_ENDS_ZERO ? window - inside : 0;

        output[i] = isnan(samples[i]) || sliding.present * 2 < inside
                        ? SERIES_MISSING
                        : sliding.sum / (double)(sliding.present + virtual_zeros);
    }
}

void smooth_bridge(const struct series *series, double bridge_s, double *samples)
{
    const double longest = bridge_s * series->rate_hz * (1.0 + 1e-9);
    size_t known = series->count;

    for (size_t i = 0; i < series->count; i++) {
        if (isnan(samples[i])) {
            continue;
        }
        const double steps = known < i ? (double)(i - known) : 0.0;

        if (steps > 1.0 && steps <= longest) {
            for (size_t k = known + 1; k < i; k++) {
                samples[k] =
                    samples[known] + (samples[i] - samples[known]) * (double)(k - known) / steps;
            }
        }
        known = i;
    }
}

void smooth_drop_partial(const struct series *series, size_t window, double *output)
{
    const size_t half = window / 2;
    size_t dropped = 0; /* everything before it is done */

    for (size_t i = 0; i < series->count; i++) {
        if (!isnan(series->samples[i])) {
            continue;
        }
        const size_t end = series->count - i > half ? i + half + 1 : series->count;
        size_t k = i > half ? i - half : 0;

        for (k = k > dropped ? k : dropped; k < end; k++) {
            output[k] = SERIES_MISSING;
        }
        dropped = end;
    }
}

/* Up to this many values are counted through: quicker than a search whose branches nothing
 * predicts.
 */
enum { COUNTED_MOST = 64 };

/* First place in sorted[0..count) whose value is not below `value`. */
static size_t sorted_place(const double *sorted, size_t count, double value)
{
    size_t low = 0;
    size_t high = count;

    while (high - low > COUNTED_MOST) {
        const size_t middle = low + (high - low) / 2;

        if (sorted[middle] < value) {
            low = middle + 1;
        } else {
            high = middle;
        }
    }
    size_t place = low;

    for (size_t i = low; i < high; i++) {
        place += sorted[i] < value;
    }
    return place;
}

static size_t sorted_insert(double *sorted, size_t count, double value)
{
    if (isnan(value)) {
        return count;
    }
    const size_t place = sorted_place(sorted, count, value);

    memmove(sorted + place + 1, sorted + place, (count - place) * sizeof *sorted);
    sorted[place] = value;
    return count + 1;
}

static size_t sorted_remove(double *sorted, size_t count, double value)
{
    if (isnan(value)) {
        return count;
    }
    const size_t place = sorted_place(sorted, count, value);

    memmove(sorted + place, sorted + place + 1, (count - place - 1) * sizeof *sorted);
    return count - 1;
}

/* The samples present in the window around one sample, sorted. */
static size_t sorted_window(const struct series *series, size_t centre, size_t half, double *sorted)
{
    const size_t first = centre > half ? centre - half : 0;
    const size_t end = series->count - centre > half ? centre + half + 1 : series->count;
    size_t held = 0;

    for (size_t i = first; i < end; i++) {
        held = sorted_insert(sorted, held, series->samples[i]);
    }
    return held;
}

/* Moves the sorted window on, from around `centre` - 1 to around `centre`. */
static size_t sorted_move(const struct series *series, size_t centre, size_t half, double *sorted,
                          size_t held)
{
    if (centre > half) {
        held = sorted_remove(sorted, held, series->samples[centre - half - 1]);
    }
    if (half < series->count - centre) {
        held = sorted_insert(sorted, held, series->samples[centre + half]);
    }
    return held;
}

static double sorted_middle(const double *sorted, size_t held)
{
    return held % 2 == 1 ? sorted[held / 2] : 0.5 * (sorted[held / 2 - 1] + sorted[held / 2]);
}

void smooth_median(const struct series *series, size_t window, double *sorted, double *output)
{
    smooth_median_beyond(series, window, 0.0, sorted, output);
}

void smooth_median_beyond(const struct series *series, size_t window, double level, double *sorted,
                          double *output)
{
    const double *samples = series->samples;
    const size_t half = window / 2;
    size_t reached = 0; /* one past the last sample seen beyond the level; 0: none yet */
    size_t seen = 0;
    size_t moved = 0; /* one past the centre that the sorted window stands at; 0: nowhere */
    size_t held = 0;

    for (size_t i = 0; i < series->count; i++) {
        for (; seen < series->count && seen <= i + half; seen++) {
            reached = fabs(samples[seen]) >= level ? seen + 1 : reached;
        }
        if (isnan(samples[i]) || reached == 0 || reached + half <= i) {
            output[i] = samples[i];
            continue;
        }
        held = moved > 0 && moved == i ? sorted_move(series, i, half, sorted, held)
                                       : sorted_window(series, i, half, sorted);
        moved = i + 1;
        output[i] = sorted_middle(sorted, held);
    }
}
