#include "drawing/canvas.h"

#include "drawing/canvas_private.h"

#include <cairo-pdf.h>
#include <cairo-svg.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

/* Far beyond any report: a defect shall not eat the machine. */
enum { BYTES_MAX = 256 * 1024 * 1024, BYTES_FIRST = 64 * 1024 };

static const double TURN = 2.0 * 3.14159265358979323846;

bool canvas_is_well(const struct canvas *canvas)
{
    return canvas->error.kind == ERROR_NONE;
}

void canvas_fail(struct canvas *canvas, enum error_kind kind, const char *detail)
{
    if (canvas_is_well(canvas)) {
        (void)error_set(&canvas->error, kind, "%s", detail);
    }
}

static cairo_status_t append(void *closure, const unsigned char *data, unsigned int length)
{
    struct canvas_bytes *bytes = closure;
    if (length > BYTES_MAX - bytes->length) {
        return CAIRO_STATUS_WRITE_ERROR;
    }
    size_t needed = bytes->length + length;
    if (needed > bytes->capacity) {
        size_t capacity = bytes->capacity == 0 ? BYTES_FIRST : bytes->capacity * 2;
        while (capacity < needed) {
            capacity *= 2;
        }
        unsigned char *grown = realloc(bytes->data, capacity);
        if (grown == NULL) {
            return CAIRO_STATUS_NO_MEMORY;
        }
        bytes->data = grown;
        bytes->capacity = capacity;
    }
    memcpy(bytes->data + bytes->length, data, length);
    bytes->length = needed;
    return CAIRO_STATUS_SUCCESS;
}

static cairo_surface_t *new_image(double width_pt, double height_pt, double dots_per_point)
{
    return cairo_image_surface_create(CAIRO_FORMAT_RGB24, (int)ceil(width_pt * dots_per_point),
                                      (int)ceil(height_pt * dots_per_point));
}

static cairo_surface_t *new_surface(struct canvas *canvas, double width_pt, double height_pt,
                                    double dots_per_point)
{
    if (canvas->form == CANVAS_PNG) {
        return new_image(width_pt, height_pt, dots_per_point);
    }
    if (canvas->form == CANVAS_SVG) {
        cairo_surface_t *svg =
            cairo_svg_surface_create_for_stream(append, &canvas->bytes, width_pt, height_pt);
        cairo_svg_surface_set_document_unit(svg, CAIRO_SVG_UNIT_PT);
        return svg;
    }
    return cairo_pdf_surface_create_for_stream(append, &canvas->bytes, width_pt, height_pt);
}

struct canvas *canvas_new(enum canvas_form form, double width_pt, double height_pt,
                          double dots_per_point)
{
    struct canvas *canvas = g_new0(struct canvas, 1); // ends the process without memory
    canvas->form = form;
    canvas->page = 1;
    canvas->height_pt = height_pt;
    canvas->surface = new_surface(canvas, width_pt, height_pt, dots_per_point);
    canvas->cairo = cairo_create(canvas->surface);
    if (form == CANVAS_PNG) {
        cairo_set_source_rgb(canvas->cairo, 1.0, 1.0, 1.0);
        cairo_paint(canvas->cairo);
        cairo_scale(canvas->cairo, dots_per_point, dots_per_point);
    }
    return canvas;
}

void canvas_free(struct canvas *canvas)
{
    if (canvas == NULL) {
        return;
    }
    canvas_text_free(canvas);
    cairo_destroy(canvas->cairo);
    cairo_surface_destroy(canvas->surface); // may still write into the bytes
    free(canvas->bytes.data);
    g_free(canvas);
}

enum canvas_form canvas_form(const struct canvas *canvas)
{
    return canvas->form;
}

void canvas_next_page(struct canvas *canvas)
{
    if (canvas->form == CANVAS_PDF) {
        cairo_show_page(canvas->cairo);
        canvas->page++;
    }
}

/* cairo numbers surfaces through the life of the process, and writes the number into the file as an
 * id that nothing refers to. */
