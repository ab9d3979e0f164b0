/* Where the names of a nomogram's zones stand. Private to figure/. */
#ifndef FIGURE_ZONE_LABELS_H
#define FIGURE_ZONE_LABELS_H

#include "analysis/nomogram/nomogram_chart.h"
#include "figure/plot.h"

struct zone_label {
    const char *words; /* may hold a line feed */
    double size_pt;
    bool has_room; /* false: the zone is too small on this chart for its name */
    struct canvas_rect rect;
};

/* Rectangles that names keep clear of. */
struct zone_obstacles {
    const struct canvas_rect *rects;
    size_t count;
};

/* Places the name of zone `zone` wholly within it, where it is farthest from the zone's edges and
 * clear of the obstacles: in one line, else in two, else smaller. */
struct zone_label zone_label_place(struct canvas *canvas, const struct nomogram_chart *chart,
                                   size_t zone, const struct plot *plot,
                                   const struct zone_obstacles *obstacles, struct arena *arena);

/* Draws a chart's lines and the names of its zones; centiles are named at their lines' ends. Names
 * keep clear of `points`, NaN among them does not matter. */
void zone_labels_draw_chart(struct canvas *canvas, const struct nomogram_chart *chart,
                            const struct plot *plot, const struct canvas_point *points,
                            size_t count, struct arena *arena);

#endif
