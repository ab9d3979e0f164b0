/* Knocks on a flowmeter: short, fast excursions that urine cannot make. */
#ifndef ANALYSIS_SIGNAL_ARTEFACT_H
#define ANALYSIS_SIGNAL_ARTEFACT_H

#include "analysis/signal/series.h"

/* One excursion above the neighbourhood. */
struct knock {
    size_t first; /* first and last sample of it */
    size_t last;
    bool removed; /* replaced by a straight line; else one of several that may be real flow */
};

enum { ARTEFACT_KNOCKS_MAX = 512 };

/* Scratch that artefact_remove_knocks() needs, in doubles. */
size_t artefact_scratch(const struct series *series);

/* Finds knocks and replaces the certain ones, in place, by a line between their neighbours.
 *
 * A knock is an excursion of more than 5 mL/s above the 4 s median that lasts less than 2 s, comes
 * and goes faster than urine does (criteria.h), and is either shorter than half a second or has no
 * other near it: several longer ones in a row may be a true staccato flow and stay.
 *
 * series   view of `samples`
 * samples  the series' own storage, changed
 * knocks   room for ARTEFACT_KNOCKS_MAX; receives the first of them, in order of time
 *
 * Returns how many are in `knocks`; 0 when the rate is too low to tell a knock from flow. */
size_t artefact_remove_knocks(const struct series *series, double *samples, double *scratch,
                              struct knock *knocks);

#endif
