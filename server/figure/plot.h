/* The mapping from numbers to places, and axes. Every figure maps through it. */
#ifndef FIGURE_PLOT_H
#define FIGURE_PLOT_H

#include "base/text.h"
#include "drawing/canvas.h"

#include <stdbool.h>
#include <stddef.h>

/* A rectangle in which x grows to the right from `from_x` to `to_x`, and y upwards. from != to. */
struct plot {
    struct canvas_rect area;
    double from_x;
    double to_x;
    double from_y;
    double to_y;
};

double plot_x(const struct plot *plot, double x);
double plot_y(const struct plot *plot, double y);
struct canvas_point plot_point(const struct plot *plot, double x, double y);

/* Whether a point lies on the plot, edges included. False for NaN. */
bool plot_holds(const struct plot *plot, double x, double y);

/* ---- ticks ---- */

/* The finest of 1, 2 and 5 times a power of ten that makes at most `most` steps of the range. */
double plot_step(double range, double most);

/* The same for seconds: 1, 2, 5 up to ten, then steps of a clock (15 s, 30 s, 1 min, ...). */
double plot_time_step(double range_s, double most);

/* The first multiple of `step` that is not below `from`, and how many lie within [from, to]. */
double plot_first_tick(double from, double step);
size_t plot_tick_count(double from, double to, double step);

/* Widens [*from, *to] to multiples of a step that makes at most `most` of them; returns the step.
 * An empty range becomes one. */
double plot_widen(double *from, double *to, double most);

/* A tick's number with as many decimals as the step needs; U+2212 as minus. */
void plot_append_tick(struct text *out, double value, double step);

/* Seconds as a clock: "1:05", "1:02:03", with one decimal for steps below a second. */
void plot_append_clock(struct text *out, double at_s, double step_s);

/* ---- axes ---- */

struct plot_axis {
    const char *label; /* with its unit: "Flow rate (mL/s)" */
    double from;
    double to;
    double step; /* between ticks; 0: the caller draws its own */
};

/* Grid, frame, ticks and labels of a chart within `area`; returns the plot inside of them. */
struct plot plot_draw_axes(struct canvas *canvas, struct arena *arena, struct canvas_rect area,
                           const struct plot_axis *x, const struct plot_axis *y);

/* "Label (unit)" with the unit as people write it; the label alone for the unit 1. On the arena. */
const char *plot_axis_label(struct arena *arena, const char *label, const char *ucum);

/* How many ticks have room over a length. */
double plot_ticks_across(double width_pt);
double plot_ticks_down(double height_pt);

#endif
