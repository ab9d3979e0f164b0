/* Noise of a sampled pressure, and peaks and places read in spite of it. */
#ifndef ANALYSIS_PROFILE_PROFILE_NOISE_H
#define ANALYSIS_PROFILE_PROFILE_NOISE_H

#include "analysis/signal/level.h"
#include "analysis/signal/series.h"

/* Standard deviation of white noise, from the median of the absolute fourth differences (divided by
 * the 0.6745 of a normal distribution and by the root of 70, the sum of the squared binomial
 * coefficients). Curves that change slowly from sample to sample add nothing. 0 when there are
 * fewer than five samples. */
double profile_noise(const double *values, size_t count, struct level_scratch scratch);

/* A parabola of least squares through the samples within `half` of one, which must be present and
 * within the array; `half` is made smaller until they are. */
struct profile_parabola {
    double value;  /* at the sample */
    double vertex; /* where its slope is zero, in samples from it; NaN when it opens upward */
};

struct profile_parabola profile_parabola(const double *values, size_t count, size_t index,
                                         size_t half);

#endif
