/* Levels: what a signal rests at over a window of time. */
#ifndef ANALYSIS_SIGNAL_LEVEL_H
#define ANALYSIS_SIGNAL_LEVEL_H

#include "analysis/signal/series.h"

/* Scratch for a window's samples. Windows that hold more are thinned evenly. */
struct level_scratch {
    double *values;
    size_t capacity; /* at least 1 */
};

/* Median of values[0..count); reorders them. NaN when count is 0. */
double level_median_of(double *values, size_t count);

/* Value below which about `share` of values[0..count) lie (0 <= share <= 1; nearest rank); reorders
 * them. NaN when count is 0. */
double level_quantile_of(double *values, size_t count, double share);

/* Median of the samples present within a span: short disturbances such as coughs do not move it.
 * NaN when less than half of the span's samples are present. */
double level_median(const struct series *series, struct span span, struct level_scratch scratch);

/* Largest minus smallest sample within a span; NaN when less than half are present. */
double level_spread(const struct series *series, struct span span);

#endif
