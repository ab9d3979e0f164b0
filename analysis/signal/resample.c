#include "analysis/signal/resample.h"

#include <math.h>

bool resample_same_axis(const struct series *a, const struct series *b)
{
    return fabs(a->rate_hz - b->rate_hz) <= 1e-9 * a->rate_hz &&
           fabs(a->start_s - b->start_s) * a->rate_hz <= 1e-6;
}

double resample_at(const struct series *a, size_t index, const struct series *b, bool paired)
{
    if (!paired) {
        return series_value(b, series_time(a, index));
    }
    return index < b->count ? b->samples[index] : SERIES_MISSING;
}

void resample_difference(const struct series *a, const struct series *b, double *output)
{
    const bool paired = resample_same_axis(a, b);

    for (size_t i = 0; i < a->count; i++) {
        output[i] = a->samples[i] - resample_at(a, i, b, paired);
    }
}

size_t resample_block(const struct series *series, double rate_hz)
{
    const double blocks = ceil(series->rate_hz / rate_hz - 1e-9);

    return blocks > 1.0 && blocks < 1e9 ? (size_t)blocks : 1;
}

/* Mean of the samples present; missing when more than half are not. */
static double mean_of_present(const double *samples, size_t count)
{
    double sum = 0.0;
    size_t present = 0;

    for (size_t i = 0; i < count; i++) {
        if (!isnan(samples[i])) {
            sum += samples[i];
            present++;
        }
    }
    return present * 2 < count ? SERIES_MISSING : sum / (double)present;
}

static void mean_blocks(const double *samples, size_t count, size_t block, double *output)
{
    for (size_t i = 0; i < count; i++) {
        double sum = 0.0;

        for (size_t k = 0; k < block; k++) {
            sum += samples[i * block + k];
        }
        output[i] = sum / (double)block;
    }
}

/* The same for blocks of two, which are what a pressure of 100 Hz comes in. */
static void mean_pairs(const double *samples, size_t count, double *output)
{
    for (size_t i = 0; i < count; i++) {
        output[i] = (0.0 + samples[2 * i] + samples[2 * i + 1]) / 2.0; /* of -0.0 too: 0.0 */
    }
}

struct series resample_means(const struct series *series, size_t block, double *output)
{
    const size_t count = series->count / block;

    /* What is missing makes its mean missing, and is seen to after the loop that nearly always is
     * all there is to do. */
    if (block == 2) {
        mean_pairs(series->samples, count, output);
    } else {
        mean_blocks(series->samples, count, block, output);
    }
    for (size_t i = 0; i < count; i++) {
        if (isnan(output[i])) {
            output[i] = mean_of_present(series->samples + i * block, block);
        }
    }
    return (struct series){.rate_hz = series->rate_hz / (double)block,
                           .start_s = series->start_s + 0.5 * (double)(block - 1) / series->rate_hz,
                           .count = count,
                           .samples = output};
}
