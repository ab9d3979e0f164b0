#include "analysis/signal/artefact.h"

#include "analysis/criteria.h"
#include "analysis/signal/smooth.h"

#include <math.h>

/* Samples between two readings of the neighbourhood. */
static size_t thinning(const struct series *series)
{
    const size_t step = series_whole_samples(series, 1.0 / CRITERIA_SPIKE_NEIGHBOUR_HZ);

    return step > 0 ? step : 1;
}

/* Every step-th sample, its sliding median, and the median's sorted window. */
struct neighbourhood {
    size_t step;
    struct series median;
};

size_t artefact_scratch(const struct series *series)
{
    const size_t thinned = series->count / thinning(series) + 1;

    return 3 * thinned + 2;
}

static struct neighbourhood take_neighbourhood(const struct series *series, double *scratch)
{
    const size_t step = thinning(series);
    const size_t count = (series->count + step - 1) / step;
    double *picked = scratch;
    double *median = scratch + count;
    double *sorted = scratch + 2 * count;

    for (size_t i = 0; i < count; i++) {
        picked[i] = series->samples[i * step];
    }
    const struct series thinned = {.rate_hz = series->rate_hz / (double)step,
                                   .start_s = 0.0,
                                   .count = count,
                                   .samples = picked};

    smooth_median(&thinned, smooth_window(&thinned, CRITERIA_SPIKE_NEIGHBOUR_HALF_S), sorted,
                  median);
    return (struct neighbourhood){.step = step, .median = {thinned.rate_hz, 0.0, count, median}};
}

/* Height of a sample above its neighbourhood; NaN when either is missing. */
static double height(const struct series *series, const struct neighbourhood *around, size_t index)
{
    const size_t nearest = (index + around->step / 2) / around->step;
    const size_t last = around->median.count - 1;

    return series->samples[index] - around->median.samples[nearest < last ? nearest : last];
}

/* Largest change by which the signal comes up to (direction 1) or goes down from (-1) its values
 * within `step` samples, over the stretch first..last. */
static double fastest_change(const struct series *series, size_t first, size_t last, size_t step,
                             double direction)
{
    double fastest = 0.0;

    for (size_t i = first; i + step <= last; i++) {
        const double change = (series->samples[i + step] - series->samples[i]) * direction;

        if (change > fastest) {
            fastest = change;
        }
    }
    return fastest;
}

/* Whether the excursion first..last comes and goes as fast as a knock. */
static bool is_fast(const struct series *series, const struct knock *knock, double peak_height)
{
    const size_t whole = series_whole_samples(series, CRITERIA_SPIKE_STEP_S);
    const size_t step = whole > 0 ? whole : 1;
    const size_t first = knock->first > step ? knock->first - step : 0;
    const size_t room = series->count - 1 - knock->last;
    const size_t last = knock->last + (room < step ? room : step);

    return fastest_change(series, first, last, step, 1.0) >=
               CRITERIA_SPIKE_RISE_SHARE * peak_height &&
           fastest_change(series, first, last, step, -1.0) >=
               CRITERIA_SPIKE_FALL_SHARE * peak_height;
}

static double knock_length(const struct series *series, const struct knock *knock)
{
    return (double)(knock->last - knock->first + 1) / series->rate_hz;
}

static size_t find_knocks(const struct series *series, const struct neighbourhood *around,
                          struct knock *knocks)
{
    size_t found = 0;
    size_t i = 0;

    while (i < series->count && found < ARTEFACT_KNOCKS_MAX) {
        if (!(height(series, around, i) > CRITERIA_SPIKE_EDGE_ML_S)) {
            i++;
            continue;
        }
        struct knock knock = {.first = i};
        double peak_height = 0.0;

        while (i < series->count && height(series, around, i) > CRITERIA_SPIKE_EDGE_ML_S) {
            peak_height = fmax(peak_height, height(series, around, i));
            i++;
        }
        knock.last = i - 1;
        if (peak_height > CRITERIA_SPIKE_HEIGHT_ML_S &&
            knock_length(series, &knock) < CRITERIA_SPIKE_MAX_S &&
            is_fast(series, &knock, peak_height)) {
            knocks[found++] = knock;
        }
    }
    return found;
}

static bool is_certain(const struct series *series, const struct knock *knocks, size_t count,
                       size_t index)
{
    const size_t away = series_whole_samples(series, CRITERIA_SPIKE_ISOLATE_S);
    const struct knock *knock = &knocks[index];

    if (knock_length(series, knock) < CRITERIA_SPIKE_BRIEF_S) {
        return true;
    }
    return (index == 0 || knock->first - knocks[index - 1].last > away) &&
           (index + 1 == count || knocks[index + 1].first - knock->last > away);
}

/* Straight line over the knock between the samples beside it; a flat one where there is only one;
 * missing where there is none. */
static void replace(double *samples, size_t count, const struct knock *knock)
{
    double before = knock->first > 0 ? samples[knock->first - 1] : SERIES_MISSING;
    double after = knock->last + 1 < count ? samples[knock->last + 1] : SERIES_MISSING;
    const double steps = (double)(knock->last - knock->first + 2);

    before = isnan(before) ? after : before;
    after = isnan(after) ? before : after;
    for (size_t i = knock->first; i <= knock->last; i++) {
        const double share = (double)(i - knock->first + 1) / steps;

        samples[i] = before + (after - before) * share;
    }
}

size_t artefact_remove_knocks(const struct series *series, double *samples, double *scratch,
                              struct knock *knocks)
{
    if (series->count == 0 || series->rate_hz < CRITERIA_SPIKE_RATE_MIN_HZ) {
        return 0;
    }
    const struct neighbourhood around = take_neighbourhood(series, scratch);
    const size_t found = find_knocks(series, &around, knocks);

    for (size_t i = 0; i < found; i++) {
        knocks[i].removed = is_certain(series, knocks, found, i);
    }
    for (size_t i = 0; i < found; i++) {
        if (knocks[i].removed) {
            replace(samples, series->count, &knocks[i]);
        }
    }
    return found;
}
