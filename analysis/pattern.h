/* The shape of a flow curve in words. */
#ifndef ANALYSIS_PATTERN_H
#define ANALYSIS_PATTERN_H

#include "analysis/result.h"
#include "analysis/signal/series.h"

/* Depth of the deepest dip within a span: how far the curve falls below the lower of the highest
 * points before and after it. The first rise and the last fall are no dips. 0 for an empty span. */
double pattern_deepest_dip(const struct series *smoothed, struct span span);

/* The word for a curve.
 *
 * child         ICCS words (bell, staccato, interrupted) for children, ICS words (smooth,
 *               fluctuating, interrupted) for everyone else
 * interruptions gaps in the flow
 * dip_ml_s      pattern_deepest_dip()
 * qmax_ml_s     maximum flow: a dip of more than its square root is a fluctuation
 *
 * Source: Austin PF et al. (ICCS). Neurourol Urodyn 2016;35:471-481. [memory] Tower and plateau
 * have no agreed number and are not told apart from bell. */
struct measure pattern_name(bool child, double interruptions, double dip_ml_s, double qmax_ml_s);

#endif
