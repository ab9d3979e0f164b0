#include "figure/zone_labels.h"

#include "figure/figure_style.h"

#include <math.h>
#include <string.h>

enum { GRID = 30, TRIES = 7, LINE_POINTS = 64, POINTS_MOST = 200, ZONES_MOST = 16 };

static const double POINT_CLEAR_PT = 12.0; /* around a point */
static const double TINY_PT = 5.5;
static const double CENTILE_PT = 9.0; /* line of a centile's number */

static struct canvas_text text_of(const struct canvas_run *run, double size_pt)
{
    return (struct canvas_text){
        .runs = run, .run_count = 1, .style = style_text(STYLE_INK_SOFT, size_pt, false)};
}

/* The middle of one of side * side equal parts of the plot. */
static struct canvas_point part_middle(const struct plot *plot, int index, int side)
{
    const int column = index % side;
    const int row = index / side;
    return (struct canvas_point){plot->area.x + plot->area.width * (column + 0.5) / side,
                                 plot->area.y + plot->area.height * (row + 0.5) / side};
}

static bool in_zone(const struct nomogram_chart *chart, size_t zone, const struct plot *plot,
                    double x_pt, double y_pt)
{
    const struct canvas_rect *area = &plot->area;
    if (x_pt < area->x || x_pt > area->x + area->width || y_pt < area->y ||
        y_pt > area->y + area->height) {
        return false;
    }
    const double x = plot->from_x + (plot->to_x - plot->from_x) * (x_pt - area->x) / area->width;
    const double y = plot->to_y - (plot->to_y - plot->from_y) * (y_pt - area->y) / area->height;
    return nomogram_zone(chart, x, y) == &chart->zones[zone];
}

/* Whether a rectangle lies in the zone, by points along its outline. */
static bool rect_fits(const struct nomogram_chart *chart, size_t zone, const struct plot *plot,
                      const struct canvas_rect *rect)
{
    for (int i = 0; i < TRIES; i++) {
        const double share = (double)i / (double)(TRIES - 1);
        const double x = rect->x + share * rect->width;
        if (!in_zone(chart, zone, plot, x, rect->y) ||
            !in_zone(chart, zone, plot, x, rect->y + rect->height) ||
            !in_zone(chart, zone, plot, x, rect->y + rect->height / 2.0)) {
            return false;
        }
    }
    return true;
}

static bool overlaps(const struct canvas_rect *one, const struct canvas_rect *other)
{
    return one->x < other->x + other->width && other->x < one->x + one->width &&
           one->y < other->y + other->height && other->y < one->y + one->height;
}

static bool is_free(const struct canvas_rect *rect, const struct canvas_rect *taken, size_t count)
{
    for (size_t i = 0; i < count; i++) {
        if (overlaps(rect, &taken[i])) {
            return false;
        }
    }
    return true;
}

static struct canvas_rect grown(const struct canvas_rect *rect, double by)
{
    return (struct canvas_rect){rect->x - by, rect->y - by, rect->width + 2.0 * by,
                                rect->height + 2.0 * by};
}

/* By how much the rectangle may grow on all sides within the zone; negative: it does not fit. */
static double clearance(const struct nomogram_chart *chart, size_t zone, const struct plot *plot,
                        const struct canvas_rect *rect)
{
    static const double STEP_PT = 3.0;
    double room = -1.0;
    const int steps = (int)(plot->area.width / STEP_PT);
    for (int i = 0; i < steps; i++) {
        const double by = 1.0 + i * STEP_PT;
        const struct canvas_rect wider = grown(rect, by);
        if (!rect_fits(chart, zone, plot, &wider)) {
            return room;
        }
        room = by;
    }
    return room;
}

static struct zone_label try_words(struct canvas *canvas, const struct nomogram_chart *chart,
                                   size_t zone, const struct plot *plot,
                                   const struct zone_obstacles *obstacles, struct zone_label label)
{
    const struct canvas_run run = {.words = label.words};
    struct canvas_text text = text_of(&run, label.size_pt);
    double best = 0.0;
    text.width_pt = plot->area.width; /* lines break only where the words say so */
    const struct canvas_size size = canvas_text_size(canvas, &text);
    for (int i = 0; i < GRID * GRID; i++) {
        const struct canvas_point middle = part_middle(plot, i, GRID);
        const struct canvas_rect rect = {middle.x - size.width / 2.0, middle.y - size.height / 2.0,
                                         size.width, size.height};
        const double room = is_free(&rect, obstacles->rects, obstacles->count)
                                ? clearance(chart, zone, plot, &rect)
                                : -1.0;
        if (room > best) {
            best = room;
            label.has_room = true;
            label.rect = rect;
        }
    }
    return label;
}

