#include "analysis/trend.h"

#include "analysis/criteria_training.h"
#include "analysis/signal/series.h"

#include <math.h>

struct trend_sums {
    double mean_days;
    double mean_value;
    double squares;  /* of the distances of the times from their mean */
    double products; /* of the distances of times and values */
};

/* Two passes, so that days counted from long ago cost no digits. */
static struct trend_sums sum_up(size_t count, const double *at_days, const double *values,
                                size_t used)
{
    struct trend_sums sums = {0.0, 0.0, 0.0, 0.0};

    for (size_t i = 0; i < count; i++) {
        if (isfinite(at_days[i]) && isfinite(values[i])) {
            sums.mean_days += at_days[i] / (double)used;
            sums.mean_value += values[i] / (double)used;
        }
    }
    for (size_t i = 0; i < count; i++) {
        if (isfinite(at_days[i]) && isfinite(values[i])) {
            const double days = at_days[i] - sums.mean_days;

            sums.squares += days * days;
            sums.products += days * (values[i] - sums.mean_value);
        }
    }
    return sums;
}

static double finite_or_missing(double value)
{
    return isfinite(value) ? value : SERIES_MISSING;
}

struct trend trend_of(size_t count, const double *at_days, const double *values,
                      struct optional_number cv_percent)
{
    struct trend trend = {.first = SERIES_MISSING,
                          .last = SERIES_MISSING,
                          .change = SERIES_MISSING,
                          .change_percent = SERIES_MISSING,
                          .slope_per_week = SERIES_MISSING};
    double earliest = SERIES_ENDLESS;
    double latest = -SERIES_ENDLESS;

    for (size_t i = 0; i < count; i++) {
        if (!isfinite(at_days[i]) || !isfinite(values[i])) {
            continue;
        }
        trend.count++;
        if (at_days[i] < earliest) {
            earliest = at_days[i];
            trend.first = values[i];
        }
        if (at_days[i] >= latest) {
            latest = at_days[i];
            trend.last = values[i];
        }
    }
    if (trend.count < 2) {
        return trend;
    }
    trend.change = finite_or_missing(trend.last - trend.first);
    if (fabs(trend.first) > 0.0) {
        trend.change_percent = finite_or_missing(100.0 * (trend.change / fabs(trend.first)));
    }
    const struct trend_sums sums = sum_up(count, at_days, values, trend.count);

    if (sums.squares > 0.0 && isfinite(sums.squares)) {
        trend.slope_per_week =
            finite_or_missing(CRITERIA_TREND_DAYS_PER_WEEK * (sums.products / sums.squares));
    }
    if (cv_percent.known && cv_percent.value >= 0.0 && isfinite(trend.change_percent)) {
        trend.verdict = fabs(trend.change_percent) < CRITERIA_TREND_VARIATIONS * cv_percent.value
                            ? TREND_WITHIN_VARIATION
                            : TREND_BEYOND_VARIATION;
    }
    return trend;
}

double trend_cv(size_t count, const double *repeats)
{
    double mean = 0.0;
    double squares = 0.0;

    for (size_t i = 0; i < count; i++) {
        mean += repeats[i] / (double)count;
    }
    for (size_t i = 0; i < count; i++) {
        squares += (repeats[i] - mean) * (repeats[i] - mean);
    }
    if (count < 2 || !(mean > 0.0)) {
        return SERIES_MISSING;
    }
    return finite_or_missing(100.0 * sqrt(squares / (double)(count - 1)) / mean);
}
