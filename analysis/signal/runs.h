/* Stretches of time in which a signal is at or above a threshold. */
#ifndef ANALYSIS_SIGNAL_RUNS_H
#define ANALYSIS_SIGNAL_RUNS_H

#include "analysis/signal/series.h"

struct run_rule {
    double threshold;  /* on at or above this */
    double min_run_s;  /* a run starts and ends with a stretch of at least this length */
    double min_gap_s;  /* and ends when the signal stays below for at least this long */
    double bridge_s;   /* missing samples up to this long do not end a stretch */
    double step_per_s; /* a change faster than this, per second, is a step between two samples */
};

struct run {
    struct span span;
    bool start_unseen; /* on at its first sample: the record or a long gap hides the start */
    bool end_unseen;   /* likewise for the end */
};

/* Most runs that a series can hold under a rule. */
size_t runs_capacity(const struct series *series, const struct run_rule *rule);

/* Finds the runs, in order of time. The moments of crossing are interpolated between samples;
 * a step is taken to lie midway between its two samples, since nothing says where it was.
 *
 * runs  room for runs_capacity() of them
 *
 * Returns how many were found. */
size_t runs_find(const struct series *series, const struct run_rule *rule, struct run *runs);

#endif