static void forget_surface_number(struct canvas_bytes *bytes)
{
    static const char mark[] = "<g id=\"surface";
    unsigned char *at = memmem(bytes->data, bytes->length, mark, strlen(mark));
    if (at == NULL) {
        return;
    }
    unsigned char *number = at + strlen(mark);
    unsigned char *end = bytes->data + bytes->length;
    unsigned char *after = number;
    while (after < end && *after >= '0' && *after <= '9') {
        after++;
    }
    memmove(number, after, (size_t)(end - after));
    bytes->length -= (size_t)(after - number);
}

static cairo_status_t write_out(struct canvas *canvas)
{
    cairo_status_t status = cairo_status(canvas->cairo);
    if (status != CAIRO_STATUS_SUCCESS) {
        return status;
    }
    if (canvas->form == CANVAS_PNG) {
        return cairo_surface_write_to_png_stream(canvas->surface, append, &canvas->bytes);
    }
    cairo_surface_finish(canvas->surface);
    return cairo_surface_status(canvas->surface);
}

bool canvas_finish(struct canvas *canvas, struct arena *arena, const unsigned char **ret_bytes,
                   size_t *ret_length, struct error *reterr)
{
    cairo_status_t status = write_out(canvas);
    if (status != CAIRO_STATUS_SUCCESS) {
        canvas_fail(canvas, ERROR_INTERNAL, cairo_status_to_string(status));
    }
    if (!canvas_is_well(canvas)) {
        *reterr = canvas->error;
        return error_context(reterr, "drawing");
    }
    if (canvas->form == CANVAS_SVG) {
        forget_surface_number(&canvas->bytes);
    }
    arena_defer(arena, free, canvas->bytes.data);
    *ret_bytes = canvas->bytes.data;
    *ret_length = canvas->bytes.length;
    canvas->bytes = (struct canvas_bytes){0};
    return true;
}

/* ---- lines and areas ---- */

void canvas_set_colour(struct canvas *canvas, struct canvas_colour colour)
{
    cairo_set_source_rgb(canvas->cairo, colour.red, colour.green, colour.blue);
}

static void set_pen(struct canvas *canvas, const struct canvas_pen *pen)
{
    canvas_set_colour(canvas, pen->colour);
    cairo_set_line_width(canvas->cairo, pen->width_pt);
    cairo_set_line_cap(canvas->cairo, CAIRO_LINE_CAP_BUTT);
    cairo_set_line_join(canvas->cairo, CAIRO_LINE_JOIN_ROUND);
    cairo_set_dash(canvas->cairo, &pen->dash_pt, pen->dash_pt > 0.0 ? 1 : 0, 0.0);
}

void canvas_line(struct canvas *canvas, struct canvas_point from, struct canvas_point to,
                 const struct canvas_pen *pen)
{
    set_pen(canvas, pen);
    cairo_move_to(canvas->cairo, from.x, from.y);
    cairo_line_to(canvas->cairo, to.x, to.y);
    cairo_stroke(canvas->cairo);
}

static bool is_there(struct canvas_point point)
{
    return isfinite(point.x) && isfinite(point.y);
}

static void trace_dot(struct canvas *canvas, struct canvas_point centre, double radius)
{
    cairo_new_sub_path(canvas->cairo);
    cairo_arc(canvas->cairo, centre.x, centre.y, radius, 0.0, TURN);
    cairo_close_path(canvas->cairo);
}

/* Points that stand alone, or at one place: a stroke would not show them. */
static void draw_dots(struct canvas *canvas, const struct canvas_point *points, size_t count,
                      double radius)
{
    bool any = false;
    for (size_t i = 0; i < count; i++) {
        bool alone = is_there(points[i]) && (i == 0 || !is_there(points[i - 1])) &&
                     (i + 1 == count || !is_there(points[i + 1]));
        if (alone) {
            trace_dot(canvas, points[i], radius);
            any = true;
        }
    }
    if (any) {
        cairo_fill(canvas->cairo);
    }
}

void canvas_polyline(struct canvas *canvas, const struct canvas_point *points, size_t count,
                     const struct canvas_pen *pen)
{
    set_pen(canvas, pen);
    bool is_open = false;
    for (size_t i = 0; i < count; i++) {
        if (!is_there(points[i])) {
            is_open = false;
        } else if (is_open) {
            cairo_line_to(canvas->cairo, points[i].x, points[i].y);
        } else if (i + 1 < count && is_there(points[i + 1])) {
            cairo_move_to(canvas->cairo, points[i].x, points[i].y);
            is_open = true;
        }
    }
    cairo_stroke(canvas->cairo);
    draw_dots(canvas, points, count, pen->width_pt / 2.0);
}

