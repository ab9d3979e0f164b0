/* Sliding averages and medians over a centred window of an odd number of samples. */
#ifndef ANALYSIS_SIGNAL_SMOOTH_H
#define ANALYSIS_SIGNAL_SMOOTH_H

#include "analysis/signal/series.h"

/* What a window sees beyond the first and the last sample. */
enum smooth_ends {
    SMOOTH_ENDS_ZERO,   /* zeros: no flow outside the record */
    SMOOTH_ENDS_SHORTEN /* nothing: the window holds fewer samples */
};

/* Samples in a window that reaches `half_s` to both sides: 2*floor(half_s*rate)+1. At 10 Hz the
 * 2 s average of the ICS (half_s = 1) takes 21. */
size_t smooth_window(const struct series *series, double half_s);

/* Sliding mean.
 *
 * window  odd number of samples
 * output  series->count values; must not overlap the input
 *
 * Missing samples are left out of the mean. The result is missing where the sample at the centre
 * is, and where less than half of the window's samples are present: it never fills a gap. */
void smooth_mean(const struct series *series, size_t window, enum smooth_ends ends, double *output);

/* Bridges gaps of missing samples by straight lines, in place, where the samples on both sides are
 * not further apart than bridge_s. */
void smooth_bridge(const struct series *series, double bridge_s, double *samples);

/* Makes missing what smooth_mean() made of a window with a missing sample in it.
 *
 * series  what was smoothed
 * output  what came out, changed */
void smooth_drop_partial(const struct series *series, size_t window, double *output);

/* Sliding median of the samples present; windows shorten at the ends; missing where the centre is.
 * A step or a ramp passes unchanged.
 *
 * sorted  scratch of `window` values. Time is count times window. */
void smooth_median(const struct series *series, size_t window, double *sorted, double *output);

/* The same where a sample in the window lies at or beyond `level` or -`level`; elsewhere the sample
 * itself, which lies between them as the median would. Quick where a signal rests most of the time.
 */
void smooth_median_beyond(const struct series *series, size_t window, double level, double *sorted,
                          double *output);

#endif
