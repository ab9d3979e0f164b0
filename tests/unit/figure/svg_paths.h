/* The shapes of an SVG file as places, read back as any reader of SVG would: an outside look at
 * what was drawn. Glyphs are left out. */
#ifndef TESTS_FIGURE_SVG_PATHS_H
#define TESTS_FIGURE_SVG_PATHS_H

#include "base/arena.h"
#include "drawing/canvas.h"

#include <stdbool.h>
#include <stddef.h>

struct svg_point {
    double x;
    double y;
    bool begins; /* a new part of the path: "M" */
};

struct svg_path {
    bool is_filled; /* else stroked */
    double width;   /* of the stroke */
    struct canvas_colour colour;
    size_t count;
    struct svg_point *points; /* ends of lines and curves, control points left out */
};

struct svg_paths {
    size_t count;
    struct svg_path *paths; /* in the order in which they are drawn */
};

struct svg_paths svg_paths_read(struct arena *arena, const char *svg);

/* The box around a path. */
struct canvas_rect svg_path_box(const struct svg_path *path);

bool svg_path_has_colour(const struct svg_path *path, struct canvas_colour colour);

/* The frames of plots: stroked rectangles of the colour of rules, from above; those wider and
 * higher than 20 points, so that bands and bars do not count. Returns how many. */
size_t svg_paths_frames(const struct svg_paths *paths, struct canvas_rect *frames, size_t room);

/* The path that is stroked in a colour and has the most points; NULL without one. */
const struct svg_path *svg_paths_line(const struct svg_paths *paths, struct canvas_colour colour);

/* Centres of the filled discs of a colour. Returns how many. */
size_t svg_paths_discs(const struct svg_paths *paths, struct canvas_colour colour,
                       struct canvas_point *centres, size_t room);

#endif
