/* What happens in the bladder and abdominal lines other than filling and voiding: coughs, strains,
 * rectal contractions, changes of position, flushes, restlessness. Found without markers; a marker
 * names what lies beside it. */
#ifndef ANALYSIS_PRESSURE_PRESSURE_EVENTS_H
#define ANALYSIS_PRESSURE_PRESSURE_EVENTS_H

#include "analysis/signal/series.h"

enum pressure_event_kind {
    PRESSURE_EVENT_COUGH,    /* both lines up and down within a second or two */
    PRESSURE_EVENT_STRAIN,   /* both lines up together for longer (Valsalva) */
    PRESSURE_EVENT_RECTAL,   /* abdominal line alone, up or down: a rectal contraction */
    PRESSURE_EVENT_POSITION, /* both lines to another level, for good */
    PRESSURE_EVENT_FLUSH,    /* one line far up on a plateau, and back */
    PRESSURE_EVENT_RESTLESS  /* both lines, irregular: movement, talking, laughing */
};

struct pressure_event {
    enum pressure_event_kind kind;
    struct span span;
    double peak_s;
    double pves_rise_cmh2o; /* at the line's own peak over its level before; NaN: not recorded */
    double pabd_rise_cmh2o;
    bool marked; /* a marker belongs to it */
};

struct pressure_events {
    size_t count;
    const struct pressure_event *items; /* in order of time */
};

struct study;

/* Finds them in the study's pves and pabd and keeps them in study->pressure_events. False when
 * memory ran out. */
bool pressure_events_find(struct study *study);

/* Whether one of the kinds (bits 1u << PRESSURE_EVENT_x) overlaps a span widened by slack_s. */
bool pressure_events_overlap(const struct pressure_events *events, unsigned kinds, struct span span,
                             double slack_s);

#endif
