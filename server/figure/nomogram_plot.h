/* A nomogram, the patient's point on it and its axes: for the nomograms themselves and for the
 * loop, which has the same axes. Private to figure/. */
#ifndef FIGURE_NOMOGRAM_PLOT_H
#define FIGURE_NOMOGRAM_PLOT_H

#include "figure/figure.h"
#include "figure/plot.h"

struct nomogram_plot {
    struct nomogram_chart chart; /* with the limits of the document */
    double x;                    /* the point, unrounded */
    double y;
    const struct nomogram_zone *zone; /* the document's class */
};

/* False when the chart is not for this patient, or the document has no class or number for it. */
bool nomogram_plot_open(const struct figure_source *source, enum nomogram_code code,
                        struct nomogram_plot *ret_found);

/* Widens a chart's axes so that a point lies on them. */
void nomogram_plot_reach(struct nomogram_chart *chart, double x, double y);

/* Draws the chart's axes. */
struct plot nomogram_plot_axes(struct canvas *canvas, struct arena *arena,
                               struct nomogram_chart *chart, struct canvas_rect area);

#endif
