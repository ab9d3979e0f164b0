#include "analysis/profile/puller.h"

#include "analysis/criteria.h"
#include "analysis/criteria_profile.h"
#include "analysis/memory.h"
#include "analysis/series_copy.h"

/* 1 outward, -1 back, 0 at rest or unknown. */
static int direction(const struct series *puller, size_t index, size_t reach)
{
    const size_t before = index > reach ? index - reach : 0;
    const size_t after = puller->count - 1 - index > reach ? index + reach : puller->count - 1;
    const double seconds = (double)(after - before) / puller->rate_hz;
    const double way = puller->samples[after] - puller->samples[before];

    if (!(fabs(way) > CRITERIA_PROFILE_MOVING_MM_S * seconds)) {
        return 0;
    }
    return way > 0.0 ? 1 : -1;
}

/* Tightens the ends of a movement to where the puller left its place and came to its last one. */
static struct puller_move tighten(const struct series *puller, size_t first, size_t last, int way)
{
    const double sign = (double)way;
    const double *x = puller->samples;
    const size_t middle = first + (last - first) / 2;
    double least = SERIES_ENDLESS;
    double most = -SERIES_ENDLESS;
    size_t start = first;
    size_t end = last;

    for (size_t i = first; i <= middle; i++) {
        least = fmin(least, isnan(x[i]) ? SERIES_ENDLESS : sign * x[i]);
    }
    for (size_t i = middle; i <= last; i++) {
        most = fmax(most, isnan(x[i]) ? -SERIES_ENDLESS : sign * x[i]);
    }
    for (size_t i = first; i <= middle; i++) {
        start = sign * x[i] <= least + CRITERIA_PROFILE_EDGE_MM ? i : start;
    }
    for (size_t i = last + 1; i > middle; i--) {
        end = sign * x[i - 1] >= most - CRITERIA_PROFILE_EDGE_MM ? i - 1 : end;
    }
    return (struct puller_move){.span = {series_time(puller, start), series_time(puller, end)},
                                .travel_mm = most - least,
                                .inward = way < 0};
}

struct stretch {
    size_t first;
    size_t last;
    int way;
    bool stalled;
};

static void keep(const struct series *puller, const struct stretch *stretch, size_t reach,
                 struct puller_moves *moves)
{
    const size_t first = stretch->first > reach ? stretch->first - reach : 0;
    const size_t last =
        puller->count - 1 - stretch->last > reach ? stretch->last + reach : puller->count - 1;
    struct puller_move move = tighten(puller, first, last, stretch->way);

    if (isfinite(move.travel_mm) && move.travel_mm >= CRITERIA_PROFILE_TRAVEL_MIN_MM) {
        move.stalled = stretch->stalled;
        moves->items[moves->count++] = move;
    }
}

bool puller_moves_find(const struct series *puller, const struct analysis_memory *memory,
                       struct puller_moves *ret_moves)
{
    const double interval_s = 1.0 / puller->rate_hz;
    const size_t most_reach = series_whole_samples(puller, CRITERIA_PROFILE_MOVING_HALF_S);
    const size_t reach = most_reach > 0 ? most_reach : 1;
    struct stretch stretch = {.way = 0};

    *ret_moves =
        (struct puller_moves){0, memory_array(memory, puller->count, sizeof *ret_moves->items)};
    if (ret_moves->items == NULL) {
        return false;
    }
    for (size_t i = 0; i < puller->count; i++) {
        const int way = direction(puller, i, reach);

        if (way == 0) {
            continue;
        }
        const double rest_s = ((double)i - (double)stretch.last - 1.0) * interval_s;

        if (way == stretch.way && rest_s <= CRITERIA_PROFILE_PAUSE_S) {
            stretch.last = i;
            stretch.stalled = stretch.stalled || rest_s >= CRITERIA_PROFILE_STALL_S;
            continue;
        }
        if (stretch.way != 0) {
            keep(puller, &stretch, reach, ret_moves);
        }
        stretch = (struct stretch){.first = i, .last = i, .way = way};
    }
    if (stretch.way != 0) {
        keep(puller, &stretch, reach, ret_moves);
    }
    return true;
}

/* Line of least squares: value at `origin_s`, slope per second, and how far samples are off it. */
struct line {
    double origin_s;
    double value;
    double slope;
    double off;
};

static bool fit_line(const struct series *part, struct line *ret_line)
{
    const double origin_s = series_time(part, part->count / 2);
    double n = 0.0;
    double sum_t = 0.0;
    double sum_x = 0.0;
    double sum_tt = 0.0;
    double sum_tx = 0.0;

    for (size_t i = 0; i < part->count; i++) {
        const double t = series_time(part, i) - origin_s;

        if (!isnan(part->samples[i])) {
            n += 1.0;
            sum_t += t;
            sum_x += part->samples[i];
            sum_tt += t * t;
            sum_tx += t * part->samples[i];
        }
    }
    const double spread = n * sum_tt - sum_t * sum_t;

    if (!(n >= 3.0) || !(spread > 0.0)) {
        return false;
    }
    struct line line = {.origin_s = origin_s, .slope = (n * sum_tx - sum_t * sum_x) / spread};

    line.value = (sum_x - line.slope * sum_t) / n;
    for (size_t i = 0; i < part->count; i++) {
        const double off =
            part->samples[i] - line.value - line.slope * (series_time(part, i) - origin_s);

        line.off = isnan(off) ? line.off : fmax(line.off, fabs(off));
    }
    *ret_line = line;
    return true;
}

/* Reads an uneven movement; what was not recorded stays where it was before. */
static void follow(const struct series *smoothed, double sign, const struct series *at,
                   double *positions)
{
    double origin = SERIES_MISSING;
    double furthest = 0.0;

    for (size_t i = 0; i < at->count; i++) {
        const double x = sign * series_value(smoothed, series_time(at, i));

        if (isnan(origin)) {
            origin = x;
        }
        if (!isnan(x)) {
            furthest = fmax(furthest, x - origin);
        }
        positions[i] = furthest;
    }
}

double puller_positions(const struct series *puller, struct span span, bool inward,
                        const struct series *at, const struct analysis_memory *memory,
                        double *positions, bool *ret_memory_left)
{
    const struct series part = series_part(puller, span);
    const double sign = inward ? -1.0 : 1.0;
    struct line line;

    *ret_memory_left = true;
    if (!fit_line(&part, &line) || !(sign * line.slope > CRITERIA_PROFILE_MOVING_MM_S)) {
        return SERIES_MISSING;
    }
    if (line.off <= CRITERIA_PROFILE_LINE_MM) {
        for (size_t i = 0; i < at->count; i++) {
            positions[i] = sign * line.slope * (series_time(at, i) - series_time(at, 0));
        }
        return sign * line.slope;
    }
    struct series smoothed;

    *ret_memory_left =
        series_copy_smoothed(&part, CRITERIA_PROFILE_UNEVEN_HALF_S, memory, &smoothed);
    if (!*ret_memory_left) {
        return SERIES_MISSING;
    }
    follow(&smoothed, sign, at, positions);
    return sign * line.slope;
}
