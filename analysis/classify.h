/* Indices and classes with published limits. Classes use unrounded values; see criteria.h for which
 * side a limit itself belongs to. */
#ifndef ANALYSIS_CLASSIFY_H
#define ANALYSIS_CLASSIFY_H

#include <stdbool.h>

/* Bladder outlet obstruction index, pdetQmax - 2*Qmax (cmH2O, mL/s; men). Abrams P. BJU Int
 * 1999;84:14-15. */
double classify_booi(double pdet_qmax_cmh2o, double qmax_ml_s);

/* Bladder contractility index, pdetQmax + 5*Qmax (men). Abrams 1999. */
double classify_bci(double pdet_qmax_cmh2o, double qmax_ml_s);

/* "obstructed" above 40, "unobstructed" below 20, else "equivocal" (40 and 20 included). */
const char *classify_obstruction(double booi);

/* "strong" above 150, "weak" below 100, else "normal" (100 and 150 included). */
const char *classify_contractility(double bci);

/* "very_low" below 10, "low" below 20, else "not_low", mL/cmH2O. No agreed limits exist. */
const char *classify_compliance(double compliance_ml_cmh2o);

/* Expected bladder capacity of a child, mL: 30*(age+1) at 4..12 completed years, 390 above,
 * 38 + 2.5 per month in the first year (Holmdahl 1996). False at 1..3 years, where neither holds.
 *
 * age_years  with its fraction */
bool classify_expected_capacity(double age_years, double *ret_ml);

#endif
