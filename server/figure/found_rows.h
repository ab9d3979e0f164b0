/* What was found in a recording, in rows between events and traces: phases as named bands, coughs,
 * strains, contractions, leaks and the like as shapes at their times, one row a kind. Private to
 * figure/. */
#ifndef FIGURE_FOUND_ROWS_H
#define FIGURE_FOUND_ROWS_H

#include "figure/figure.h"
#include "figure/plot.h"

/* One thing found; a moment has from_s = to_s = at_s. */
struct found_item {
    double from_s;
    double at_s;
    double to_s;
};

struct found_row {
    const char *label; /* beside the row: "Contractions" */
    const char *words; /* in full: "Involuntary detrusor contractions" */
    enum canvas_marker marker;
    size_t count; /* those within the span */
    const struct found_item *items;
};

struct found_band {
    const char *label; /* "Filling" */
    double from_s;
    double to_s;
};

enum { FOUND_ROWS_MAX = 12, FOUND_BANDS_MAX = 24 };

struct found_rows {
    size_t band_count;
    struct found_band bands[FOUND_BANDS_MAX];
    size_t row_count; /* only rows with items */
    struct found_row rows[FOUND_ROWS_MAX];
};

/* What the document holds within a span. Filling is shown from its markers, the voiding as it was
 * measured, pulls as they were found. */
struct found_rows found_rows_of(const struct figure_source *source, struct figure_span span,
                                struct arena *arena);

double found_rows_height(const struct found_rows *found);

/* Draws them from `top` down along the plot's time axis; labels end at `label_right`. */
void found_rows_draw(struct canvas *canvas, const struct found_rows *found, const struct plot *plot,
                     double top, double label_right);

/* "Coughs: 6 (0:09, 1:29, ...)." for each row, and the bands. */
void found_rows_tell(const struct found_rows *found, struct text *out);

#endif
