/* Parts of the filling section. Private to filling*.c. */
#ifndef ANALYSIS_FILLING_FILLING_PARTS_H
#define ANALYSIS_FILLING_FILLING_PARTS_H

#include "analysis/filling/filling.h"

/* Resting and end-filling pressures and compliance, outside the contractions that are in `measures`
 * already, and a note when the end is not quiet. */
void filling_measure_pressures(struct study *study, const struct filling_phase *phase,
                               struct filling_measures *measures);

/* Lists coughs and strains up to the end of filling. False when memory ran out. */
bool filling_list_events(const struct study *study, const struct filling_phase *phase,
                         struct filling_measures *measures);

#endif
