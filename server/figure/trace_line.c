#include "figure/trace_line.h"

#include <math.h>

/* A span that the server rounded to whole samples still counts as covering. */
static const double COVER_SLACK_S = 0.05;

const struct figure_traces *trace_covering(const struct figure_source *source,
                                           struct figure_span span)
{
    const struct figure_traces *best = source->traces_count > 0 ? &source->traces[0] : NULL;
    const double from_s = fmax(span.from_s, 0.0);
    const double to_s = fmin(span.to_s, source->duration_s);
    for (size_t i = 0; i < source->traces_count; i++) {
        const struct figure_span *have = &source->traces[i].span;
        const bool covers =
            have->from_s <= from_s + COVER_SLACK_S && have->to_s >= to_s - COVER_SLACK_S;
        if (covers && have->to_s - have->from_s < best->span.to_s - best->span.from_s) {
            best = &source->traces[i];
        }
    }
    return best;
}

const struct traces_channel *trace_find(const struct figure_source *source, struct figure_span span,
                                        enum signal_kind signal)
{
    const struct figure_traces *traces = trace_covering(source, span);
    for (size_t i = 0; traces != NULL && i < traces->channel_count; i++) {
        if (traces->channels[i].signal == signal && traces->channels[i].count > 0) {
            return &traces->channels[i];
        }
    }
    return NULL;
}

static bool is_binned(const struct traces_channel *channel)
{
    return channel->bin_s > 0.0;
}

static double pitch_s(const struct traces_channel *channel)
{
    return is_binned(channel) ? channel->bin_s : 1.0 / channel->rate_hz;
}

static double first_s(const struct traces_channel *channel)
{
    return is_binned(channel) ? channel->start_s + (channel->bin_s - 1.0 / channel->rate_hz) / 2.0
                              : channel->start_s;
}

double trace_time(const struct traces_channel *channel, size_t index)
{
    return first_s(channel) + pitch_s(channel) * (double)index;
}

static double at(const struct traces_array *array, size_t index)
{
    return array->doubles != NULL ? array->doubles[index] : (double)array->floats[index];
}

double trace_least(const struct traces_channel *channel, size_t index)
{
    return at(is_binned(channel) ? &channel->least : &channel->samples, index);
}

double trace_greatest(const struct traces_channel *channel, size_t index)
{
    return at(is_binned(channel) ? &channel->greatest : &channel->samples, index);
}

/* The places within a span, [*first, *end). */
static void places(const struct traces_channel *channel, struct figure_span span, size_t *first,
                   size_t *end)
{
    const double count = (double)channel->count;
    const double from = ceil((span.from_s - first_s(channel)) / pitch_s(channel) - 1e-6);
    const double to = floor((span.to_s - first_s(channel)) / pitch_s(channel) + 1e-6) + 1.0;
    *first = (size_t)fmin(fmax(from, 0.0), count);
    *end = (size_t)fmin(fmax(to, (double)*first), count);
}

/* Samples and bins that fall into one column are drawn as its least and greatest: a line covers
 * more than that. */
static const double COLUMN_PT = 0.5;

struct column {
    double place; /* in columns; NaN: none */
    struct canvas_point lowest;
    struct canvas_point highest;
};

/* One point where both are the same, else two: in order of time, or, of one moment, in the order
 * that leads on from the last point. */
static size_t end_column(const struct column *column, double *last_y, struct canvas_point *points)
{
    const double time_pt = column->highest.x - column->lowest.x;
    const bool falls = fabs(time_pt) > 0.0
                           ? time_pt < 0.0
                           : fabs(column->highest.y - *last_y) < fabs(column->lowest.y - *last_y);
    points[0] = falls ? column->highest : column->lowest;
    points[1] = falls ? column->lowest : column->highest;
    *last_y = points[1].y;
    return fabs(points[1].y - points[0].y) > 0.0 ? 2 : 1;
}

