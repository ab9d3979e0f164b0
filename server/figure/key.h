/* What the marks of a figure mean, in lines below it. Private to figure/. */
#ifndef FIGURE_KEY_H
#define FIGURE_KEY_H

#include "base/arena.h"
#include "drawing/canvas.h"

#include <stdbool.h>
#include <stddef.h>

enum key_sample {
    KEY_MARKER,
    KEY_LINE,
    KEY_HATCH, /* a doubtful stretch */
    KEY_NOTE   /* words alone, on lines of their own */
};

struct key_item {
    enum key_sample sample;
    enum canvas_marker marker; /* KEY_MARKER */
    struct canvas_pen pen;     /* KEY_LINE: the line; KEY_MARKER: its colour */
    const char *words;
};

enum { KEY_ITEMS_MAX = 40 };

struct key {
    size_t count;
    struct key_item items[KEY_ITEMS_MAX];
};

/* Adds an item; beyond KEY_ITEMS_MAX nothing. */
void key_marker(struct key *key, enum canvas_marker marker, struct canvas_colour colour,
                const char *words);
void key_line(struct key *key, struct canvas_pen pen, const char *words);
void key_hatch(struct key *key, const char *words);
void key_note(struct key *key, const char *words);

/* Height that the key takes at a width; 0 without items. */
double key_height(struct canvas *canvas, const struct key *key, double width_pt);

/* Draws it from `at` down. */
void key_draw(struct canvas *canvas, const struct key *key, struct canvas_point at,
              double width_pt);

/* A hatched bar with a frame: a doubtful stretch. */
void key_draw_hatch(struct canvas *canvas, struct canvas_rect bar);

#endif
