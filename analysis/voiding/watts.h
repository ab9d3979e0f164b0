/* Watts factor: the power of the contraction for each area of bladder wall, over time.
 *
 * Source: Griffiths DJ, Constantinou CE, van Mastrigt R. Am J Physiol 1986;251:R225-R230; form read
 * in a secondary source, constants from memory. */
#ifndef ANALYSIS_VOIDING_WATTS_H
#define ANALYSIS_VOIDING_WATTS_H

#include "analysis/flow/flow.h"

/* Speed at which the circumference of the bladder, a sphere of the urine and 10 mL of wall,
 * shortens, mm/s: Q / (2*(3*(V + 10)/(4*pi))^(2/3)), in mL and cm, times 10. volume_ml >= 0. */
double watts_shortening_mm_s(double flow_ml_s, double volume_ml);

/* WF = ((pdet + 25)(vdet + 6) - 150) / (2*pi), in uW/mm2 (the same as W/m^2). */
double watts_factor(double pdet_cmh2o, double flow_ml_s, double volume_ml);

/* The voiding sample by sample, at the sampling moments of the flow. */
struct watts_point {
    double at_s;       /* of the pressure: flow_delay before the recorded moment of flow */
    double volume_ml;  /* in the bladder */
    double flow_ml_s;  /* 2 s average */
    double pdet_cmh2o; /* 2 s average; NaN: missing */
    double watts;      /* uW/mm2; NaN where it cannot be told: flow off, less than 20 mL in the
                          bladder, samples missing */
};

struct watts_curve {
    size_t count;
    const struct watts_point *points; /* in order of time */
    const char *absent;               /* why there is none, when count is 0 */
};

/* Computes the curve of a voiding that was found.
 *
 * pdet         2 s average of the detrusor pressure, on the recording's time axis
 * delay_s      by which flow is recorded later than pressure
 * residual_ml  left in the bladder after the voiding
 *
 * The volume at a moment is the residual and what was still to be voided then. Returns false when
 * memory ran out. */
bool watts_over_time(const struct study *study, const struct flow_record *record,
                     const struct void_phase *phase, const struct series *pdet, double delay_s,
                     double residual_ml, struct watts_curve *ret_curve);

#endif
