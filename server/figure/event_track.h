/* The labels of events above the traces, laid out so that none covers another. Private to figure/.
 */
#ifndef FIGURE_EVENT_TRACK_H
#define FIGURE_EVENT_TRACK_H

#include "figure/figure.h"
#include "figure/plot.h"

struct event_label {
    size_t event;            /* of the source */
    double x;                /* of the mark */
    bool has_label;          /* false: there was no room; only the mark stands */
    bool is_short;           /* only the number */
    struct canvas_rect rect; /* of the label, its top relative to the track's */
    const char *words;
    bool from_person;
};

struct event_track {
    size_t count;
    struct event_label *labels; /* those within the plot, in order of time */
    size_t unlabelled;
    double height_pt; /* 0 without events */
};

/* Lays out the events between the plot's `from_x` and `to_x`: each in the first lane that is free,
 * with number and name where there is room, else the number alone. Numbers count all events of the
 * source, from 1. Labels stay between the edges of plot->area. */
struct event_track event_track_lay_out(struct canvas *canvas, const struct figure_source *source,
                                       const struct plot *plot, struct arena *arena);

/* Draws labels from `top` down, and the marks from each label to `bottom`. */
void event_track_draw(struct canvas *canvas, const struct event_track *track, double top,
                      double bottom);

#endif
