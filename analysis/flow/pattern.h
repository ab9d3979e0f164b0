/* The shape of a flow curve in words. */
#ifndef ANALYSIS_FLOW_PATTERN_H
#define ANALYSIS_FLOW_PATTERN_H

#include "analysis/result.h"
#include "analysis/signal/series.h"

/* Depth of the deepest dip within a span: how far the curve falls below the lower of the highest
 * points before and after it. The first rise and the last fall are no dips. 0 for an empty span. */
double pattern_deepest_dip(const struct series *smoothed, struct span span);

/* Share of a span (0 to 1) during which the curve is at or above 0.8 of Qmax; missing samples count
 * for neither. 0 for an empty span. */
double pattern_flat_share(const struct series *smoothed, struct span span, double qmax_ml_s);

/* What the word depends on. */
struct pattern_facts {
    bool child;           /* ICCS words for children, ICS words for everyone else */
    double interruptions; /* gaps in the flow */
    double dip_ml_s;      /* pattern_deepest_dip() */
    double qmax_ml_s;
    double volume_ml;  /* voided; NaN when not known */
    double flat_share; /* pattern_flat_share() */
};

/* The word for a curve: for a child interrupted, staccato, plateau, tower or bell, asked for in
 * this order; for everyone else interrupted, fluctuating or smooth. A dip of more than the square
 * root of Qmax is a fluctuation.
 *
 * Source: Austin PF et al. (ICCS). Neurourol Urodyn 2016;35:471-481. [memory] Tower and plateau
 * have no agreed number: those used are a choice, in criteria.h. */
struct measure pattern_name(const struct pattern_facts *facts);

/* Whether a child's flow is adequate: Qmax squared is not below the voided volume (numbers in mL/s
 * and mL). ICCS. [memory] False when the volume is not known. */
bool pattern_adequate(double qmax_ml_s, double volume_ml);

#endif
