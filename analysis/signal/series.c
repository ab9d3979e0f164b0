#include "analysis/signal/series.h"

#include <math.h>

/* Share of a sample interval within which a time counts as the sample's own. */
#define SAME_SAMPLE 1e-6
#define SAME_VALUE  1e-6

double series_time(const struct series *series, size_t index)
{
    return series->start_s + (double)index / series->rate_hz;
}

/* Rounds a position that is known to lie within 0..count; NaN and what lies outside is clamped. */
static size_t position_to_index(double position, size_t count)
{
    if (!(position > 0.0)) {
        return 0;
    }
    if (position >= (double)count) {
        return count;
    }
    return (size_t)position;
}

size_t series_first_at(const struct series *series, double at_s)
{
    const double position = (at_s - series->start_s) * series->rate_hz;

    return position_to_index(ceil(position - SAME_SAMPLE), series->count);
}

size_t series_end_at(const struct series *series, double at_s)
{
    const double position = (at_s - series->start_s) * series->rate_hz;

    return position_to_index(floor(position + SAME_SAMPLE) + 1.0, series->count);
}

struct series series_part(const struct series *series, struct span span)
{
    const size_t first = series_first_at(series, span.from_s);
    const size_t end = series_end_at(series, span.to_s);
    struct series part = *series;

    part.start_s = series_time(series, first);
    part.count = end > first ? end - first : 0;
    if (first > 0 && part.count > 0) {
        part.samples = series->samples + first;
    }
    return part;
}

double series_value(const struct series *series, double at_s)
{
    const double position = (at_s - series->start_s) * series->rate_hz;
    const double nearest = round(position);

    if (series->count == 0 || !(nearest >= 0.0) || !(nearest <= (double)(series->count - 1))) {
        return SERIES_MISSING;
    }
    if (fabs(position - nearest) <= SAME_SAMPLE) {
        return series->samples[(size_t)nearest];
    }
    if (position < 0.0 || position > (double)(series->count - 1)) {
        return SERIES_MISSING;
    }
    const size_t before = (size_t)floor(position);
    const double share = position - floor(position);

    return series->samples[before] * (1.0 - share) + series->samples[before + 1] * share;
}

size_t series_whole_samples(const struct series *series, double seconds)
{
    const double samples = floor(seconds * series->rate_hz + SAME_SAMPLE);

    return position_to_index(samples, series->count);
}

bool series_maximum(const struct series *series, size_t *ret_index)
{
    double largest = -SERIES_ENDLESS;

    for (size_t i = 0; i < series->count; i++) {
        if (series->samples[i] > largest) {
            largest = series->samples[i];
        }
    }
    for (size_t i = 0; i < series->count; i++) {
        if (series->samples[i] >= largest - SAME_VALUE) {
            *ret_index = i;
            return true;
        }
    }
    return false;
}
