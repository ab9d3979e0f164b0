/* Indices of the bladder outlet and of the contraction from pressure and flow at one moment.
 *
 * Pressures in cmH2O, flow in mL/s, both unrounded. Formulas only: for whom an index holds is the
 * caller's matter. */
#ifndef ANALYSIS_VOIDING_OUTLET_H
#define ANALYSIS_VOIDING_OUTLET_H

#include <stdbool.h>

/* Bladder outlet obstruction index, pdetQmax - 2*Qmax (men). Abrams P. BJU Int 1999;84:14-15. */
double outlet_booi(double pdet_qmax_cmh2o, double qmax_ml_s);

/* Bladder contractility index, pdetQmax + 5*Qmax (men). Abrams 1999. */
double outlet_bci(double pdet_qmax_cmh2o, double qmax_ml_s);

/* Obstruction coefficient, pdetQmax / (40 + 2*Qmax) (men): 1 exactly where BOOI is 40. Schafer W;
 * from memory. */
double outlet_obstruction_coefficient(double pdet_qmax_cmh2o, double qmax_ml_s);

/* Group-specific urethral resistance factor, cmH2O: the positive root u of p = u + d*u^2*Q^2 with
 * d = 3.8e-4; p itself at no flow. Griffiths D et al. Neurourol Urodyn 1989;8:17-27, d from memory.
 * False when the flow is negative, the pressure is not positive, or either is not a number. */
bool outlet_ura(double pdet_qmax_cmh2o, double qmax_ml_s, double *ret_ura);

/* Slope of the linear passive urethral resistance relation, cmH2O per mL/s: the line from the
 * minimum urethral opening pressure at no flow to pressure and flow at Qmax. Schafer W. World J
 * Urol 1995;13:47-58. qmax_ml_s > 0. */
double outlet_purr_slope(double pdet_qmax_cmh2o, double opening_cmh2o, double qmax_ml_s);

/* Female bladder outlet obstruction index, pdetQmax - 2.2*Qmax. Solomon E et al. Neurourol Urodyn
 * 2018;37:368-378. */
double outlet_female_booi(double pdet_qmax_cmh2o, double qmax_ml_s);

/* Projected isovolumetric pressure 1, pdetQmax + Qmax (women). Tan TL et al. Neurourol Urodyn
 * 2004;23:184-189. */
double outlet_pip1(double pdet_qmax_cmh2o, double qmax_ml_s);

#endif
