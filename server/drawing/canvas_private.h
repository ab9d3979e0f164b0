/* What the files of the canvas share: cairo and pango stay behind it. */
#ifndef DRAWING_CANVAS_PRIVATE_H
#define DRAWING_CANVAS_PRIVATE_H

#include "drawing/canvas.h"

#include <cairo.h>
#include <pango/pangocairo.h>

/* What text is set in. */
#define CANVAS_FAMILY "Noto Sans"

struct canvas_bytes {
    unsigned char *data;
    size_t length;
    size_t capacity;
};

struct canvas {
    enum canvas_form form;
    cairo_surface_t *surface;
    cairo_t *cairo;
    struct canvas_bytes bytes; /* what cairo has written so far */
    PangoContext *context;     /* NULL until the first text */
    GHashTable *layouts;       /* laid out texts by everything but their colours */
    int page;                  /* from 1 */
    double height_pt;
    int chapter; /* the outline's last entry of level 1 */
    struct error error;
};

/* Whether nothing has failed so far. */
bool canvas_is_well(const struct canvas *canvas);

/* Keeps the first failure; what is drawn afterwards goes nowhere. */
void canvas_fail(struct canvas *canvas, enum error_kind kind, const char *detail);

void canvas_set_colour(struct canvas *canvas, struct canvas_colour colour);

void canvas_text_free(struct canvas *canvas);

#endif
