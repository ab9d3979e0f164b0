#include "svg_paths.h"

#include "figure/figure_style.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

enum { PATHS_MAX = 4096 };

static const double SAME_COLOUR = 0.003;
static const double FRAME_PT_LEAST = 20.0;

/* Points of a "d" attribute, as cairo writes it: M, L, C with absolute coordinates, and Z. */
static void read_points(struct arena *arena, const char *from, const char *to,
                        struct svg_path *path)
{
    path->points = arena_array(arena, (size_t)(to - from), sizeof *path->points);
    const char *at = from;
    while (at < to) {
        const char command = *at++;
        if (command != 'M' && command != 'L' && command != 'C') {
            continue;
        }
        struct svg_point point = {.begins = command == 'M'};
        for (int pairs = command == 'C' ? 3 : 1; pairs > 0; pairs--) {
            char *end = NULL;
            point.x = strtod(at, &end);
            point.y = strtod(end, &end);
            at = end;
        }
        path->points[path->count++] = point;
    }
}

static bool read_colour(const char *style, const char *name, struct canvas_colour *ret_colour)
{
    const char *at = strstr(style, name);
    double *parts[] = {&ret_colour->red, &ret_colour->green, &ret_colour->blue};
    if (at == NULL || strncmp(at + strlen(name), "rgb(", 4) != 0) {
        return false;
    }
    at += strlen(name) + 4;
    for (size_t i = 0; i < sizeof parts / sizeof parts[0]; i++) {
        char *end = NULL;
        *parts[i] = strtod(at, &end) / 100.0;
        if (end == at || *end != '%') {
            return false;
        }
        at = end + 2; /* behind the sign and what separates */
    }
    return true;
}

struct svg_paths svg_paths_read(struct arena *arena, const char *svg)
{
    struct svg_paths paths = {.paths = arena_array(arena, PATHS_MAX, sizeof *paths.paths)};
    const char *at = svg;
    while ((at = strstr(at, "<path ")) != NULL && paths.count < PATHS_MAX) {
        const char *end = strchr(at, '>');
        const char *tag = arena_strndup(arena, at, (size_t)(end - at));
        const char *d = strstr(tag, " d=\"");
        const char *width = strstr(tag, "stroke-width:");
        struct svg_path path = {.is_filled = strstr(tag, "stroke:none") != NULL};
        at = end;
        /* Glyphs have no colour of their own, clips no style. */
        if (d == NULL || !read_colour(tag, path.is_filled ? "fill:" : "stroke:", &path.colour)) {
            continue;
        }
        path.width = width == NULL ? 0.0 : strtod(width + strlen("stroke-width:"), NULL);
        d += strlen(" d=\"");
        read_points(arena, d, strchr(d, '"'), &path);
        paths.paths[paths.count++] = path;
    }
    return paths;
}

struct canvas_rect svg_path_box(const struct svg_path *path)
{
    double left = HUGE_VAL;
    double right = -HUGE_VAL;
    double top = HUGE_VAL;
    double bottom = -HUGE_VAL;
    for (size_t i = 0; i < path->count; i++) {
        left = fmin(left, path->points[i].x);
        right = fmax(right, path->points[i].x);
        top = fmin(top, path->points[i].y);
        bottom = fmax(bottom, path->points[i].y);
    }
    return (struct canvas_rect){left, top, right - left, bottom - top};
}

bool svg_path_has_colour(const struct svg_path *path, struct canvas_colour colour)
{
    return fabs(path->colour.red - colour.red) < SAME_COLOUR &&
           fabs(path->colour.green - colour.green) < SAME_COLOUR &&
           fabs(path->colour.blue - colour.blue) < SAME_COLOUR;
}

size_t svg_paths_frames(const struct svg_paths *paths, struct canvas_rect *frames, size_t room)
{
    size_t count = 0;
    for (size_t i = 0; i < paths->count && count < room; i++) {
        const struct svg_path *path = &paths->paths[i];
        const struct canvas_rect box = svg_path_box(path);
        if (!path->is_filled && path->count >= 4 &&
            svg_path_has_colour(path, style_colour(STYLE_RULE)) && box.width > FRAME_PT_LEAST &&
            box.height > FRAME_PT_LEAST) {
            frames[count++] = box;
        }
    }
    return count;
}

const struct svg_path *svg_paths_line(const struct svg_paths *paths, struct canvas_colour colour)
{
    const struct svg_path *best = NULL;
    for (size_t i = 0; i < paths->count; i++) {
        const struct svg_path *path = &paths->paths[i];
        if (!path->is_filled && svg_path_has_colour(path, colour) &&
            (best == NULL || path->count > best->count)) {
            best = path;
        }
    }
    return best;
}

size_t svg_paths_discs(const struct svg_paths *paths, struct canvas_colour colour,
                       struct canvas_point *centres, size_t room)
{
    size_t count = 0;
    for (size_t i = 0; i < paths->count && count < room; i++) {
        const struct svg_path *path = &paths->paths[i];
        /* A disc is two half circles that end at its right, left and right. */
        const bool is_disc = path->is_filled && path->count >= 3 &&
                             svg_path_has_colour(path, colour) &&
                             fabs(path->points[0].y - path->points[1].y) < 0.01 &&
                             fabs(path->points[2].x - path->points[0].x) < 0.01;
        if (is_disc) {
            centres[count++] = (struct canvas_point){(path->points[0].x + path->points[1].x) / 2.0,
                                                     path->points[0].y};
        }
    }
    return count;
}
