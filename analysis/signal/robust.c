#include "analysis/signal/robust.h"

#include "analysis/criteria.h"

#include <math.h>

struct robust robust_of(double *values, size_t count)
{
    const double median = level_median_of(values, count);

    for (size_t i = 0; i < count; i++) {
        values[i] = fabs(values[i] - median);
    }
    return (struct robust){median, CRITERIA_ROBUST_SCALE * level_median_of(values, count), count};
}

struct robust robust_span(const struct series *series, struct span span,
                          struct level_scratch scratch)
{
    const struct series part = series_part(series, span);
    const size_t step =
        part.count > scratch.capacity ? (part.count + scratch.capacity - 1) / scratch.capacity : 1;
    const double wanted = (span.to_s - span.from_s) * series->rate_hz / (double)step;
    size_t held = 0;

    for (size_t i = 0; i < part.count; i += step) {
        if (!isnan(part.samples[i])) {
            scratch.values[held++] = part.samples[i];
        }
    }
    if (held == 0 || !((double)held >= CRITERIA_ROBUST_PRESENT_SHARE * wanted)) {
        return (struct robust){SERIES_MISSING, SERIES_MISSING, 0};
    }
    return robust_of(scratch.values, held);
}
