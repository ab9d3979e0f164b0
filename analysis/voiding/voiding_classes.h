/* Classes of the voiding: each names its rule, the numbers and the limits that it rests on. */
#ifndef ANALYSIS_VOIDING_VOIDING_CLASSES_H
#define ANALYSIS_VOIDING_VOIDING_CLASSES_H

#include "analysis/study.h"

/* Adds every classification that holds for the patient and whose numbers are known; none when the
 * voiding is involuntary:
 *
 * men: ics_obstruction, contractility, composite, linear_purr_group, ura_obstruction,
 * underactivity; women: female_obstruction, blaivas_groutz, chassagne, farrar, dybowski,
 * ura_obstruction, pip1_contractility, underactivity; where the clinic chose a limit:
 * voiding_efficiency, watts_factor. */
void voiding_classify(struct study *study, const struct voiding_measures *measures);

/* The class that was given under a code, or NULL. */
const char *voiding_class(const struct study *study, const char *code);

/* Adds to a list of limits the choice with a code, at the value in use. */
size_t voiding_limit(const struct study *study, const char *code, struct named_number *limits,
                     size_t count);

/* ---- The rules as such; unrounded values, cmH2O, mL/s, % ---- */

/* Chassagne 1998: "obstructed" when Qmax is 15 or less and pdetQmax above 20. */
const char *voiding_chassagne(double pdet_qmax_cmh2o, double qmax_ml_s);

/* Farrar: "obstructed" when Qmax is below 15 and pdetQmax above 50. */
const char *voiding_farrar(double pdet_qmax_cmh2o, double qmax_ml_s);

/* Dybowski 2014: "high_pressure" above the line 1.5*Qmax + 10, else "low_pressure"; NULL above a
 * Qmax of 12, for which it was not made. */
const char *voiding_dybowski(double pdet_qmax_cmh2o, double qmax_ml_s);

/* Groups of the linear PURR by BOOI: "0-I", "II", "III-VI". */
const char *voiding_purr_group(double booi);

/* Underactivity after Gammie 2016: "underactive" or "not_underactive". Men by BCI, BOOI and voiding
 * efficiency; women by pdetQmax, Qmax and voiding efficiency, without likely obstruction. */
const char *voiding_underactive_man(double bci, double booi, double efficiency_percent);
const char *voiding_underactive_woman(double pdet_qmax_cmh2o, double qmax_ml_s,
                                      double efficiency_percent, bool likely_obstructed);

#endif
