/* Flow nomograms. */
#ifndef ANALYSIS_NOMOGRAM_NOMOGRAM_H
#define ANALYSIS_NOMOGRAM_NOMOGRAM_H

#include "analysis/recording.h"

struct nomogram_answer {
    bool known;
    double z;           /* standard deviations from the expected value on the transformed scale */
    double centile;     /* 0..100 */
    const char *reason; /* why not, when not known */
};

/* Where a maximum free flow lies among adults of the same sex (and age, for men).
 *
 * age_years  completed years, negative when unknown; volume_ml voided volume; qmax_ml_s
 *
 * Refuses outside 15..600 mL and above 70 mL/s (the printed chart), below 18 years and without sex
 * or age.
 *
 * Source: Haylen BT, Ashby D, Sutherst JR, Frazer MI, West CR. Br J Urol 1989;64:30-38.
 * women: ln(Qmax) = 0.511 + 0.505 ln(V), spread 0.340;
 * men: sqrt(Qmax) = 2.37 + 0.18 sqrt(V) - 0.014 age, spread 0.727.
 * The coefficients are from memory and unconfirmed; every answer that uses them must say so. */
struct nomogram_answer nomogram_liverpool(enum patient_sex sex, double age_years, double volume_ml,
                                          double qmax_ml_s);

/* The other way round: the maximum flow, mL/s, that lies `z` standard deviations from the expected
 * one at a volume. NaN where the nomogram expects no flow, or the volume is not positive; the other
 * limits above are the caller's matter.
 *
 * sex  SEX_FEMALE or SEX_MALE; age_years is not used for women */
double nomogram_liverpool_qmax(enum patient_sex sex, double age_years, double volume_ml, double z);

#endif
