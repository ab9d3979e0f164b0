/* How much had been infused at a moment. */
#ifndef ANALYSIS_FILLING_INFUSION_H
#define ANALYSIS_FILLING_INFUSION_H

#include "analysis/study.h"

struct infused {
    bool known;
    double volume_ml;
    bool from_rate;      /* entered filling rate times pumping time, for want of a signal */
    bool residual_added; /* the entered initial residual is part of it */
    const char *reason;  /* why not, when not known */
};

/* Infused volume at a moment: the signal, read by interpolation; without a signal the entered
 * filling rate times the time for which the markers say that the pump ran. A moment up to 1 s
 * outside the signal takes its first or last sample, and so does any before a signal that begins at
 * 0: it is recorded from the start of the pump on. */
struct infused infusion_volume(const struct study *study, double at_s);

/* Volume in the bladder at a moment: what was infused, plus the initial residual when it was
 * entered. */
struct infused infusion_bladder_volume(const struct study *study, double at_s);

/* Text that says how a bladder volume was made. */
const char *infusion_method(bool from_rate, bool residual_added);

/* Moment at which the infused volume begins to rise; the signal's start when it never does. */
double infusion_onset(const struct series *vinf);

/* Filling rate: the median of the slopes (least squares) over 10 s segments of the span in which
 * the volume rises, mL/min. NaN when there is none. Pauses of the pump do not lower it. */
double infusion_rate(const struct series *vinf, struct span span, struct level_scratch scratch);

#endif
