/* Volume from flow, and flow from volume. */
#ifndef ANALYSIS_SIGNAL_INTEGRATE_H
#define ANALYSIS_SIGNAL_INTEGRATE_H

#include "analysis/signal/series.h"

/* Integral over a span by the trapezium rule, with partial steps at both ends; the part of the span
 * outside the series counts as zero.
 *
 * bridge_s  missing samples are bridged by a straight line when the samples on both sides are not
 *           further apart than this
 *
 * Returns false, with *ret_integral untouched, when a longer gap lies within the span. */
bool integrate_span(const struct series *series, struct span span, double bridge_s,
                    double *ret_integral);

/* Slope at each sample: the straight line of least squares through the samples present within
 * half_s to both sides (at least one sample to each side); units of the samples per second.
 * Missing where the sample is missing or has fewer than two samples to make a line of.
 *
 * output  series->count values; must not overlap the input. Time is count times window. */
void integrate_slope(const struct series *series, double half_s, double *output);

/* The same, and how well each line fits: the mean square distance of the samples from it. */
void integrate_lines(const struct series *series, double half_s, double *slope, double *residual);

#endif
