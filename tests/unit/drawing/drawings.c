#include "drawings.h"

#include <cairo.h>
#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stdint.h>
#include <stdio.h>
#include <string.h>

#include <cmocka.h>

static const double DOTS = 2.0;

const struct canvas_colour drawing_black = {0.0, 0.0, 0.0};

struct drawing drawing_make(enum canvas_form form, drawing_steps *steps)
{
    struct drawing drawing = {.arena = arena_new()};
    struct error error = {0};
    struct canvas *canvas = canvas_new(form, DRAWING_WIDTH, DRAWING_HEIGHT, DOTS);
    assert_int_equal(canvas_form(canvas), form);
    steps(canvas);
    if (!canvas_finish(canvas, drawing.arena, &drawing.bytes, &drawing.length, &error)) {
        fail_msg("%s", error.detail);
    }
    canvas_free(canvas);
    if (form == CANVAS_SVG) {
        drawing.bytes = (const unsigned char *)arena_strndup(
            drawing.arena, (const char *)drawing.bytes, drawing.length);
    }
    return drawing;
}

void drawing_free(struct drawing *drawing)
{
    arena_free(drawing->arena);
}

void drawing_check_repeats(enum canvas_form form, drawing_steps *steps)
{
    struct drawing one = drawing_make(form, steps);
    struct drawing other = drawing_make(form, steps);
    assert_int_equal(one.length, other.length);
    assert_memory_equal(one.bytes, other.bytes, one.length);
    drawing_free(&one);
    drawing_free(&other);
}

void drawing_holds(const struct drawing *svg, const char *part)
{
    if (strstr((const char *)svg->bytes, part) == NULL) {
        fail_msg("it lacks: %s\n%s", part, (const char *)svg->bytes);
    }
}

void drawing_lacks(const struct drawing *svg, const char *part)
{
    if (strstr((const char *)svg->bytes, part) != NULL) {
        fail_msg("it holds: %s\n%s", part, (const char *)svg->bytes);
    }
}

/* ---- pixels, by cairo's own reader ---- */

struct source {
    const struct drawing *png;
    size_t at;
};

static cairo_status_t read_bytes(void *closure, unsigned char *data, unsigned int length)
{
    struct source *source = closure;
    if (length > source->png->length - source->at) {
        return CAIRO_STATUS_READ_ERROR;
    }
    memcpy(data, source->png->bytes + source->at, length);
    source->at += length;
    return CAIRO_STATUS_SUCCESS;
}

static cairo_surface_t *decode(const struct drawing *png)
{
    struct source source = {.png = png};
    cairo_surface_t *image = cairo_image_surface_create_from_png_stream(read_bytes, &source);
    assert_int_equal(cairo_surface_status(image), CAIRO_STATUS_SUCCESS);
    assert_int_equal(cairo_image_surface_get_width(image), (int)(DRAWING_WIDTH * DOTS));
    assert_int_equal(cairo_image_surface_get_height(image), (int)(DRAWING_HEIGHT * DOTS));
    return image;
}

static int darkness(cairo_surface_t *image, int column, int row)
{
    const unsigned char *data = cairo_image_surface_get_data(image) +
                                (ptrdiff_t)row * cairo_image_surface_get_stride(image);
    uint32_t pixel = 0;
    memcpy(&pixel, data + (ptrdiff_t)column * 4, sizeof pixel);
    unsigned sum = ((pixel >> 16) & 255U) + ((pixel >> 8) & 255U) + (pixel & 255U);
    return 255 - (int)(sum / 3U);
}

int drawing_darkness(const struct drawing *png, double x, double y)
{
    cairo_surface_t *image = decode(png);
    int dark = darkness(image, (int)floor(x * DOTS), (int)floor(y * DOTS));
    cairo_surface_destroy(image);
    return dark;
}

struct canvas_rect drawing_ink(const struct drawing *png)
{
    enum { VISIBLE = 24 };

    cairo_surface_t *image = decode(png);
    double left = (double)INFINITY;
    double top = (double)INFINITY;
    double right = -(double)INFINITY;
    double bottom = -(double)INFINITY;
    for (int row = 0; row < (int)(DRAWING_HEIGHT * DOTS); row++) {
        for (int column = 0; column < (int)(DRAWING_WIDTH * DOTS); column++) {
            if (darkness(image, column, row) > VISIBLE) {
                left = fmin(left, column / DOTS);
                right = fmax(right, (column + 1) / DOTS);
                top = fmin(top, row / DOTS);
                bottom = fmax(bottom, (row + 1) / DOTS);
            }
        }
    }
    cairo_surface_destroy(image);
    assert_true(isfinite(left));
    return (struct canvas_rect){left, top, right - left, bottom - top};
}

int drawing_end(void **state)
{
    (void)state;
    canvas_forget_fonts();
    return 0;
}