void canvas_fill_polygon(struct canvas *canvas, const struct canvas_point *points, size_t count,
                         struct canvas_colour colour)
{
    canvas_set_colour(canvas, colour);
    for (size_t i = 0; i < count; i++) {
        if (is_there(points[i])) {
            cairo_line_to(canvas->cairo, points[i].x, points[i].y); // the first one moves
        }
    }
    cairo_close_path(canvas->cairo);
    cairo_fill(canvas->cairo);
}

static void trace_rect(struct canvas *canvas, struct canvas_rect rect)
{
    cairo_rectangle(canvas->cairo, rect.x, rect.y, rect.width, rect.height);
}

void canvas_fill_rect(struct canvas *canvas, struct canvas_rect rect, struct canvas_colour colour)
{
    canvas_set_colour(canvas, colour);
    trace_rect(canvas, rect);
    cairo_fill(canvas->cairo);
}

void canvas_stroke_rect(struct canvas *canvas, struct canvas_rect rect,
                        const struct canvas_pen *pen)
{
    set_pen(canvas, pen);
    cairo_set_line_join(canvas->cairo, CAIRO_LINE_JOIN_MITER);
    trace_rect(canvas, rect);
    cairo_stroke(canvas->cairo);
}

/* A marker that is an outline has a line of this share of its size. */
static const double MARKER_LINE = 0.18;

static void draw_cross(struct canvas *canvas, struct canvas_point centre, double size_pt,
                       struct canvas_colour colour)
{
    double arm = size_pt / 2.0 * 0.85;
    struct canvas_pen pen = {.colour = colour, .width_pt = size_pt * MARKER_LINE};
    canvas_line(canvas, (struct canvas_point){centre.x - arm, centre.y - arm},
                (struct canvas_point){centre.x + arm, centre.y + arm}, &pen);
    canvas_line(canvas, (struct canvas_point){centre.x - arm, centre.y + arm},
                (struct canvas_point){centre.x + arm, centre.y - arm}, &pen);
}

static void draw_ring(struct canvas *canvas, struct canvas_point centre, double size_pt,
                      struct canvas_colour colour)
{
    struct canvas_pen pen = {.colour = colour, .width_pt = size_pt * MARKER_LINE};
    set_pen(canvas, &pen);
    trace_dot(canvas, centre, (size_pt - pen.width_pt) / 2.0);
    cairo_stroke(canvas->cairo);
}

static void draw_corners(struct canvas *canvas, const struct canvas_point *offsets, size_t count,
                         struct canvas_point centre, double half, struct canvas_colour colour)
{
    struct canvas_point corners[4];
    for (size_t i = 0; i < count; i++) {
        corners[i].x = centre.x + offsets[i].x * half;
        corners[i].y = centre.y + offsets[i].y * half;
    }
    canvas_fill_polygon(canvas, corners, count, colour);
}

void canvas_marker(struct canvas *canvas, enum canvas_marker marker, struct canvas_point centre,
                   double size_pt, struct canvas_colour colour)
{
    static const struct canvas_point square[] = {
        {-0.85, -0.85}, {0.85, -0.85}, {0.85, 0.85}, {-0.85, 0.85}};
    static const struct canvas_point diamond[] = {{0, -1}, {1, 0}, {0, 1}, {-1, 0}};
    static const struct canvas_point triangle[] = {{0, -1}, {1, 0.8}, {-1, 0.8}};
    if (!is_there(centre)) {
        return;
    }
    switch (marker) {
    case CANVAS_MARKER_DISC:
        canvas_set_colour(canvas, colour);
        trace_dot(canvas, centre, size_pt / 2.0);
        cairo_fill(canvas->cairo);
        return;
    case CANVAS_MARKER_RING:
        draw_ring(canvas, centre, size_pt, colour);
        return;
    case CANVAS_MARKER_SQUARE:
        draw_corners(canvas, square, 4, centre, size_pt / 2.0, colour);
        return;
    case CANVAS_MARKER_DIAMOND:
        draw_corners(canvas, diamond, 4, centre, size_pt / 2.0, colour);
        return;
    case CANVAS_MARKER_TRIANGLE:
        draw_corners(canvas, triangle, 3, centre, size_pt / 2.0, colour);
        return;
    case CANVAS_MARKER_CROSS:
        draw_cross(canvas, centre, size_pt, colour);
        return;
    }
}

