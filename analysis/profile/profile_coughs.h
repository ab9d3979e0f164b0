/* Coughs during a pull, and how the urethra answers them. */
#ifndef ANALYSIS_PROFILE_PROFILE_COUGHS_H
#define ANALYSIS_PROFILE_PROFILE_COUGHS_H

#include "analysis/profile/profile_trace.h"

enum { PROFILE_COUGHS_MAX = 64 };

struct profile_cough {
    double at_s; /* of the peak in pves */
    double pves_rise_cmh2o;
    double pves_peak_cmh2o;
    double pura_peak_s; /* of the urethra's own peak, within 0.3 s */
    double pura_peak_cmh2o;
    double pves_before_cmh2o; /* medians of the second before; NaN: not recorded */
    double pura_before_cmh2o;
    double before_s;  /* middle of that second */
    struct span span; /* over which both pressures are disturbed */
};

struct profile_coughs {
    size_t count;
    struct profile_cough items[PROFILE_COUGHS_MAX]; /* in order of time */
};

/* Finds the coughs within a span: peaks of pves at least 15 cmH2O above the second before. Each is
 * one of the study's pressure events; or, where abdominal pressure is not recorded, as is common in
 * a profile, falls below half of its height within 2 s, which a strain does not; or has a cough
 * marker beside it. */
void profile_coughs_find(const struct study *study, const struct series *pura, struct span span,
                         struct profile_coughs *ret_coughs);

/* Cuts them out of a trace. */
void profile_coughs_cut(const struct profile_coughs *coughs, struct profile_trace *trace);

/* Transmission ratio 100 * rise of pura / rise of pves, each at its own peak within 0.3 s, over the
 * median of the second before, which is moved along the resting curve from there to the peak: the
 * catheter goes on meanwhile, and so does breathing. Closure at the cough is pura's peak minus
 * pves' peak.
 *
 * rest_pura, rest_pves  the pull's pressures with the coughs cut out, in order of time
 * ret                   position unknown as yet
 *
 * False when there is no level before, or the rise is less than 15 cmH2O so. */
bool profile_coughs_ratio(const struct profile_cough *cough, const struct series *rest_pura,
                          const struct series *rest_pves, struct transmission_ratio *ret);

#endif
