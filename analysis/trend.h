/* How one value changed over a patient's visits. Pure numbers: whose they are and where they come
 * from is the caller's, e.g. GET /v1/patients/{id}/trend, which gives it one value a study. */
#ifndef ANALYSIS_TREND_H
#define ANALYSIS_TREND_H

#include "analysis/recording.h"

/* Whether a change is more than what repeats of the measurement differ by anyway. */
enum trend_verdict {
    TREND_NOT_KNOWN,        /* fewer than two values, or nobody said how repeatable it is */
    TREND_WITHIN_VARIATION, /* smaller than twice the coefficient of variation of repeats */
    TREND_BEYOND_VARIATION
};

struct trend {
    size_t count;          /* values that counted */
    double first;          /* value at the earliest time; NaN when there is none */
    double last;           /* value at the latest time; NaN when there is none */
    double change;         /* last - first, in the value's unit; NaN below two values */
    double change_percent; /* 100*(last - first)/|first|; NaN below two values or when first is 0 */
    double slope_per_week; /* least squares over all values; NaN without two different times */
    enum trend_verdict verdict;
};

/* Trend of `count` values in any order of time.
 *
 * at_days     time of each value, days from any moment that is the same for all; fractions allowed
 * values      in one unit; a pair with NaN or an infinity in it is left out
 * cv_percent  coefficient of variation of repeats of the measurement, %, from trend_cv() or the
 *             literature; not known: no verdict
 *
 * At equal times the one that stands earlier in the arrays counts as the earlier. Progress and its
 * limit of twice the coefficient of variation of three repeats are this project's choice; the
 * conditions (probe, position, volume) must be the same for a comparison to mean anything. */
struct trend trend_of(size_t count, const double *at_days, const double *values,
                      struct optional_number cv_percent);

/* Coefficient of variation of repeats, %: 100 times the standard deviation (n - 1) over the mean.
 * NaN for fewer than two values or a mean that is not above 0. */
double trend_cv(size_t count, const double *repeats);

#endif
