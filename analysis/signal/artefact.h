/* Knocks on a flowmeter: short, fast excursions that urine cannot make. */
#ifndef ANALYSIS_SIGNAL_ARTEFACT_H
#define ANALYSIS_SIGNAL_ARTEFACT_H

#include "analysis/signal/series.h"

enum knock_verdict {
    KNOCK_REMOVED, /* replaced by a straight line */
    KNOCK_SEVERAL, /* one of several alike, or beside another: it may be real flow and stays */
    KNOCK_ALONE    /* no flow around it, and much of all the volume in it: it stays */
};

/* One excursion from the neighbourhood. */
struct knock {
    size_t first; /* first and last sample of it */
    size_t last;
    double height; /* of its outermost sample, mL/s; negative below the neighbourhood */
    bool fast;     /* it comes and goes faster than urine does */
    enum knock_verdict verdict;
};

enum { ARTEFACT_KNOCKS_MAX = 512 };

/* Scratch that artefact_remove_knocks() needs, in doubles. */
size_t artefact_scratch(const struct series *series);

/* Finds knocks and replaces the certain ones, in place, by a line between their neighbours.
 *
 * A knock is an excursion of more than 5 mL/s from the 4 s median that lasts less than 2 s and
 * comes and goes faster than urine does (criteria.h). Upward it is certain, and removed, unless it
 * is no shorter than a quarter of a second and no higher than 60 mL/s and
 *  - two or more like it lie near: pulsating flow; or
 *  - it lasts half a second or more and another lies beside it: a staccato; or
 *  - there is no flow around it, and it holds a fifth of all the volume: a spurt.
 * Downward it is certain when it goes below -1 mL/s or is shorter than a quarter of a second; a
 * longer dip is a pause of the flow, and no knock.
 *
 * series   view of `samples`
 * samples  the series' own storage, changed
 * knocks   room for ARTEFACT_KNOCKS_MAX; receives the first of them, in order of time
 *
 * Returns how many are in `knocks`; 0 when the rate is too low to tell a knock from flow. Time is
 * the number of samples, plus the square of ARTEFACT_KNOCKS_MAX at most. */
size_t artefact_remove_knocks(const struct series *series, double *samples, double *scratch,
                              struct knock *knocks);

#endif
