/* Contractions of the pelvic floor and the rest between them, found in one signal. */
#ifndef ANALYSIS_TRAINING_HOLDS_H
#define ANALYSIS_TRAINING_HOLDS_H

#include "analysis/analysis.h"
#include "analysis/signal/robust.h"

struct holds {
    struct series signal;   /* EMG envelope in uV, or pressure in cmH2O; at most 20 Hz */
    struct series detected; /* half-second median of it: without spikes */
    struct series peaked;   /* 0.1 s mean of it */
    struct series averaged; /* 2 s mean of it */
    struct robust rest;     /* outside contractions; count 0: too little rest */
    double rest_drift;      /* change of the rest from the first to the last sample; NaN: unknown */
    double best;            /* largest of `detected` over rest */
    double line;            /* contractions are above it */
    size_t count;
    struct span *spans; /* the contractions, in order of time */
};

/* Finds them: rest and contractions in turn, until neither moves. `signal` has at most 20 samples a
 * second, and lives as long as the result. False when memory ran out. */
bool holds_find(const struct series *signal, const struct analysis_memory *memory,
                struct holds *ret_holds);

/* Gathers the samples of a series during rest, or during contractions: `values` has room for
 * `capacity`, more are thinned evenly. Returns how many. */
size_t holds_gather(const struct holds *holds, const struct series *series, bool during_rest,
                    double *values, size_t capacity);

/* Rest before the first contraction, s; all of the signal when there is none. */
double holds_rest_before_s(const struct holds *holds);

#endif
