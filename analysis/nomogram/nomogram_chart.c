#include "analysis/nomogram/nomogram_chart.h"

#include "analysis/classify.h"
#include "analysis/nomogram/nomogram.h"

#include <math.h>

double nomogram_line_y(const struct nomogram_chart *chart, const struct nomogram_line *line,
                       double x)
{
    switch (line->shape) {
    case NOMOGRAM_CENTILE_WOMEN:
        return nomogram_liverpool_qmax(SEX_FEMALE, chart->age_years, x, line->level);
    case NOMOGRAM_CENTILE_MEN:
        return nomogram_liverpool_qmax(SEX_MALE, chart->age_years, x, line->level);
    case NOMOGRAM_STRAIGHT:
        break;
    }
    return line->level + line->slope * x;
}

/* The part of a straight line within the chart's height. */
static size_t straight_points(const struct nomogram_chart *chart, const struct nomogram_line *line,
                              double (*points)[2])
{
    double from_x = chart->x.from;
    double to_x = chart->x.to;

    if (fabs(line->slope) > 0.0) {
        const double at_bottom = (chart->y.from - line->level) / line->slope;
        const double at_top = (chart->y.to - line->level) / line->slope;

        from_x = fmax(from_x, fmin(at_bottom, at_top));
        to_x = fmin(to_x, fmax(at_bottom, at_top));
    } else if (line->level < chart->y.from || line->level > chart->y.to) {
        return 0;
    }
    if (!(from_x < to_x)) {
        return 0;
    }
    points[0][0] = from_x;
    points[0][1] = nomogram_line_y(chart, line, from_x);
    points[1][0] = to_x;
    points[1][1] = nomogram_line_y(chart, line, to_x);
    return 2;
}

static size_t curve_points(const struct nomogram_chart *chart, const struct nomogram_line *line,
                           double (*points)[2], size_t capacity)
{
    const double step = (chart->x.to - chart->x.from) / (double)(capacity - 1);
    size_t count = 0;

    for (size_t i = 0; i < capacity; i++) {
        const double x = i + 1 < capacity ? chart->x.from + step * (double)i : chart->x.to;
        const double y = nomogram_line_y(chart, line, x);

        if (y >= chart->y.from && y <= chart->y.to) {
            points[count][0] = x;
            points[count++][1] = y;
        }
    }
    return count;
}

size_t nomogram_line_points(const struct nomogram_chart *chart, const struct nomogram_line *line,
                            double (*points)[2], size_t capacity)
{
    if (capacity < 2) {
        return 0;
    }
    return line->shape == NOMOGRAM_STRAIGHT ? straight_points(chart, line, points)
                                            : curve_points(chart, line, points, capacity);
}

size_t nomogram_band_count(const struct nomogram_chart *chart, unsigned family)
{
    size_t count = 1;

    for (size_t i = 0; i < chart->line_count; i++) {
        count += chart->lines[i].family == family ? 1 : 0;
    }
    return count;
}

static bool lies_above(const struct nomogram_chart *chart, const struct nomogram_line *line,
                       double x, double y)
{
    const double limit = nomogram_line_y(chart, line, x);

    return line->above_owns ? !classify_below(y, limit) : classify_above(y, limit);
}

size_t nomogram_band(const struct nomogram_chart *chart, unsigned family, double x, double y)
{
    size_t band = 0;

    for (size_t i = 0; i < chart->line_count; i++) {
        if (chart->lines[i].family != family) {
            continue;
        }
        if (!lies_above(chart, &chart->lines[i], x, y)) {
            break;
        }
        band++;
    }
    return band;
}

const struct nomogram_zone *nomogram_zone(const struct nomogram_chart *chart, double x, double y)
{
    size_t zone = 0;

    for (unsigned family = 0; family < chart->family_count; family++) {
        zone = zone * nomogram_band_count(chart, family) + nomogram_band(chart, family, x, y);
    }
    return &chart->zones[zone];
}
