/* Channels of different rates and starts on one time axis. */
#ifndef ANALYSIS_SIGNAL_RESAMPLE_H
#define ANALYSIS_SIGNAL_RESAMPLE_H

#include "analysis/signal/series.h"

/* a - b at each sample of `a`; `b` is read there by linear interpolation, never across its gaps.
 * Missing where either is. output: a->count values; may be a's own storage. */
void resample_difference(const struct series *a, const struct series *b, double *output);

/* Whether both axes share rate and start, so that samples pair up without interpolation. */
bool resample_same_axis(const struct series *a, const struct series *b);

/* b at the moment of sample `index` of a. `paired` says that they share their axis. */
double resample_at(const struct series *a, size_t index, const struct series *b, bool paired);

/* How many samples make one when a series is brought to at most `rate_hz`; 1 when it is slower. */
size_t resample_block(const struct series *series, double rate_hz);

/* Means of blocks of `block` samples: output has count/block values (the rest is dropped), each at
 * the middle of its block and missing when more than half of the block is. Returns the new view,
 * which borrows `output`. */
struct series resample_means(const struct series *series, size_t block, double *output);

#endif
