/* Peaks of a signal, by how far they stand out. */
#ifndef ANALYSIS_SIGNAL_PEAKS_H
#define ANALYSIS_SIGNAL_PEAKS_H

#include "analysis/signal/series.h"

struct peak {
    size_t index;      /* of its sample; the first one of a plateau */
    double height;     /* that sample's value */
    double prominence; /* over the higher one of the two valleys beside it */
    size_t left;       /* lowest sample between it and the next higher peak, or the series' end */
    size_t right;
};

/* Most peaks that a series can hold. */
size_t peaks_capacity(const struct series *series);

/* Finds the local maxima that stand out by at least `min_prominence` (> 0), in order of time.
 *
 * The prominence of a peak is its height over the higher of the two valleys that part it from
 * higher ground, as in topography. What lies beyond the ends is not known: a maximum at an end
 * counts by its inner side alone. Missing samples are passed over.
 *
 * peaks  room for peaks_capacity() of them
 * stack  scratch for as many
 *
 * Returns how many were found. Time is linear. */
size_t peaks_find(const struct series *series, double min_prominence, struct peak *peaks,
                  size_t *stack);

#endif
