/* Coughs, and restlessness: peaks that are narrow, in both lines. */
#include "analysis/criteria_pressure.h"
#include "analysis/memory.h"
#include "analysis/pressure/pressure_events_parts.h"
#include "analysis/signal/peaks.h"

#include <math.h>

/* By how much the lines stand over what is wider than a cough: the mean of those that are there. */
static double height_at(const struct event_finder *finder, size_t index)
{
    double sum = 0.0;
    double count = 0.0;

    for (size_t i = 0; i < PRESSURE_LINES; i++) {
        const struct pressure_line *line = &finder->lines[i];
        const double height =
            line->present ? line->samples[index] - line->opened[index] : SERIES_MISSING;

        if (!isnan(height)) {
            sum += height;
            count += 1.0;
        }
    }
    return count > 0.0 ? sum / count : SERIES_MISSING;
}

/* Largest rise of a line over what is wider, near a sample: the lines need not peak together. NaN
 * where the line is missing. */
static double line_height(const struct event_finder *finder, size_t line, size_t index)
{
    const struct pressure_grid *grid = &finder->grid;
    const size_t reach = (size_t)(CRITERIA_COUGH_PEAK_S * grid->rate_hz + 1e-6);
    const size_t first = index > reach ? index - reach : 0;
    double largest = SERIES_MISSING;

    for (size_t i = first; i < grid->count && i <= index + reach; i++) {
        const double height = finder->lines[line].samples[i] - finder->lines[line].opened[i];

        largest = isnan(largest) || height > largest ? height : largest;
    }
    return largest;
}

/* Both lines take part; or there is one alone, or a marker says so although one line is dead. */
static bool in_both(const struct event_finder *finder, const struct peak *peak)
{
    if (!finder->lines[0].present || !finder->lines[1].present) {
        return true;
    }
    const double a = line_height(finder, 0, peak->index);
    const double b = line_height(finder, 1, peak->index);
    const double at_s = pressure_grid_time(&finder->grid, peak->index);
    const struct span around = {at_s - CRITERIA_EVENT_MARKER_S, at_s + CRITERIA_EVENT_MARKER_S};

    return isnan(a + b) || fmin(a, b) >= CRITERIA_COUGH_BOTH_SHARE * fmax(a, b) ||
           event_finder_marker(finder, EVENT_COUGH, EVENT_COUGH, around);
}

/* A crest of a wider hill is mostly that hill, in every line. */
static bool is_crest(const struct event_finder *finder, size_t index)
{
    for (size_t i = 0; i < PRESSURE_LINES; i++) {
        const struct pressure_line *line = &finder->lines[i];

        if (line->present &&
            line->samples[index] - line->opened[index] >=
                CRITERIA_COUGH_CREST_SHARE * (line->samples[index] - line->level[index])) {
            return false;
        }
    }
    return true;
}

/* A line's own peak near a moment. */
static bool own_peak(const struct series *line, double at_s, double *ret_s, double *ret_cmh2o)
{
    const struct series near = series_part(
        line, (struct span){at_s - CRITERIA_COUGH_PEAK_S, at_s + CRITERIA_COUGH_PEAK_S});
    size_t index = 0;

    if (near.count == 0 || !series_maximum(&near, &index)) {
        return false;
    }
    *ret_s = series_time(&near, index);
    *ret_cmh2o = near.samples[index];
    return true;
}

/* Its rise over the level before another moment, at which the cough begins. */
static double own_rise(const struct study *study, const struct series *line, double at_s,
                       double begin_s)
{
    const double end_s = begin_s - CRITERIA_COUGH_PEAK_S;
    const struct span before = {end_s - CRITERIA_COUGH_BEFORE_S, end_s};
    double peak_s = 0.0;
    double peak_cmh2o = 0.0;

    return own_peak(line, at_s, &peak_s, &peak_cmh2o)
               ? peak_cmh2o - level_median(line, before, study->scratch)
               : SERIES_MISSING;
}

/* Makes a cough of a spike. `first_s` is the moment of the first spike of its volley; endless when
 * that is this one. */
static struct pressure_event make_cough(const struct event_finder *finder,
                                        const struct series *heights, size_t index, double first_s)
{
    const struct study *study = finder->study;
    const double foot = CRITERIA_COUGH_FOOT_SHARE * heights->samples[index];
    double at_s = pressure_grid_time(&finder->grid, index);
    size_t first = index;
    size_t last = index;

    while (first > 0 && heights->samples[first - 1] > foot) {
        first--;
    }
    while (last + 1 < heights->count && heights->samples[last + 1] > foot) {
        last++;
    }
    double peak_cmh2o = 0.0;

    if (!own_peak(&study->pves, at_s, &at_s, &peak_cmh2o)) {
        (void)own_peak(&study->pabd, at_s, &at_s, &peak_cmh2o);
    }
    return (struct pressure_event){
        .kind = PRESSURE_EVENT_COUGH,
        .span = {fmin(pressure_grid_time(&finder->grid, first), at_s),
                 fmax(pressure_grid_time(&finder->grid, last), at_s)},
        .peak_s = at_s,
        .pves_rise_cmh2o = own_rise(study, &study->pves, at_s, fmin(first_s, at_s)),
        .pabd_rise_cmh2o = own_rise(study, &study->pabd, at_s, fmin(first_s, at_s)),
    };
}

