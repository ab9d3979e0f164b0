/* The bladder and abdominal pressures on one slow time axis, for what takes a second or longer. */
#ifndef ANALYSIS_PRESSURE_PRESSURE_GRID_H
#define ANALYSIS_PRESSURE_PRESSURE_GRID_H

#include "analysis/signal/series.h"

struct study;

/* All three share rate, start and count, or have count 0. Their samples may be changed. */
struct pressure_grid {
    double rate_hz;
    double start_s;
    size_t count;  /* 0: there is neither line */
    bool has_pves; /* recorded, or pdet + pabd */
    bool has_pabd; /* recorded, or pves - pdet */
    double *pves;  /* NULL unless has_pves */
    double *pabd;
    double *pdet; /* as uploaded, else pves - pabd; NULL unless both lines are there */
};

/* Makes the grid of a study: block means of at most CRITERIA_GRID_HZ on the axis of pves, or of
 * pabd when there is none. False when memory ran out. */
bool pressure_grid_open(const struct study *study, struct pressure_grid *ret_grid);

/* The part of a grid within a span. Shares the samples. */
struct pressure_grid pressure_grid_part(const struct pressure_grid *grid, struct span span);

/* A view of samples that lie on the grid. */
struct series pressure_grid_series(const struct pressure_grid *grid, const double *samples);

/* Time of sample `index`. */
double pressure_grid_time(const struct pressure_grid *grid, size_t index);

/* Makes samples missing within a span. */
void pressure_grid_mask(const struct pressure_grid *grid, struct span span, double *samples);

/* Brings block means of grid samples (resample_means() by `block`) back to the grid by straight
 * lines; the first and last value are held. */
void pressure_grid_spread(const struct pressure_grid *grid, const struct series *slow, size_t block,
                          double *output);

#endif
