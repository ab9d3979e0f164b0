/* Where the names of a nomogram's zones stand. Private to figure/. */
#ifndef FIGURE_ZONE_LABELS_H
#define FIGURE_ZONE_LABELS_H

#include "analysis/nomogram/nomogram_chart.h"
#include "figure/plot.h"

struct zone_label {
    const char *words; /* may hold a line feed */
    bool has_room;     /* false: the zone is too small on this chart for its name */
    struct canvas_rect rect;
};

/* Places the name of zone `zone` wholly within it, where it is farthest from the zone's edges and
 * outside the `taken` rectangles. */
struct zone_label zone_label_place(struct canvas *canvas, const struct nomogram_chart *chart,
                                   size_t zone, const struct plot *plot,
                                   const struct canvas_rect *taken, size_t taken_count,
                                   struct arena *arena);

void zone_label_draw(struct canvas *canvas, const struct zone_label *label);

/* Draws a chart's lines and the names of its zones; centiles are named at their lines' ends. */
void zone_labels_draw_chart(struct canvas *canvas, const struct nomogram_chart *chart,
                            const struct plot *plot, struct canvas_point point,
                            struct arena *arena);

#endif
