/* Leak point pressures, from the leaks of a filling. Private to leaks.c. */
#ifndef ANALYSIS_FILLING_LEAKS_POINTS_H
#define ANALYSIS_FILLING_LEAKS_POINTS_H

#include "analysis/filling/filling.h"

enum leak_cause {
    LEAK_COUGH,
    LEAK_STRAIN,
    LEAK_CONTRACTION, /* "detrusor", during an involuntary contraction */
    LEAK_PRESSURE,    /* "detrusor", without one: low compliance */
    LEAK_UNCLEAR
};

/* One leak, with what the list of the document does not hold. */
struct leak_found {
    struct leak leak;
    enum leak_cause cause;
    double pressure_s; /* where its pressure was read */
};

/* Computes both leak point pressures.
 *
 * stressed   coughs or strains during the filling
 * on_record  leaks were looked for on a meter, or marked
 *
 * Definitions: lowest pves at which urine leaks because of raised abdominal pressure without a
 * detrusor contraction; lowest pdet at which urine leaks without either. Abrams P et al. (ICS).
 * Neurourol Urodyn 2002;21:167-178. The baseline is the atmospheric zero, one of three in use. */
void leaks_points(const struct leak_found *leaks, size_t count, bool stressed, bool on_record,
                  struct filling_measures *measures);

#endif
