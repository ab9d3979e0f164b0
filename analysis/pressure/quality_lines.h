/* The bladder and abdominal lines side by side, as the quality_*.c files on pressures judge them.
 * Private to those. */
#ifndef ANALYSIS_PRESSURE_QUALITY_LINES_H
#define ANALYSIS_PRESSURE_QUALITY_LINES_H

#include "analysis/filling/filling.h"

struct judged_line {
    enum signal_kind signal;
    const struct series *full; /* as prepared; count 0: not recorded */
    struct series coarse;      /* at most CRITERIA_LINE_RATE_HZ */
};

struct pressure_lines {
    struct study *study;
    const struct filling_phase *filling; /* NULL: none */
    const struct void_phase *voiding;    /* ->found: there is one */
    struct span watched;                 /* where the lines measure a patient */
    struct span passive;                 /* the part of it in which nobody voids or strains to */
    struct judged_line pves;
    struct judged_line pabd;
    struct series pdet; /* coarse */
};

/* Whether an event of a kind overlaps a span: flushes, and rectal contractions, only when they last
 * as long as such things do. */
bool quality_lines_event(const struct pressure_lines *lines, enum pressure_event_kind kind,
                         struct span span);

/* Whether coughs were asked for in time, and both lines answer each alike. False when memory ran
 * out. */
bool quality_of_coughs(const struct pressure_lines *lines);

/* Lines that do not move, or move from sample to sample. False when memory ran out. */
bool quality_of_movement(const struct pressure_lines *lines);

/* Catheters that come out, steps, drift, negative detrusor pressure. False when memory ran out. */
bool quality_of_levels(const struct pressure_lines *lines);

/* Pressures cut off at the end of a range. */
void quality_of_clipping(const struct pressure_lines *lines);

/* Events in the pressures that a reader has to know of: rectal contractions, flushes, changes of
 * position without a marker. */
void quality_of_events(const struct pressure_lines *lines);

/* Pump, markers and infused volume against each other. */
void quality_of_pump(const struct pressure_lines *lines);

#endif
