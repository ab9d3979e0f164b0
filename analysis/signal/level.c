#include "analysis/signal/level.h"

#include <math.h>

static double middle_of_three(double a, double b, double c)
{
    return fmax(fmin(a, b), fmin(fmax(a, b), c));
}

/* Moves the values below the pivot (or, with `or_equal`, at it too) to the front of
 * values[low..end) and returns one past them. No branch depends on a value: noise would mislead its
 * prediction half of the time. */
static size_t gather(double *values, size_t low, size_t end, double pivot, bool or_equal)
{
    size_t place = low;

    for (size_t i = low; i < end; i++) {
        const double value = values[i];

        values[i] = values[place];
        values[place] = value;
        place += or_equal ? value <= pivot : value < pivot;
    }
    return place;
}

/* Moves the element of rank `rank` to values[rank], smaller ones before it. */
static void select_rank(double *values, size_t count, size_t rank)
{
    size_t low = 0;
    size_t end = count;

    while (end - low > 1) {
        const double pivot =
            middle_of_three(values[low], values[low + (end - low) / 2], values[end - 1]);
        const size_t below = gather(values, low, end, pivot, false);

        if (rank < below) {
            end = below;
            continue;
        }
        const size_t above = gather(values, below, end, pivot, true);

        if (rank < above) {
            return;
        }
        low = above;
    }
}

double level_median_of(double *values, size_t count)
{
    if (count == 0) {
        return SERIES_MISSING;
    }
    const size_t middle = count / 2;

    select_rank(values, count, middle);
    if (count % 2 == 1) {
        return values[middle];
    }
    double below = values[0];

    for (size_t i = 1; i < middle; i++) {
        below = values[i] > below ? values[i] : below;
    }
    return 0.5 * (below + values[middle]);
}

double level_quantile_of(double *values, size_t count, double share)
{
    if (count == 0) {
        return SERIES_MISSING;
    }
    const size_t rank = (size_t)floor(share * (double)(count - 1) + 0.5);

    select_rank(values, count, rank);
    return values[rank];
}

double level_median(const struct series *series, struct span span, struct level_scratch scratch)
{
    const struct series part = series_part(series, span);
    const size_t step =
        part.count > scratch.capacity ? (part.count + scratch.capacity - 1) / scratch.capacity : 1;
    size_t seen = 0;
    size_t held = 0;

    for (size_t i = 0; i < part.count; i += step) {
        seen++;
        if (!isnan(part.samples[i])) {
            scratch.values[held++] = part.samples[i];
        }
    }
    return held * 2 < seen ? SERIES_MISSING : level_median_of(scratch.values, held);
}

double level_spread(const struct series *series, struct span span)
{
    const struct series part = series_part(series, span);
    double smallest = SERIES_ENDLESS;
    double largest = -SERIES_ENDLESS;
    size_t present = 0;

    for (size_t i = 0; i < part.count; i++) {
        if (!isnan(part.samples[i])) {
            smallest = fmin(smallest, part.samples[i]);
            largest = fmax(largest, part.samples[i]);
            present++;
        }
    }
    return present == 0 || present * 2 < part.count ? SERIES_MISSING : largest - smallest;
}
