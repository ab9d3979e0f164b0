#include "analysis/profile/profile_walk.h"

#include "analysis/criteria_profile.h"

#include <math.h>

double profile_walk_guard(double noise_cmh2o, size_t window)
{
    return CRITERIA_PROFILE_END_SD * noise_cmh2o / sqrt((double)window);
}

/* Slope of the flank within 2 mm of `at_mm`, on the side of the peak; per mm away from the peak's
 * foot, so that it is positive on a flank. */
static double flank_slope(const struct profile_walk *walk, size_t from, double at_mm,
                          enum profile_way way)
{
    const bool outward = way == PROFILE_OUTWARD;
    double n = 0.0;
    double sum_x = 0.0;
    double sum_y = 0.0;
    double sum_xx = 0.0;
    double sum_xy = 0.0;
    size_t i = from;

    /* `from` is the first sample on the side of the peak. */
    while (fabs(walk->position_mm[i] - at_mm) <= CRITERIA_PROFILE_END_LINE_MM) {
        const double x = fabs(walk->position_mm[i] - at_mm);

        if (!isnan(walk->values[i])) {
            n += 1.0;
            sum_x += x;
            sum_y += walk->values[i];
            sum_xx += x * x;
            sum_xy += x * walk->values[i];
        }
        if (outward ? i == 0 : i + 1 == walk->count) {
            break;
        }
        i = outward ? i - 1 : i + 1;
    }
    const double spread = n * sum_xx - sum_x * sum_x;

    return spread > 0.0 ? (n * sum_xy - sum_x * sum_y) / spread : 0.0;
}

static double bring_down(const struct profile_walk *walk, size_t from, double at_mm,
                         enum profile_way way, double guard)
{
    const double slope = flank_slope(walk, from, at_mm, way);
    const double longest = CRITERIA_PROFILE_END_LINE_MM;
    const double further = slope * longest > guard ? guard / slope : longest;

    return way == PROFILE_OUTWARD ? fmin(at_mm + further, walk->position_mm[walk->count - 1])
                                  : fmax(at_mm - further, walk->position_mm[0]);
}

struct profile_end profile_walk_to(const struct profile_walk *walk, size_t from,
                                   enum profile_way way, double level, double guard)
{
    const double target = level + guard;
    size_t i = from;

    while (way == PROFILE_OUTWARD ? i + 1 < walk->count : i > 0) {
        const size_t next = way == PROFILE_OUTWARD ? i + 1 : i - 1;
        const double here = walk->averaged[i];
        const double there = walk->averaged[next];

        if (isnan(there)) {
            return (struct profile_end){.gap = true};
        }
        if (there <= target) {
            const double share = here > target ? (here - target) / (here - there) : 0.0;
            const double at_mm =
                walk->position_mm[i] + share * (walk->position_mm[next] - walk->position_mm[i]);

            return (struct profile_end){
                .at_mm = guard > 0.0 ? bring_down(walk, i, at_mm, way, guard) : at_mm};
        }
        i = next;
    }
    return (struct profile_end){.at_mm = walk->position_mm[i], .cut = true};
}
