#include "analysis/signal/peaks.h"

#include <math.h>

size_t peaks_capacity(const struct series *series)
{
    return series->count / 2 + 2;
}

/* The scan keeps the peaks that no higher one has followed yet, so their heights fall. */
struct scan {
    const double *samples;
    struct peak *peaks;
    size_t *open; /* of these, the indices among `peaks` */
    size_t open_count;
    size_t peak_count;
    size_t first; /* first and last sample present */
    size_t last;
};

static size_t lower_of(const double *samples, size_t a, size_t b)
{
    return samples[b] < samples[a] ? b : a;
}

/* Ends the topmost open peak, whose right valley is now known. Returns the lowest sample from its
 * left valley on. */
static size_t end_peak(struct scan *scan, size_t valley)
{
    struct peak *peak = &scan->peaks[scan->open[--scan->open_count]];
    const double left = peak->index == scan->first ? -SERIES_ENDLESS : scan->samples[peak->left];
    const double right = peak->index == scan->last ? -SERIES_ENDLESS : scan->samples[valley];
    const double base = left > right ? left : right;

    peak->right = valley;
    peak->prominence = isfinite(base) ? peak->height - base : 0.0;
    return lower_of(scan->samples, peak->left, valley);
}

static void take_peak(struct scan *scan, size_t index, size_t valley)
{
    const double height = scan->samples[index];

    while (scan->open_count > 0 && scan->peaks[scan->open[scan->open_count - 1]].height < height) {
        valley = end_peak(scan, valley);
    }
    scan->peaks[scan->peak_count] = (struct peak){.index = index, .height = height, .left = valley};
    scan->open[scan->open_count++] = scan->peak_count++;
}

static void scan_samples(struct scan *scan, size_t count)
{
    size_t known = scan->first;
    size_t risen = scan->first; /* where the present plateau began */
    size_t valley = scan->first;
    bool rising = true;

    for (size_t i = scan->first + 1; i < count; i++) {
        const double step = scan->samples[i] - scan->samples[known];

        if (isnan(step)) {
            continue;
        }
        if (step > 0.0) {
            rising = true;
            risen = i;
        } else if (step < 0.0) {
            if (rising) {
                take_peak(scan, risen, valley);
                valley = i;
            }
            rising = false;
            valley = lower_of(scan->samples, valley, i);
        }
        known = i;
    }
    scan->last = known;
    if (rising && risen > scan->first) {
        scan->last = risen;
        take_peak(scan, risen, valley);
        valley = risen;
    }
    while (scan->open_count > 0) {
        valley = end_peak(scan, valley);
    }
}

size_t peaks_find(const struct series *series, double min_prominence, struct peak *peaks,
                  size_t *stack)
{
    struct scan scan = {.samples = series->samples, .peaks = peaks, .open = stack};
    size_t kept = 0;

    while (scan.first < series->count && isnan(series->samples[scan.first])) {
        scan.first++;
    }
    if (scan.first == series->count) {
        return 0;
    }
    scan_samples(&scan, series->count);
    for (size_t i = 0; i < scan.peak_count; i++) {
        if (peaks[i].prominence >= min_prominence) {
            peaks[kept++] = peaks[i];
        }
    }
    return kept;
}