struct zone_label zone_label_place(struct canvas *canvas, const struct nomogram_chart *chart,
                                   size_t zone, const struct plot *plot,
                                   const struct zone_obstacles *obstacles, struct arena *arena)
{
    const char *whole = chart->zones[zone].label;
    char *broken = arena_strdup(arena, whole);
    char *space = strchr(broken, ' ');
    if (space != NULL) {
        *space = '\n';
    }
    const struct zone_label tries[] = {{.words = whole, .size_pt = STYLE_SMALL_PT},
                                       {.words = broken, .size_pt = STYLE_SMALL_PT},
                                       {.words = whole, .size_pt = TINY_PT},
                                       {.words = broken, .size_pt = TINY_PT}};
    struct zone_label label = tries[0];
    for (size_t i = 0; i < sizeof tries / sizeof tries[0] && !label.has_room; i++) {
        label = try_words(canvas, chart, zone, plot, obstacles, tries[i]);
    }
    return label;
}

/* The place of a zone that is farthest from its edges: where a leader ends. False when the chart
 * shows nothing of the zone. */
static bool heart_of(const struct nomogram_chart *chart, size_t zone, const struct plot *plot,
                     struct canvas_point *ret_heart)
{
    enum { FINE = 4 * GRID };

    double best = 0.0;
    for (int i = 0; i < FINE * FINE; i++) {
        const struct canvas_point middle = part_middle(plot, i, FINE);
        const struct canvas_rect dot = {middle.x, middle.y, 0.0, 0.0};
        if (!in_zone(chart, zone, plot, dot.x, dot.y)) {
            continue;
        }
        const double room = fmax(clearance(chart, zone, plot, &dot), 0.5);
        if (room > best) {
            best = room;
            *ret_heart = (struct canvas_point){dot.x, dot.y};
        }
    }
    return best > 0.0;
}

/* Whether a rectangle lies on the plot, in one zone, whichever. */
static bool in_one_zone(const struct nomogram_chart *chart, const struct plot *plot,
                        const struct canvas_rect *rect)
{
    for (size_t zone = 0; zone < chart->zone_count; zone++) {
        if (rect_fits(chart, zone, plot, rect)) {
            return true;
        }
    }
    return false;
}

/* The name in a neighbouring zone, as near as may be, for a zone that has no room for it. */
static struct zone_label place_beside(struct canvas *canvas, const struct nomogram_chart *chart,
                                      const char *words, const struct plot *plot,
                                      const struct zone_obstacles *obstacles,
                                      struct canvas_point heart)
{
    static const double LEADER_PT_LEAST = 12.0;
    const struct canvas_run run = {.words = words};
    const struct canvas_text text = text_of(&run, STYLE_SMALL_PT);
    const struct canvas_size size = canvas_text_size(canvas, &text);
    struct zone_label label = {.words = words, .size_pt = STYLE_SMALL_PT};
    double best = HUGE_VAL;
    for (int i = 0; i < GRID * GRID; i++) {
        const struct canvas_point middle = part_middle(plot, i, GRID);
        const struct canvas_rect rect = {middle.x - size.width / 2.0, middle.y - size.height / 2.0,
                                         size.width, size.height};
        const struct canvas_rect wider = grown(&rect, 2.0);
        const double away = hypot(middle.x - heart.x, middle.y - heart.y);
        if (away < best && away > LEADER_PT_LEAST && in_one_zone(chart, plot, &wider) &&
            is_free(&wider, obstacles->rects, obstacles->count)) {
            best = away;
            label.has_room = true;
            label.rect = rect;
        }
    }
    return label;
}

/* From the nearest point of the name to the zone, with a dot there. */
static void draw_leader(struct canvas *canvas, const struct canvas_rect *rect,
                        struct canvas_point heart)
{
    const struct canvas_pen pen = style_pen(STYLE_INK_SOFT, 0.5);
    const struct canvas_point from = {fmin(fmax(heart.x, rect->x), rect->x + rect->width),
                                      fmin(fmax(heart.y, rect->y), rect->y + rect->height)};
    canvas_line(canvas, from, heart, &pen);
    canvas_marker(canvas, CANVAS_MARKER_DISC, heart, 2.0, pen.colour);
}

