#include "analysis/flow/squeeze.h"

#include "analysis/criteria.h"

#include <math.h>

/* One past the last sample from `first` on that is below (side -1) or above (side 1) `limit`, or
 * missing; count when there is none. */
static size_t stretch_end(const struct series *flow, size_t first, double limit, double side)
{
    size_t end = first;

    while (end < flow->count && !(side * (flow->samples[end] - limit) <= 0.0)) {
        end++;
    }
    return end;
}

static double largest_between(const struct series *flow, size_t first, size_t end)
{
    double largest = -SERIES_ENDLESS;

    for (size_t i = first; i < end && i < flow->count; i++) {
        largest = flow->samples[i] > largest ? flow->samples[i] : largest;
    }
    return largest;
}

/* Whether a dip that starts at `first` is a squeeze; the end of its surge when it is.
 *
 * level  flow just before the dip */
static bool is_squeeze(const struct series *flow, size_t first, double level, size_t *ret_end)
{
    const size_t longest = series_whole_samples(flow, CRITERIA_SQUEEZE_LONGEST_S);
    const size_t dip_end = stretch_end(flow, first, CRITERIA_SQUEEZE_DIP_SHARE * level, -1.0);
    const double surge = CRITERIA_SQUEEZE_SURGE_SHARE * level + CRITERIA_SQUEEZE_SURGE_ML_S;
    const size_t wait = series_whole_samples(flow, CRITERIA_SQUEEZE_WAIT_S);

    if (dip_end == flow->count || dip_end - first > longest ||
        largest_between(flow, dip_end, dip_end + wait + 1) < surge) {
        return false;
    }
    size_t rise = dip_end;

    while (flow->samples[rise] < surge) {
        rise++;
    }
    *ret_end = stretch_end(flow, rise, surge, 1.0);
    return *ret_end - rise <= longest;
}

size_t squeeze_find(const struct series *flow, struct span span, struct span *squeezes)
{
    const struct series part = series_part(flow, span);
    const size_t back = series_whole_samples(&part, CRITERIA_SQUEEZE_WAIT_S);
    size_t found = 0;

    if (back == 0) {
        return 0;
    }
    for (size_t i = back; i < part.count && found < SQUEEZE_MAX; i++) {
        const double level = part.samples[i - back];
        const double dip = CRITERIA_SQUEEZE_DIP_SHARE * level;
        size_t end = i;

        if (!(level >= CRITERIA_SQUEEZE_LEVEL_ML_S) ||
            !(part.samples[i] < dip && part.samples[i - 1] >= dip) ||
            !is_squeeze(&part, i, level, &end)) {
            continue;
        }
        squeezes[found++] = (struct span){series_time(&part, i - back), series_time(&part, end)};
        i = end;
    }
    return found;
}

static bool is_touched(double at_s, const struct span *squeezes, size_t squeeze_count)
{
    for (size_t i = 0; i < squeeze_count; i++) {
        if (at_s >= squeezes[i].from_s - CRITERIA_SMOOTH_HALF_S &&
            at_s <= squeezes[i].to_s + CRITERIA_SMOOTH_HALF_S) {
            return true;
        }
    }
    return false;
}

bool squeeze_maximum(const struct series *averaged, struct span span, const struct span *squeezes,
                     size_t squeeze_count, size_t *ret_index)
{
    const struct series part = series_part(averaged, span);
    const size_t first = series_first_at(averaged, span.from_s);
    double largest = -SERIES_ENDLESS;
    bool any = false;

    if (squeeze_count == 0) {
        const bool known = series_maximum(&part, ret_index);

        *ret_index += known ? first : 0;
        return known;
    }
    for (size_t i = 0; i < part.count; i++) {
        if (part.samples[i] > largest &&
            !is_touched(series_time(&part, i), squeezes, squeeze_count)) {
            largest = part.samples[i];
            *ret_index = first + i;
            any = true;
        }
    }
    return any;
}
