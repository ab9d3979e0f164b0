#include "analysis/signal/integrate.h"

#include <math.h>

/* The trapezium between two known samples, cut to the span. */
static double trapezium(const double time[2], const double value[2], struct span span)
{
    const double from = fmax(time[0], span.from_s);
    const double to = fmin(time[1], span.to_s);

    if (!(to > from)) {
        return 0.0;
    }
    const double slope = (value[1] - value[0]) / (time[1] - time[0]);
    const double middle = 0.5 * (from + to);

    return (to - from) * (value[0] + slope * (middle - time[0]));
}

bool integrate_span(const struct series *series, struct span span, double bridge_s,
                    double *ret_integral)
{
    const size_t first = series_first_at(series, span.from_s);
    const size_t end = series_end_at(series, span.to_s);
    const double longest = fmax(bridge_s, 1.0 / series->rate_hz) * (1.0 + 1e-9);
    size_t known = first;
    double integral = 0.0;

    /* A partial step needs the sample on the other side of the span's end. */
    while (known > 0 && series_time(series, first) - series_time(series, known - 1) <= longest) {
        known--;
        if (!isnan(series->samples[known])) {
            break;
        }
    }
    bool have = false;

    for (size_t i = known; i < series->count; i++) {
        if (isnan(series->samples[i])) {
            continue;
        }
        const double time[2] = {series_time(series, known), series_time(series, i)};

        if (have && time[1] - time[0] > longest && time[0] < span.to_s && time[1] > span.from_s) {
            return false;
        }
        if (have) {
            const double value[2] = {series->samples[known], series->samples[i]};

            integral += trapezium(time, value, span);
        }
        have = true;
        known = i;
        if (i >= end) {
            break;
        }
    }
    *ret_integral = integral;
    return true;
}

/* The line of least squares through the samples present around one. */
struct line {
    double slope;    /* units per second */
    double residual; /* mean square distance from it */
};

static struct line line_at(const struct series *series, size_t centre, size_t half)
{
    const size_t first = centre > half ? centre - half : 0;
    const size_t last = series->count - 1 - centre > half ? centre + half : series->count - 1;
    double sum_t = 0.0;
    double sum_v = 0.0;
    double sum_tt = 0.0;
    double sum_tv = 0.0;
    double sum_vv = 0.0;
    double present = 0.0;

    for (size_t i = first; i <= last; i++) {
        if (isnan(series->samples[i])) {
            continue;
        }
        const double t = (double)i - (double)centre;
        const double v = series->samples[i] - series->samples[centre];

        present += 1.0;
        sum_t += t;
        sum_v += v;
        sum_tt += t * t;
        sum_tv += t * v;
        sum_vv += v * v;
    }
    const double spread = present * sum_tt - sum_t * sum_t;
    const double product = present * sum_tv - sum_t * sum_v;

    if (!(spread > 0.0)) {
        return (struct line){SERIES_MISSING, SERIES_MISSING};
    }
    const double squares = present * sum_vv - sum_v * sum_v - product * product / spread;

    return (struct line){product / spread * series->rate_hz,
                         fmax(squares, 0.0) / (present * present)};
}

void integrate_lines(const struct series *series, double half_s, double *slope, double *residual)
{
    const size_t whole = series_whole_samples(series, half_s);
    const size_t half = whole > 0 ? whole : 1;

    for (size_t i = 0; i < series->count; i++) {
        const struct line line = isnan(series->samples[i])
                                     ? (struct line){SERIES_MISSING, SERIES_MISSING}
                                     : line_at(series, i, half);

        slope[i] = line.slope;
        residual[i] = line.residual;
    }
}

void integrate_slope(const struct series *series, double half_s, double *output)
{
    const size_t whole = series_whole_samples(series, half_s);
    const size_t half = whole > 0 ? whole : 1;

    for (size_t i = 0; i < series->count; i++) {
        output[i] = isnan(series->samples[i]) ? SERIES_MISSING : line_at(series, i, half).slope;
    }
}
