/* The numbers of one profile: pressures and lengths of a curve over the way. */
#ifndef ANALYSIS_PROFILE_PROFILE_CURVE_H
#define ANALYSIS_PROFILE_PROFILE_CURVE_H

#include "analysis/profile/profile_trace.h"

/* Where the functional length begins, peaks and ends; mm from the first sample. */
struct profile_extent {
    const char *absent; /* why there is none, or NULL */
    double start_mm;
    double peak_mm;
    double end_mm;
    bool start_cut; /* closure is still above the threshold at the first sample, */
    bool end_cut;   /* or the last one: the length is at least this */
    double noise_cmh2o;
};

/* Measures a finished trace into pressures, lengths and areas of `measures`.
 *
 * Pressures: the highest sample; from 50 Hz on, of a 0.2 s mean. Noise (estimated from fourth
 * differences, which the profile itself and the pulse leave alone) makes the highest of many
 * samples too high: above 0.15 cmH2O the peak is that of parabolas through +-0.75 s, which keep a
 * peak's height; and its place is the vertex of one through +-3 mm.
 *
 * Functional length: from the peak both ways to where closure has fallen to the threshold, by
 * linear interpolation (ICS: threshold 0). Under noise the walk would stop at the first dip:
 * closure is then averaged (over as little as brings 3 standard deviations down to 0.5 cmH2O, and
 * over +-0.5 mm at most), the walk stops 3 standard deviations of that above the threshold, and the
 * line of least squares through the next 2 mm of the flank leads down to it. Where closure in the
 * bladder before the pull rests above the threshold (by up to 5 cmH2O, a difference of zero or
 * height), the bladder end is where closure leaves that level.
 *
 * threshold_cmh2o  closure above this counts, >= 0
 *
 * False when memory ran out. */
bool profile_curve_measure(const struct study *study, const struct profile_trace *trace,
                           double threshold_cmh2o, struct profile_measures *measures,
                           struct profile_extent *ret_extent);

#endif
