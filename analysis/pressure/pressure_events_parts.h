/* What the finders of pressure events share. Private to pressure_events*.c. */
#ifndef ANALYSIS_PRESSURE_PRESSURE_EVENTS_PARTS_H
#define ANALYSIS_PRESSURE_PRESSURE_EVENTS_PARTS_H

#include "analysis/pressure/pressure_grid.h"
#include "analysis/study.h"

enum { PRESSURE_EVENTS_MAX = 2048, PRESSURE_LINES = 2 };

/* A line on the grid. */
struct pressure_line {
    bool present;
    double *samples; /* flushes are made missing when they are found */
    double *opened;  /* without peaks as narrow as coughs */
    double *level;   /* of minutes */
};

struct event_finder {
    const struct study *study;
    struct pressure_grid grid;
    struct pressure_line lines[PRESSURE_LINES]; /* pves, pabd */
    size_t slow_block;                          /* grid samples in one of the slow axis */
    struct series slow[PRESSURE_LINES];         /* opened, on the slow axis */
    size_t count;
    struct pressure_event *items; /* room for PRESSURE_EVENTS_MAX; beyond it they are dropped */
};

void event_finder_add(struct event_finder *finder, struct pressure_event event);

/* Whether a marker of one of two kinds lies within a span. */
bool event_finder_marker(const struct event_finder *finder, enum event_code first,
                         enum event_code second, struct span span);

/* Whether an event of the kinds (bits) that was found so far overlaps a span. */
bool event_finder_overlap(const struct event_finder *finder, unsigned kinds, struct span span);

/* The finders, in the order in which they are to be called. False when memory ran out. */
void event_finder_flushes(struct event_finder *finder);
bool event_finder_levels(struct event_finder *finder); /* opened, slow and level of each line */
bool event_finder_positions(struct event_finder *finder);
bool event_finder_coughs(struct event_finder *finder);     /* and restlessness */
bool event_finder_excursions(struct event_finder *finder); /* strains, rectal contractions */

#endif
