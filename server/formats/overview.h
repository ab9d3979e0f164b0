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

/* The extremes of every `step` codes, as codes of the same encoding on the arena; a step without
 * any sample is missing in both, and the last one may be shorter. Both are the samples themselves,
 * or the least and the greatest of stretches of them. What comes out is least and greatest by
 * value, also where the scale is negative. */
void overview_reduce(const struct samples *finer_least, const struct samples *finer_greatest,
                     size_t step, struct arena *arena, struct samples *ret_least,
                     struct samples *ret_greatest);

/* The extremes of every stretch of a level: those of a step of the level before, and with level 1
 * of the samples. */
void overview_make(const struct samples *finer_least, const struct samples *finer_greatest,
                   int level, struct arena *arena, struct samples *ret_least,
                   struct samples *ret_greatest);

#endif
