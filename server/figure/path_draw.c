#include "figure/path_draw.h"

#include "figure/figure_style.h"

#include <math.h>

static const double ARROW_PT = 4.5;
static const double DIRECTION_PT = 1.5;

static bool is_there(const struct canvas_point *point)
{
    return isfinite(point->x) && isfinite(point->y);
}

/* A triangle at a point, in the direction in which the path comes from `before`. */
static void draw_arrow(struct canvas *canvas, struct canvas_point before, struct canvas_point at,
                       struct canvas_colour colour)
{
    const double length = hypot(at.x - before.x, at.y - before.y);
    const double along_x = (at.x - before.x) / length * ARROW_PT;
    const double along_y = (at.y - before.y) / length * ARROW_PT;
    const struct canvas_point corners[] = {
        {at.x + along_x / 2.0, at.y + along_y / 2.0},
        {at.x - along_x / 2.0 - along_y / 2.5, at.y - along_y / 2.0 + along_x / 2.5},
        {at.x - along_x / 2.0 + along_y / 2.5, at.y - along_y / 2.0 - along_x / 2.5},
    };
    canvas_fill_polygon(canvas, corners, sizeof corners / sizeof corners[0], colour);
}

/* The last point before `index` that is far enough away to tell a direction; `index` itself where
 * the path stands still, or is interrupted. */
static size_t come_from(const struct path *path, size_t index)
{
    for (size_t i = index; i-- > 0 && i + path->arrow_every > index;) {
        if (!is_there(&path->points[i])) {
            return index;
        }
        if (hypot(path->points[index].x - path->points[i].x,
                  path->points[index].y - path->points[i].y) >= DIRECTION_PT) {
            return i;
        }
    }
    return index;
}

void path_draw(struct canvas *canvas, const struct path *path, const struct plot *plot)
{
    const struct canvas_pen pen = {.colour = path->colour, .width_pt = 0.9};
    size_t first = path->count;
    size_t last = path->count;
    canvas_clip_begin(canvas, plot->area);
    canvas_polyline(canvas, path->points, path->count, &pen);
    for (size_t i = 0; i < path->count; i++) {
        if (!is_there(&path->points[i])) {
            continue;
        }
        first = first == path->count ? i : first;
        last = i;
        const size_t before = come_from(path, i);
        if (before < i && path->arrow_every > 0 && i % path->arrow_every == 0) {
            draw_arrow(canvas, path->points[before], path->points[i], path->colour);
        }
    }
    canvas_clip_end(canvas);
    if (first < path->count) {
        canvas_marker(canvas, CANVAS_MARKER_RING, path->points[first], STYLE_MARKER_PT,
                      path->colour);
        canvas_marker(canvas, CANVAS_MARKER_SQUARE, path->points[last], STYLE_MARKER_PT - 1.0,
                      path->colour);
    }
}
