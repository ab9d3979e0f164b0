/* What a signal would be without the peaks on it. */
#ifndef ANALYSIS_SIGNAL_BASELINE_H
#define ANALYSIS_SIGNAL_BASELINE_H

#include "analysis/signal/series.h"

/* Opening of mathematical morphology: the sliding minimum, then its sliding maximum. It takes off
 * every peak of less than `window` samples, and leaves what is wider, edges included.
 *
 * window   odd number of samples; it holds fewer at the ends
 * scratch  series->count values
 * queue    series->count indices
 * output   series->count values; must not overlap the input. Missing where the sample is
 *
 * Time is linear, whatever the window. */
void baseline_open(const struct series *series, size_t window, double *scratch, size_t *queue,
                   double *output);

struct baseline_rule {
    double period_s;    /* slower changes are followed, faster ones are not */
    double noise_least; /* smallest noise that is reckoned with, units of the samples */
    size_t rounds;      /* at most so many corrections of the weights */
};

/* A smooth curve through the floor of a signal: it follows slow changes, passes below peaks however
 * wide, and through the middle of the noise between them.
 *
 * Penalised least squares with a penalty on the second difference and weights that are corrected
 * until peaks have none: asymmetrically reweighted, after Baek SJ, Park A, Ahn YJ, Choo J. Analyst
 * 2015;140:250-257. The penalty halves a wave of `period_s`.
 *
 * series   missing samples are bridged by the curve
 * breaks   series->count flags: the curve may step between the sample before and a flagged one
 * scratch  BASELINE_SCRATCH * series->count values
 * output   series->count values; all missing when no sample is present. Must not overlap the input
 *
 * Time is linear: rounds times count. */
enum { BASELINE_SCRATCH = 4 };

void baseline_follow(const struct series *series, const bool *breaks, struct baseline_rule rule,
                     double *scratch, double *output);

#endif
