/* Losses of urine during filling, and the leak point pressures. */
#ifndef ANALYSIS_FILLING_LEAKS_H
#define ANALYSIS_FILLING_LEAKS_H

#include "analysis/filling/filling.h"

/* Finds leaks from markers and from flow on the meter, says what caused each, sets `leak` of the
 * contractions in `measures` and computes both leak point pressures. To be called after
 * filling_measure(). False when memory ran out. */
bool leaks_measure(struct study *study, const struct flow_record *record,
                   const struct filling_phase *phase, struct filling_measures *measures);

#endif
