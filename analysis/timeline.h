/* The recording's markers in order of time, and the moments that divide it into phases. */
#ifndef ANALYSIS_TIMELINE_H
#define ANALYSIS_TIMELINE_H

#include "analysis/analysis.h"
#include "analysis/signal/series.h"

struct timeline {
    size_t count;
    const struct event
        *events; /* sorted by time; without EVENT_OTHER and times that are no number */
    struct optional_number filling_start; /* the first of each marker, s */
    struct optional_number permission;
    struct optional_number void_start;
    struct optional_number void_end;     /* the last one after the start of voiding */
    struct optional_number filling_stop; /* the last one before voiding */
};

/* Sorts the markers. False when memory ran out. */
bool timeline_open(struct timeline *timeline, const struct recording *recording,
                   const struct analysis_memory *memory);

/* Time of the first marker of a kind at or after `from_s`. */
struct optional_number timeline_first(const struct timeline *timeline, enum event_code code,
                                      double from_s);

/* Time of the last marker of a kind at or before `to_s`. */
struct optional_number timeline_last(const struct timeline *timeline, enum event_code code,
                                     double to_s);

/* How many markers of a kind there are. */
size_t timeline_count(const struct timeline *timeline, enum event_code code);

/* Whether a marker that announces a disturbance of the pressures (cough, strain, zero, flush,
 * change of position) lies within `slack_s` of a span. */
bool timeline_disturbed(const struct timeline *timeline, struct span span, double slack_s);

/* Seconds for which the pump ran up to `at_s`, by the filling_start and filling_stop markers.
 * False when no filling_start marker lies at or before that moment. */
bool timeline_pumped(const struct timeline *timeline, double at_s, double *ret_seconds);

#endif