void canvas_clip_begin(struct canvas *canvas, struct canvas_rect rect)
{
    cairo_save(canvas->cairo);
    trace_rect(canvas, rect);
    cairo_clip(canvas->cairo);
}

void canvas_clip_end(struct canvas *canvas)
{
    cairo_restore(canvas->cairo);
}

/* ---- structure ---- */

static const char *tag_name(enum canvas_tag tag)
{
    static const char *const names[] = {[CANVAS_TAG_DOCUMENT] = "Document",
                                        [CANVAS_TAG_H1] = "H1",
                                        [CANVAS_TAG_H2] = "H2",
                                        [CANVAS_TAG_H3] = "H3",
                                        [CANVAS_TAG_P] = "P",
                                        [CANVAS_TAG_LIST] = "L",
                                        [CANVAS_TAG_LIST_ITEM] = "LI",
                                        [CANVAS_TAG_LIST_LABEL] = "Lbl",
                                        [CANVAS_TAG_LIST_BODY] = "LBody",
                                        [CANVAS_TAG_TABLE] = "Table",
                                        [CANVAS_TAG_ROW] = "TR",
                                        [CANVAS_TAG_HEADER_CELL] = "TH",
                                        [CANVAS_TAG_CELL] = "TD",
                                        [CANVAS_TAG_FIGURE] = "Figure",
                                        [CANVAS_TAG_CAPTION] = "Caption"};
    return names[tag];
}

void canvas_tag_begin(struct canvas *canvas, enum canvas_tag tag, const char *alt)
{
    (void)alt; // cairo has no place for it
    if (canvas->form == CANVAS_PDF) {
        cairo_tag_begin(canvas->cairo, tag_name(tag), NULL);
    }
}

void canvas_tag_end(struct canvas *canvas, enum canvas_tag tag)
{
    if (canvas->form == CANVAS_PDF) {
        cairo_tag_end(canvas->cairo, tag_name(tag));
    }
}

void canvas_bookmark(struct canvas *canvas, int level, const char *words, struct canvas_point at)
{
    if (canvas->form != CANVAS_PDF || !canvas_is_well(canvas)) {
        return;
    }
    char attributes[100];
    (void)g_snprintf(attributes, sizeof attributes, "page=%d pos=[%d %d]", canvas->page, (int)at.x,
                     (int)at.y);
    char *valid = g_utf8_make_valid(words, -1);
    int parent = level == 1 ? CAIRO_PDF_OUTLINE_ROOT : canvas->chapter;
    int id = cairo_pdf_surface_add_outline(canvas->surface, parent, valid, attributes,
                                           CAIRO_PDF_OUTLINE_FLAG_OPEN);
    if (level == 1) {
        canvas->chapter = id;
    }
    g_free(valid);
}

void canvas_link(struct canvas *canvas, struct canvas_rect area, const char *address)
{
    if (canvas->form != CANVAS_PDF) {
        return;
    }
    GString *attributes = g_string_new(NULL);
    g_string_append_printf(attributes, "rect=[%d %d %d %d] uri='", (int)area.x, (int)area.y,
                           (int)ceil(area.width), (int)ceil(area.height));
    for (const char *at = address; *at != '\0'; at++) {
        if (*at == '\'' || *at == '\\') {
            g_string_append_c(attributes, '\\');
        }
        g_string_append_c(attributes, *at);
    }
    g_string_append_c(attributes, '\'');
    cairo_tag_begin(canvas->cairo, CAIRO_TAG_LINK, attributes->str);
    cairo_tag_end(canvas->cairo, CAIRO_TAG_LINK);
    g_string_free(attributes, TRUE);
}
