/* From the peak of a profile down its flanks to where it has fallen to a level. */
#ifndef ANALYSIS_PROFILE_PROFILE_WALK_H
#define ANALYSIS_PROFILE_PROFILE_WALK_H

#include <stdbool.h>
#include <stddef.h>

struct profile_walk {
    size_t count;
    const double *position_mm; /* never falls */
    const double *averaged;    /* on which the level is sought */
    const double *values;      /* through which the line down to the level is drawn */
};

enum profile_way { PROFILE_INWARD, PROFILE_OUTWARD };

struct profile_end {
    double at_mm;
    bool cut; /* it never fell so far: at_mm is the first or last sample */
    bool gap; /* a sample is missing on the way */
};

/* How far above a level a walk must stop, cmH2O, so that noise does not stop it: 3 standard
 * deviations of a mean over `window` samples. */
double profile_walk_guard(double noise_cmh2o, size_t window);

/* Walks from a sample to where the averaged values have fallen to level + guard, interpolated
 * linearly; with a guard, on to the level along the line of least squares through the 2 mm of flank
 * just passed, at most as far as that line is long, and never beyond the samples. */
struct profile_end profile_walk_to(const struct profile_walk *walk, size_t from,
                                   enum profile_way way, double level, double guard);

#endif
