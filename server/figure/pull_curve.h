/* The pulls of a urethral pressure profile as curves over the position. Private to figure/. */
#ifndef FIGURE_PULL_CURVE_H
#define FIGURE_PULL_CURVE_H

#include "figure/figure.h"

struct pull_curve {
    size_t number; /* from 1, in order of time */
    bool is_stress;
    size_t count;
    double *position_mm; /* never falls */
    double *pressure;    /* cmH2O; NaN: missing */
};

struct pull_curves {
    bool is_closure; /* pura - pves; false: pura, because pves was not recorded */
    bool is_aligned; /* 0 is where the functional length begins; false: where the pull begins */
    size_t count;
    struct pull_curve *curves; /* those whose speed is known and whose pura was recorded */
};

/* Positions follow from the time within the pull and the puller's speed, as the document has it;
 * from its end where the puller moved inward. */
struct pull_curves pull_curves_of(const struct figure_source *source, struct arena *arena);

/* A curve's pressure at a position, by straight lines; NaN outside and in gaps. */
double pull_curve_at(const struct pull_curve *curve, double position_mm);

#endif