/* Makes one cough of two spikes: as long as both, as high as the higher. */
static struct pressure_event join_coughs(struct pressure_event first, struct pressure_event second)
{
    const bool by_pves = !isnan(first.pves_rise_cmh2o + second.pves_rise_cmh2o);
    const bool second_higher = by_pves ? second.pves_rise_cmh2o > first.pves_rise_cmh2o
                                       : second.pabd_rise_cmh2o > first.pabd_rise_cmh2o;
    struct pressure_event joined = second_higher ? second : first;

    joined.span.from_s = fmin(first.span.from_s, second.span.from_s);
    joined.span.to_s = fmax(first.span.to_s, second.span.to_s);
    return joined;
}

/* Runs of many small peaks, closely one after the other. */
static void find_restlessness(struct event_finder *finder, const struct peak *peaks, size_t count)
{
    double from_s = 0.0;
    double last_s = -SERIES_ENDLESS;
    size_t run = 0;

    for (size_t i = 0; i <= count; i++) {
        if (i < count && peaks[i].height >= CRITERIA_COUGH_SURE_CMH2O) {
            continue;
        }
        const double at_s =
            i < count ? pressure_grid_time(&finder->grid, peaks[i].index) : SERIES_ENDLESS;

        if (at_s - last_s > CRITERIA_RESTLESS_APART_S) {
            if (run >= CRITERIA_RESTLESS_PEAKS) {
                event_finder_add(finder, (struct pressure_event){
                                             .kind = PRESSURE_EVENT_RESTLESS,
                                             .span = {from_s, last_s},
                                             .peak_s = 0.5 * (from_s + last_s),
                                             .pves_rise_cmh2o = SERIES_MISSING,
                                             .pabd_rise_cmh2o = SERIES_MISSING,
                                         });
            }
            from_s = at_s;
            run = 0;
        }
        last_s = at_s;
        run++;
    }
}

static bool is_cough(const struct event_finder *finder, const struct peak *peak)
{
    const unsigned unclear = 1u << PRESSURE_EVENT_RESTLESS | 1u << PRESSURE_EVENT_POSITION;
    const double at_s = pressure_grid_time(&finder->grid, peak->index);

    if (peak->height < CRITERIA_COUGH_RISE_CMH2O || !in_both(finder, peak)) {
        return false;
    }
    return peak->height >= CRITERIA_COUGH_SURE_CMH2O ||
           !event_finder_overlap(finder, unclear, (struct span){at_s, at_s});
}

/* Adds the coughs among the peaks, those of one volley as one. */
static void add_coughs(struct event_finder *finder, const struct series *heights,
                       const struct peak *peaks, size_t count)
{
    const size_t volley = (size_t)(CRITERIA_COUGH_VOLLEY_S * finder->grid.rate_hz + 1e-6);
    size_t i = 0;

    while (i < count) {
        const size_t first = i++;

        if (!is_cough(finder, &peaks[first])) {
            continue;
        }
        struct pressure_event cough =
            make_cough(finder, heights, peaks[first].index, SERIES_ENDLESS);
        const double first_s = cough.peak_s;

        for (; i < count && peaks[i].index - peaks[first].index <= volley; i++) {
            if (is_cough(finder, &peaks[i])) {
                cough = join_coughs(cough, make_cough(finder, heights, peaks[i].index, first_s));
            }
        }
        event_finder_add(finder, cough);
    }
}

bool event_finder_coughs(struct event_finder *finder)
{
    const struct pressure_grid *grid = &finder->grid;
    double *samples = memory_doubles(finder->study->memory, grid->count);
    const struct series heights = pressure_grid_series(grid, samples);
    struct peak *peaks =
        memory_array(finder->study->memory, peaks_capacity(&heights), sizeof *peaks);
    size_t *stack = memory_array(finder->study->memory, peaks_capacity(&heights), sizeof *stack);

    if (samples == NULL || peaks == NULL || stack == NULL) {
        return false;
    }
    for (size_t i = 0; i < grid->count; i++) {
        samples[i] = height_at(finder, i);
    }
    const size_t found = peaks_find(
        &heights, CRITERIA_RESTLESS_RISE_CMH2O * CRITERIA_COUGH_APART_SHARE, peaks, stack);
    size_t count = 0;

    for (size_t i = 0; i < found; i++) {
        if (peaks[i].height >= CRITERIA_RESTLESS_RISE_CMH2O &&
            peaks[i].prominence >= CRITERIA_COUGH_APART_SHARE * peaks[i].height &&
            !is_crest(finder, peaks[i].index)) {
            peaks[count++] = peaks[i];
        }
    }
    find_restlessness(finder, peaks, count);
    add_coughs(finder, &heights, peaks, count);
    return true;
}
