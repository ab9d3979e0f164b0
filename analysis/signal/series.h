/* A view of equally spaced samples on the recording's time axis. NaN is a missing sample; every
 * other value is finite. A series of count 0 stands for a signal that is not there. */
#ifndef ANALYSIS_SIGNAL_SERIES_H
#define ANALYSIS_SIGNAL_SERIES_H

#include <math.h>
#include <stdbool.h>
#include <stddef.h>

/* A missing sample, and a time that nothing lies beyond, as doubles (the C library's are floats).
 */
#define SERIES_MISSING ((double)NAN)
#define SERIES_ENDLESS ((double)INFINITY)

struct series {
    double rate_hz;
    double start_s; /* time of samples[0] */
    size_t count;
    const double *samples; /* borrowed */
};

/* A stretch of time. */
struct span {
    double from_s;
    double to_s;
};

/* Time of sample `index`, s. */
double series_time(const struct series *series, size_t index);

/* Index of the first sample at or after `at_s`; count when there is none. */
size_t series_first_at(const struct series *series, double at_s);

/* One past the last sample at or before `at_s`; 0 when there is none. */
size_t series_end_at(const struct series *series, double at_s);

/* The part of a series within a span, both ends included. Shares the samples. */
struct series series_part(const struct series *series, struct span span);

/* Value at a moment, by linear interpolation between the samples beside it. NaN outside the series
 * and within a gap: a straight line is never drawn across missing samples. */
double series_value(const struct series *series, double at_s);

/* Length of `seconds` in whole samples (rounded down, with room for inexact rates). */
size_t series_whole_samples(const struct series *series, double seconds);

/* Index of the largest sample of a series, the earliest among equals (to within 1e-6, so that the
 * rounding of sums does not choose the place on a plateau). False when no sample is present. */
bool series_maximum(const struct series *series, size_t *ret_index);

#endif
