/* A patient's number over visits, as a figure. */
#ifndef FIGURE_FIGURE_TREND_H
#define FIGURE_FIGURE_TREND_H

#include "base/arena.h"
#include "drawing/canvas.h"

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

struct figure_visit {
    int64_t at_us;  /* when the study was */
    double value;   /* NaN: this visit has no such number; its date is shown all the same */
    bool doubtful;  /* rests on a doubtful stretch: drawn hollow */
    bool is_signed; /* else the figure says that it holds preliminary numbers */
};

/* A limit in use, as a line across. */
struct figure_limit {
    const char *label;
    double value;
};

struct figure_trend {
    const char *label; /* "Maximum flow rate (Qmax)" */
    const char *unit;  /* UCUM; "1" for indices */
    double report_step;
    size_t visit_count;
    const struct figure_visit *visits; /* in order of time */
    size_t limit_count;
    const struct figure_limit *limits;
};

/* Draws the trend into a rectangle. Without any value it says so. */
void figure_trend_draw(const struct figure_trend *trend, struct arena *arena, struct canvas *canvas,
                       struct canvas_rect area);

/* The same in words: each date with its number. On the arena. */
const char *figure_trend_alternative(const struct figure_trend *trend, struct arena *arena);

#endif
