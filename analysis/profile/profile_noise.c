#include "analysis/profile/profile_noise.h"

/* Mathematical constants: 75 % quantile of the standard normal distribution; sum of the squares of
 * 1, 4, 6, 4, 1. */
#define NORMAL_QUARTILE 0.6744897501960817
#define FOURTH_SQUARES  70.0

double profile_noise(const double *values, size_t count, struct level_scratch scratch)
{
    const size_t step = count > scratch.capacity ? count / scratch.capacity + 1 : 1;
    size_t held = 0;

    for (size_t i = 2; i + 2 < count; i += step) {
        const double fourth = values[i - 2] - 4.0 * values[i - 1] + 6.0 * values[i] -
                              4.0 * values[i + 1] + values[i + 2];

        if (!isnan(fourth)) {
            scratch.values[held++] = fabs(fourth);
        }
    }
    return held == 0
               ? 0.0
               : level_median_of(scratch.values, held) / (NORMAL_QUARTILE * sqrt(FOURTH_SQUARES));
}

/* The largest symmetric neighbourhood that is inside and has no gap. */
static size_t fitting_half(const double *values, size_t count, size_t index, size_t half)
{
    size_t fitting = 0;

    while (fitting < half && fitting < index && index + fitting + 1 < count &&
           !isnan(values[index - fitting - 1]) && !isnan(values[index + fitting + 1])) {
        fitting++;
    }
    return fitting;
}

struct profile_parabola profile_parabola(const double *values, size_t count, size_t index,
                                         size_t half)
{
    const size_t fitting = fitting_half(values, count, index, half);
    const double n = 2.0 * (double)fitting + 1.0;
    double sum = values[index];
    double odd = 0.0;
    double even = 0.0;
    double s2 = 0.0;
    double s4 = 0.0;

    if (fitting < 2) {
        return (struct profile_parabola){values[index], SERIES_MISSING};
    }
    for (size_t k = 1; k <= fitting; k++) {
        const double u = (double)k;
        const double both = values[index + k] + values[index - k];

        sum += both;
        odd += u * (values[index + k] - values[index - k]);
        even += u * u * both;
        s2 += 2.0 * u * u;
        s4 += 2.0 * u * u * u * u;
    }
    const double bend = (n * even - s2 * sum) / (n * s4 - s2 * s2);

    return (struct profile_parabola){.value = (sum - bend * s2) / n,
                                     .vertex =
                                         bend < 0.0 ? -0.5 * odd / s2 / bend : SERIES_MISSING};
}
