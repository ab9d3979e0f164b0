/* Indices and classes with published limits. Classes use unrounded values; see criteria.h for which
 * side a limit itself belongs to. */
#ifndef ANALYSIS_CLASSIFY_H
#define ANALYSIS_CLASSIFY_H

#include <stdbool.h>

/* Whether an index lies above, or below, a limit: to the precision of CRITERIA_INDEX_GRAIN, so that
 * the rounding noise of a computation does not move a value off its limit. */
bool classify_above(double index, double limit);
bool classify_below(double index, double limit);

/* Expected bladder capacity of a child, mL: 30*(age+1) at 4..12 completed years, 390 above,
 * 38 + 2.5 per month in the first year (Holmdahl 1996). False at 1..3 years, where neither holds.
 *
 * age_years  with its fraction */
bool classify_expected_capacity(double age_years, double *ret_ml);

#endif
