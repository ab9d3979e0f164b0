#include "analysis/series_copy.h"

#include "analysis/memory.h"
#include "analysis/signal/resample.h"
#include "analysis/signal/smooth.h"

bool series_copy_reduced(const struct series *series, double most_rate_hz,
                         const struct analysis_memory *memory, struct series *ret_reduced)
{
    const size_t block = resample_block(series, most_rate_hz);

    *ret_reduced = *series;
    if (block <= 1) {
        return true;
    }
    double *means = memory_doubles(memory, series->count / block);

    if (means == NULL) {
        return false;
    }
    *ret_reduced = resample_means(series, block, means);
    return true;
}

bool series_copy_smoothed(const struct series *series, double half_s,
                          const struct analysis_memory *memory, struct series *ret_smoothed)
{
    double *samples = memory_doubles(memory, series->count);

    if (samples == NULL) {
        return false;
    }
    smooth_mean(series, smooth_window(series, half_s), SMOOTH_ENDS_SHORTEN, samples);
    *ret_smoothed = *series;
    ret_smoothed->samples = samples;
    return true;
}

bool series_copy_median(const struct series *series, double half_s,
                        const struct analysis_memory *memory, struct series *ret_median)
{
    const size_t window = smooth_window(series, half_s);
    double *sorted = memory_doubles(memory, window);
    double *samples = memory_doubles(memory, series->count);

    if (sorted == NULL || samples == NULL) {
        return false;
    }
    smooth_median(series, window, sorted, samples);
    *ret_median = *series;
    ret_median->samples = samples;
    return true;
}
