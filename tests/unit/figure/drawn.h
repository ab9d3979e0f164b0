/* Drawing a figure for a test. */
#ifndef TESTS_FIGURE_DRAWN_H
#define TESTS_FIGURE_DRAWN_H

#include "figure/figure.h"
#include "figure/figure_trend.h"

struct drawn {
    const unsigned char *bytes;
    size_t length;
};

/* A figure in a form, filling a page of its size; PNG with two dots a point. Fails the test when
 * it cannot be drawn. */
struct drawn drawn_figure(struct arena *arena, const struct figure_source *source,
                          const struct figure *figure, enum canvas_form form);

struct drawn drawn_trend(struct arena *arena, const struct figure_trend *trend, double width_pt,
                         double height_pt, enum canvas_form form);

/* The figure of a kind (and code, when not NULL) that the source has; fails the test without it. */
struct figure drawn_find(struct arena *arena, const struct figure_source *source,
                         enum figure_kind kind, const char *code);

#endif
