/* One pull as pressures over the way from the bladder outward. */
#ifndef ANALYSIS_PROFILE_PROFILE_TRACE_H
#define ANALYSIS_PROFILE_PROFILE_TRACE_H

#include "analysis/profile/pull.h"

/* Fewest samples of urethral pressure that make a profile. */
enum { PROFILE_SAMPLES_MIN = 5 };

enum profile_speed { PROFILE_SPEED_UNKNOWN, PROFILE_SPEED_ENTERED, PROFILE_SPEED_MEASURED };

struct profile_trace {
    size_t count;
    double rate_hz;
    double start_s;     /* of the first sample in time */
    double raw_rate_hz; /* of the urethral pressure as recorded */
    bool mirrored;      /* read from the last sample to the first */
    enum profile_speed speed_known;
    double speed_mm_s;   /* 1 when unknown: then "mm" below are seconds */
    double *position_mm; /* never falls; 0 at the bladder's side */
    double *pura;        /* NaN where missing; gaps of up to 1 s and coughs are bridged */
    double *pves;
    double *closure;        /* pura - pves */
    const char *no_closure; /* why there is none, or NULL */
    bool one_level;         /* pves is a single number, read before the pull */
    double bladder_closure; /* before the pull, sensor in the bladder; NaN: not recorded */
    double bladder_s;       /* for how long closure was near zero before the pull */
};

/* Takes a pull's samples, in order of time and without closure, which profile_trace_finish() adds.
 *
 * Vesical pressure is read at the same instants; where it is missing in more than half of them, it
 * is the median of the 5 s before the pull: of pves, or of pura when there is no pves at all, since
 * the sensor lies in the bladder then. False when memory ran out. */
bool profile_trace_open(struct study *study, const struct pull_signals *signals,
                        const struct pull *pull, struct profile_trace *ret_trace);

/* Replaces what lies within a span by a straight line, in both pressures. */
void profile_trace_cut(struct profile_trace *trace, struct span span);

/* Computes closure, and turns a pull from outside inward around. */
void profile_trace_finish(struct profile_trace *trace);

/* Time of a sample; and the place at a time, mm, NaN outside. */
double profile_trace_time(const struct profile_trace *trace, size_t index);
double profile_trace_place(const struct profile_trace *trace, double at_s);

/* The pressures in order of time; before profile_trace_finish() only. */
struct series profile_trace_pura(const struct profile_trace *trace);
struct series profile_trace_pves(const struct profile_trace *trace);

#endif