static void draw_label(struct canvas *canvas, const struct zone_label *label)
{
    const struct canvas_run run = {.words = label->words};
    struct canvas_text text = text_of(&run, label->size_pt);
    text.width_pt = label->rect.width + 1.0;
    text.align = CANVAS_CENTRE;
    (void)canvas_draw_text(canvas, (struct canvas_point){label->rect.x, label->rect.y}, &text);
}

static void draw_line(struct canvas *canvas, const struct nomogram_chart *chart,
                      const struct nomogram_line *line, const struct plot *plot)
{
    double numbers[LINE_POINTS][2];
    struct canvas_point points[LINE_POINTS];
    const size_t count = nomogram_line_points(chart, line, numbers, LINE_POINTS);
    /* Families differ by their dashes, the middle centile by its weight. */
    struct canvas_pen pen = style_pen(STYLE_INK, 0.8);
    pen.dash_pt = line->family > 0 ? 3.0 : 0.0;
    if (line->centile > 0.0) {
        pen.width_pt = fabs(line->centile - 50.0) < 1.0 ? 1.1 : 0.6;
    }
    for (size_t i = 0; i < count; i++) {
        points[i] = plot_point(plot, numbers[i][0], numbers[i][1]);
    }
    canvas_polyline(canvas, points, count, &pen);
    if (line->centile > 0.0 && count > 0) {
        const struct canvas_style style = style_text(STYLE_INK_SOFT, STYLE_SMALL_PT, false);
        char words[8];
        const int whole = (int)lround(line->centile);
        words[0] = whole >= 10 ? (char)('0' + whole / 10) : (char)('0' + whole);
        words[1] = whole >= 10 ? (char)('0' + whole % 10) : '\0';
        words[2] = '\0';
        /* In the margin: beside the line's end, or above it where the chart's top cuts it. */
        const struct canvas_point end = points[count - 1];
        const bool at_right = end.x > plot->area.x + plot->area.width - CENTILE_PT;
        (void)canvas_label(canvas,
                           at_right ? (struct canvas_point){plot->area.x + plot->area.width + 1.5,
                                                            end.y - CENTILE_PT / 2.0}
                                    : (struct canvas_point){end.x, plot->area.y - CENTILE_PT},
                           words, &style, at_right ? CANVAS_START : CANVAS_CENTRE, 0.0);
    }
}

/* Boxes around points; of many, evenly chosen ones. */
static size_t clear_points(const struct canvas_point *points, size_t count,
                           struct canvas_rect *rects)
{
    const size_t stride = count / POINTS_MOST + 1;
    size_t used = 0;
    for (size_t i = 0; i < count; i += stride) {
        if (isfinite(points[i].x) && isfinite(points[i].y)) {
            rects[used++] = (struct canvas_rect){points[i].x - POINT_CLEAR_PT / 2.0,
                                                 points[i].y - POINT_CLEAR_PT / 2.0, POINT_CLEAR_PT,
                                                 POINT_CLEAR_PT};
        }
    }
    return used;
}

void zone_labels_draw_chart(struct canvas *canvas, const struct nomogram_chart *chart,
                            const struct plot *plot, const struct canvas_point *points,
                            size_t count, struct arena *arena)
{
    struct canvas_rect rects[POINTS_MOST + ZONES_MOST];
    for (size_t i = 0; i < chart->line_count; i++) {
        draw_line(canvas, chart, &chart->lines[i], plot);
    }
    if (chart->line_count > 0 && chart->lines[0].centile > 0.0) {
        return;
    }
    struct zone_obstacles obstacles = {rects, clear_points(points, count, rects)};
    for (size_t i = 0; i < chart->zone_count && i < ZONES_MOST; i++) {
        struct canvas_point heart = {0};
        struct zone_label label = zone_label_place(canvas, chart, i, plot, &obstacles, arena);
        if (!label.has_room && heart_of(chart, i, plot, &heart)) {
            label = place_beside(canvas, chart, chart->zones[i].label, plot, &obstacles, heart);
            if (label.has_room) {
                draw_leader(canvas, &label.rect, heart);
            }
        }
        if (label.has_room) {
            draw_label(canvas, &label);
            rects[obstacles.count++] = label.rect;
        }
    }
}
