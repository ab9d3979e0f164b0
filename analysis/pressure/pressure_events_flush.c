/* Flushes: one line is far off on a plateau and comes back, while the other stays. */
#include "analysis/criteria_pressure.h"
#include "analysis/pressure/pressure_events_parts.h"

#include <math.h>

/* Whether a line stood still before it falls: else it comes down from a peak that the other line
 * does not show, e.g. from a cough beside a dead line. */
static bool falls_from_level(const struct event_finder *finder, const double *samples, size_t from,
                             double jump)
{
    const size_t length = (size_t)(CRITERIA_FLUSH_STILL_S * finder->grid.rate_hz + 1e-6);

    for (size_t i = from; from - i < length; i--) {
        if (i == 0 || !(fabs(samples[i - 1] - samples[from]) <= CRITERIA_FLUSH_SHARE * jump)) {
            return false;
        }
    }
    return true;
}

/* Whether a line jumps between two samples while the other does not. Without another line only a
 * marker tells a flush from a strain. */
static bool is_edge(const struct event_finder *finder, size_t line, size_t from, size_t to)
{
    const struct pressure_line *other = &finder->lines[1 - line];
    const double *samples = finder->lines[line].samples;
    const double jump = fabs(samples[to] - samples[from]);

    if (!(jump >= CRITERIA_FLUSH_MARKED_EDGE_CMH2O) ||
        (samples[to] < samples[from] && !falls_from_level(finder, samples, from, jump))) {
        return false;
    }
    if (other->present &&
        !(fabs(other->samples[to] - other->samples[from]) < CRITERIA_FLUSH_SHARE * jump)) {
        return false;
    }
    if (other->present && jump >= CRITERIA_FLUSH_EDGE_CMH2O) {
        return true;
    }
    const double at_s = pressure_grid_time(&finder->grid, to);
    const struct span around = {at_s - CRITERIA_FLUSH_MARKER_S, at_s + CRITERIA_FLUSH_MARKER_S};

    return event_finder_marker(finder, EVENT_FLUSH, EVENT_ZERO, around);
}

/* First sample from `from` on at which the line is back at what it was before the jump; `end` when
 * it is not. */
static size_t find_return(const double *samples, size_t before, size_t from, size_t end)
{
    const double allowed = CRITERIA_FLUSH_SHARE * fabs(samples[from] - samples[before]);
    size_t i = from;

    while (i < end && !(fabs(samples[i] - samples[before]) <= allowed)) {
        i++;
    }
    return i;
}

/* The last sample before a jump that is still where it came from. */
static size_t last_before(const double *samples, size_t before, size_t after)
{
    const double allowed = CRITERIA_FLUSH_SHARE * fabs(samples[after] - samples[before]);
    size_t i = before;

    while (i + 1 < after && fabs(samples[i + 1] - samples[before]) <= allowed) {
        i++;
    }
    return i;
}

static double largest_change(const struct pressure_line *line, size_t before, size_t end)
{
    double largest = line->present ? 0.0 : SERIES_MISSING;

    for (size_t i = before; line->present && i < end; i++) {
        const double change = line->samples[i] - line->samples[before];

        if (fabs(change) > fabs(largest)) {
            largest = change;
        }
    }
    return largest;
}

static void take_flush(struct event_finder *finder, size_t line, size_t before, size_t end)
{
    const struct pressure_grid *grid = &finder->grid;
    const struct span span = {pressure_grid_time(grid, before), pressure_grid_time(grid, end)};

    event_finder_add(finder, (struct pressure_event){
                                 .kind = PRESSURE_EVENT_FLUSH,
                                 .span = span,
                                 .peak_s = 0.5 * (span.from_s + span.to_s),
                                 .pves_rise_cmh2o = largest_change(&finder->lines[0], before, end),
                                 .pabd_rise_cmh2o = largest_change(&finder->lines[1], before, end),
                             });
    pressure_grid_mask(
        grid, (struct span){span.from_s - CRITERIA_FLUSH_EDGE_S, span.to_s + CRITERIA_FLUSH_EDGE_S},
        finder->lines[line].samples);
}

static void scan_line(struct event_finder *finder, size_t line)
{
    const struct pressure_grid *grid = &finder->grid;
    const double *samples = finder->lines[line].samples;
    const size_t step = (size_t)ceil(CRITERIA_FLUSH_EDGE_S * grid->rate_hz - 1e-6);
    const size_t most = (size_t)(CRITERIA_FLUSH_MAX_S * grid->rate_hz + 1e-6);
    size_t i = 0;

    while (i + step < grid->count) {
        if (!is_edge(finder, line, i, i + step)) {
            i++;
            continue;
        }
        const size_t limit = grid->count - i > most ? i + most + 1 : grid->count;
        const size_t back = find_return(samples, i, i + step, limit);
        const size_t last = last_before(samples, i, i + step);

        if (back < limit && (double)(back - last) / grid->rate_hz >= CRITERIA_FLUSH_MIN_S) {
            take_flush(finder, line, last, back);
            i = back;
        }
        i += step;
    }
}

void event_finder_flushes(struct event_finder *finder)
{
    for (size_t line = 0; line < PRESSURE_LINES; line++) {
        if (finder->lines[line].present) {
            scan_line(finder, line);
        }
    }
}
