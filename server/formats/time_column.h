/* The printed times of a table's rows, and the even grid that they are taken from.
 *
 * A printed time stands for any time within half a unit of its last digit. Zeros at the end are
 * often left out, so a time counts as printed to as many decimals as any later one has, and to as
 * many significant digits as any earlier one. */
#ifndef FORMATS_TIME_COLUMN_H
#define FORMATS_TIME_COLUMN_H

#include "base/compiler.h"

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

/* Times closer than this are the same instant. */
#define TIME_COLUMN_SAME_S 1e-9

struct time_column {
    size_t count;
    const double *times_s;   /* rising */
    uint8_t *decimals;       /* decimal places */
    const uint8_t *is_loose; /* 1: the row may stand beside the grid */
};

struct time_grid {
    double rate_hz;
    double start_s;
};

/* Gives each time the decimals that the others (of rows that are not loose) show it to have; to be
 * called once, before all else. */
void time_column_settle(struct time_column *column);

/* The time of sample `index` of a channel: the one place where it is computed. */
double time_grid_at(const struct time_grid *grid, size_t index);

/* Whether the row stands for the time `at_s`. */
bool time_column_fits(const struct time_column *column, size_t row, double at_s);

/* Whether the row is the one that stands for `at_s`. A row that may stand beside the grid
 * (`is_optional`) is not, when the next one is closer. */
bool time_column_takes(const struct time_column *column, size_t row, double at_s, bool is_optional);

/* Finds start and rate such that every row that is not loose fits start + i / rate.
 *
 * Where the times as printed rise by one step (to nine decimals), that step is taken. Otherwise the
 * times are taken for rounded ones, and the roundest rate that fits them all is: a multiple of
 * 1000, 100, 10 or 1 Hz, a whole number of ms, then ever more decimals of a Hz or a ms, six at
 * most. The start is the first time as printed, or the multiple of the step nearest to it; where no
 * rate fits with these, the time nearest to the first that makes one fit. Rounded times must be
 * printed to less than half a step: then no missing row can pass for rounding.
 *
 * False when nothing fits, with the first row that does not (SIZE_MAX: there are not two rows). */
MUST_CHECK bool time_column_grid(const struct time_column *column, struct time_grid *ret_grid,
                                 size_t *ret_row);

#endif
