/* Median and spread that outliers do not move. */
#ifndef ANALYSIS_SIGNAL_ROBUST_H
#define ANALYSIS_SIGNAL_ROBUST_H

#include "analysis/signal/level.h"

/* Middle and spread of a set of values; NaN when there were none. */
struct robust {
    double median;
    double sd; /* 1.4826 times the median absolute deviation: the SD of a normal distribution */
    size_t count;
};

/* Of values[0..count), none of them NaN; reorders and changes them. */
struct robust robust_of(double *values, size_t count);

/* Of the samples within a span. Nothing (NaN, count 0) when less than half of the samples that the
 * span should hold are present: of those that lie outside the series, too.
 *
 * scratch  room for the samples; a longer span is thinned evenly */
struct robust robust_span(const struct series *series, struct span span,
                          struct level_scratch scratch);

#endif
