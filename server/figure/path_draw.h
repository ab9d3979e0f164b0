/* A path in order of time: a line with arrows at equal times, a ring where it begins and a square
 * where it ends. Private to figure/. */
#ifndef FIGURE_PATH_DRAW_H
#define FIGURE_PATH_DRAW_H

#include "figure/plot.h"

struct path {
    const struct canvas_point *points; /* at equal steps of time; NaN interrupts */
    size_t count;
    size_t arrow_every; /* points */
    struct canvas_colour colour;
};

/* Draws it, clipped to the plot. */
void path_draw(struct canvas *canvas, const struct path *path, const struct plot *plot);

#endif
