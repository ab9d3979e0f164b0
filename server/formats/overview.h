/* Least and greatest of stretches of samples, so that drawing a recording costs what is drawn and
 * not what was recorded. */
#ifndef FORMATS_OVERVIEW_H
#define FORMATS_OVERVIEW_H

#include "formats/samples.h"

/* Levels are numbered from 1; level 0 stands for the samples themselves. */
enum { OVERVIEW_LEVELS = 3 };

/* Samples in a stretch: 1, 32, 512, 8192. */
size_t overview_stretch(int level);

/* Stretches that `sample_count` samples make; the last may be shorter. */
size_t overview_count(size_t sample_count, int level);

/* Whether a channel of so many samples has the level: short ones are read as they are. */
bool overview_exists(size_t sample_count, int level);

/* The coarsest level that the channel has and whose stretches are no longer than `most_samples`. */
int overview_level(size_t sample_count, size_t most_samples);

/* The extremes of every stretch of a level, as codes of the samples' own encoding on the arena; a
 * stretch without any sample is missing in both. `least` and `greatest` are by value, also where
 * the scale is negative. With level > 1 `finer_least` and `finer_greatest` are those of the level
 * before; with level 1 both are the samples. */
void overview_make(const struct samples *finer_least, const struct samples *finer_greatest,
                   int level, struct arena *arena, struct samples *ret_least,
                   struct samples *ret_greatest);

#endif
