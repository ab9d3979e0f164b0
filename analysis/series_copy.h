/* Series made from other series in the caller's memory: slower, averaged, or their running median.
 * Each borrows memory that lives as long as the analysis; false means that memory ran out. */
#ifndef ANALYSIS_SERIES_COPY_H
#define ANALYSIS_SERIES_COPY_H

#include "analysis/analysis.h"
#include "analysis/signal/series.h"

/* At most `most_rate_hz` fast, by block means (resample_means()). One that is no faster is given
 * back as it is, samples shared. */
bool series_copy_reduced(const struct series *series, double most_rate_hz,
                         const struct analysis_memory *memory, struct series *ret_reduced);

/* Its sliding mean over half_s to both sides; windows are shorter at the ends (smooth_mean()). */
bool series_copy_smoothed(const struct series *series, double half_s,
                          const struct analysis_memory *memory, struct series *ret_smoothed);

/* Its sliding median over half_s to both sides (smooth_median()). */
bool series_copy_median(const struct series *series, double half_s,
                        const struct analysis_memory *memory, struct series *ret_median);

#endif
