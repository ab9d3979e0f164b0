/* Drawings for the tests of the canvas, and how to look at them. */
#ifndef TESTS_DRAWINGS_H
#define TESTS_DRAWINGS_H

#include "drawing/canvas.h"

typedef void drawing_steps(struct canvas *canvas);

struct drawing {
    struct arena *arena;
    const unsigned char *bytes; /* of an SVG with a NUL behind them */
    size_t length;
};

enum { DRAWING_WIDTH = 300, DRAWING_HEIGHT = 200 };

extern const struct canvas_colour drawing_black;

/* Draws on a canvas of that form and of the size above, PNG with two dots a point. */
struct drawing drawing_make(enum canvas_form form, drawing_steps *steps);
void drawing_free(struct drawing *drawing);

/* Whether two runs of the same steps give the same bytes. */
void drawing_check_repeats(enum canvas_form form, drawing_steps *steps);

/* An SVG holds, or lacks, this text. */
void drawing_holds(const struct drawing *svg, const char *part);
void drawing_lacks(const struct drawing *svg, const char *part);

/* How dark a PNG is at a point, given in points: 0 white to 255 black. */
int drawing_darkness(const struct drawing *png, double x, double y);

/* The rectangle, in points, outside of which a PNG is white. */
struct canvas_rect drawing_ink(const struct drawing *png);

/* The end of a program: gives back what fonts keep. A cmocka group's teardown. */
int drawing_end(void **state);

#endif
