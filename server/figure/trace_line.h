/* Traces as lines: places of samples, extremes, means, gaps. Private to figure/. */
#ifndef FIGURE_TRACE_LINE_H
#define FIGURE_TRACE_LINE_H

#include "figure/figure.h"
#include "figure/plot.h"

/* The channel of a signal in the narrowest of the source's traces that covers a span as far as
 * the recording goes, or NULL. */
const struct traces_channel *trace_find(const struct figure_source *source, struct figure_span span,
                                        enum signal_kind signal);

/* The traces that trace_find() looks in; NULL without any. */
const struct figure_traces *trace_covering(const struct figure_source *source,
                                           struct figure_span span);

/* Time of a sample, or of the middle of a bin's samples. */
double trace_time(const struct traces_channel *channel, size_t index);

/* Least and greatest value of a sample or bin; NaN where missing. */
double trace_least(const struct traces_channel *channel, size_t index);
double trace_greatest(const struct traces_channel *channel, size_t index);

/* The channel as points of a plot from its `from_x` to its `to_x` (seconds), and one more on each
 * side. A bin is two points at its middle: first the extreme that is nearer to the last point, then
 * the other, so that every peak is there and the line does not jump. Of what lies closer together
 * than a line is wide only the extremes are there, at their times. What is missing is NaN.
 * Returns how many; the points are on the arena. */
size_t trace_points(const struct traces_channel *channel, const struct plot *plot,
                    struct arena *arena, struct canvas_point **ret_points);

/* Lowest and highest value within a span. False when it holds none. */
bool trace_extremes(const struct traces_channel *channel, struct figure_span span, double *ret_low,
                    double *ret_high);

/* Whether a sample or bin within the span is missing. */
bool trace_has_gap(const struct traces_channel *channel, struct figure_span span);

/* Mean over `width_s` around a moment; of bins, the mean of the middles between their extremes.
 * NaN where any of it is missing or lies outside of the channel. */
double trace_mean(const struct traces_channel *channel, double at_s, double width_s);

/* By straight lines between samples; NaN outside and in gaps. */
double trace_value(const struct traces_channel *channel, double at_s);

#endif
