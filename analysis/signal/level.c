#include "analysis/signal/level.h"

#include <math.h>

static void swap(double *a, double *b)
{
    const double kept = *a;

    *a = *b;
    *b = kept;
}

/* Moves the element of rank `rank` to values[rank], smaller ones before it (Hoare's selection). */
static void select_rank(double *values, size_t count, size_t rank)
{
    size_t low = 0;
    size_t high = count - 1;

    while (low < high) {
        const double pivot = values[low + (high - low) / 2];
        size_t left = low;
        size_t right = high;

        while (left <= right) {
            while (values[left] < pivot) {
                left++;
            }
            while (values[right] > pivot) {
                right--;
            }
            if (left > right) {
                break;
            }
            swap(&values[left], &values[right]);
            left++;
            if (right == 0) {
                break;
            }
            right--;
        }
        if (rank <= right && right < high) {
            high = right;
        } else if (rank >= left) {
            low = left;
        } else {
            return;
        }
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
