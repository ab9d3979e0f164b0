/* Detrusor pressure where it was not recorded: vesical minus abdominal pressure, sample by sample
 * (ICS, Drake et al. 2018: pdet = pves - pabd). */
#ifndef FORMATS_DERIVED_PRESSURE_H
#define FORMATS_DERIVED_PRESSURE_H

#include "analysis/recording.h"
#include "formats/samples.h"

/* What of a channel decides whether two can be subtracted. */
struct pressure_grid {
    double rate_hz;
    double start_s;
    const char *unit;
    size_t count;
};

/* Whether both were sampled at the same times in the same unit. */
bool derived_pressure_fits(const struct pressure_grid *pves, const struct pressure_grid *pabd);

/* pves[i] - pabd[i], NaN where either is missing. A difference of short decimals has long ones; six
 * places undo that and lose nothing recorded. */
void derived_pressure(const double *pves, const double *pabd, size_t count, double *pdet);

/* The encoding of what derived_pressure_for_drawing() makes, without codes and count. */
struct samples derived_pressure_shape(void);

/* The same to four decimals on the arena, which is exact enough to draw; beyond +-214748.3647 it
 * stays there. */
void derived_pressure_for_drawing(const struct samples *pves, const struct samples *pabd,
                                  struct arena *arena, struct samples *ret_pdet);

#endif