size_t trace_points(const struct traces_channel *channel, const struct plot *plot,
                    struct arena *arena, struct canvas_point **ret_points)
{
    size_t first = 0;
    size_t end = 0;
    places(channel, (struct figure_span){plot->from_x, plot->to_x}, &first, &end);
    first -= first > 0 ? 1 : 0;
    end += end < channel->count ? 1 : 0;
    struct canvas_point *points = arena_array(arena, 2 * (end - first) + 2, sizeof *points);
    struct column column = {.place = (double)NAN};
    size_t count = 0;
    double last_y = (double)NAN;
    for (size_t i = first; i < end; i++) {
        const double at_s = trace_time(channel, i);
        const struct canvas_point low = plot_point(plot, at_s, trace_least(channel, i));
        const struct canvas_point high = plot_point(plot, at_s, trace_greatest(channel, i));
        const double place = isnan(low.y) ? (double)NAN : floor(low.x / COLUMN_PT);
        if (fabs(place - column.place) < 0.5) {
            column.lowest = low.y > column.lowest.y ? low : column.lowest;
            column.highest = high.y < column.highest.y ? high : column.highest;
            continue;
        }
        count += isnan(column.place) ? 0 : end_column(&column, &last_y, points + count);
        if (isnan(place)) {
            points[count++] = (struct canvas_point){(double)NAN, (double)NAN};
            last_y = (double)NAN;
        }
        column = (struct column){.place = place, .lowest = low, .highest = high};
    }
    count += isnan(column.place) ? 0 : end_column(&column, &last_y, points + count);
    *ret_points = points;
    return count;
}

bool trace_extremes(const struct traces_channel *channel, struct figure_span span, double *ret_low,
                    double *ret_high)
{
    size_t first = 0;
    size_t end = 0;
    bool found = false;
    places(channel, span, &first, &end);
    for (size_t i = first; i < end; i++) {
        const double least = trace_least(channel, i);
        const double greatest = trace_greatest(channel, i);
        if (isnan(least)) {
            continue;
        }
        *ret_low = found ? fmin(*ret_low, least) : least;
        *ret_high = found ? fmax(*ret_high, greatest) : greatest;
        found = true;
    }
    return found;
}

bool trace_has_gap(const struct traces_channel *channel, struct figure_span span)
{
    size_t first = 0;
    size_t end = 0;
    places(channel, span, &first, &end);
    for (size_t i = first; i < end; i++) {
        if (isnan(trace_least(channel, i))) {
            return true;
        }
    }
    return false;
}

double trace_mean(const struct traces_channel *channel, double at_s, double width_s)
{
    const struct figure_span span = {at_s - width_s / 2.0, at_s + width_s / 2.0};
    size_t first = 0;
    size_t end = 0;
    double sum = 0.0;
    places(channel, span, &first, &end);
    const bool inside = span.from_s >= trace_time(channel, 0) - pitch_s(channel) &&
                        span.to_s <= trace_time(channel, channel->count - 1) + pitch_s(channel);
    if (!inside) {
        return (double)NAN;
    }
    if (end == first) {
        return trace_value(channel, at_s);
    }
    for (size_t i = first; i < end; i++) {
        sum += (trace_least(channel, i) + trace_greatest(channel, i)) / 2.0;
    }
    return sum / (double)(end - first);
}

double trace_value(const struct traces_channel *channel, double at_s)
{
    const double place = (at_s - first_s(channel)) / pitch_s(channel);
    if (!(place >= -1e-6) || place > (double)(channel->count - 1) + 1e-6) {
        return (double)NAN;
    }
    const size_t index = (size_t)fmax(0.0, floor(place));
    const size_t next = index + 1 < channel->count ? index + 1 : index;
    const double share = fmin(1.0, fmax(0.0, place - (double)index));
    const double here = (trace_least(channel, index) + trace_greatest(channel, index)) / 2.0;
    const double there = (trace_least(channel, next) + trace_greatest(channel, next)) / 2.0;
    return share > 0.0 ? here + share * (there - here) : here;
}
