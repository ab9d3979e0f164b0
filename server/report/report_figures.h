/* The figures of a recording, ready to stand in a report or letter. */
#ifndef REPORT_REPORT_FIGURES_H
#define REPORT_REPORT_FIGURES_H

#include "figure/figure.h"
#include "report/report.h"

/* The figures that a recording has, each with the section that it belongs to. They draw from
 * `source` when the document is written: it, and what it borrows, must live as long as the arena.
 * Returns how many. */
size_t report_figures_make(const struct figure_source *source, struct arena *arena,
                           const struct report_figure **ret_figures);

#endif
