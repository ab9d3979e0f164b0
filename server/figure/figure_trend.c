#include "figure/figure_trend.h"

#include "figure/figure_style.h"
#include "figure/key.h"
#include "figure/plot.h"

#include "base/clock.h"
#include "formats/display.h"

#include <math.h>
#include <string.h>

enum { ALTERNATIVE_BYTES_MAX = 64 * 1024, DATE_LENGTH = 10 };

static const double DAY_US = 24.0 * 3600.0 * 1e6;
static const double DATE_PT = 48.0; /* room of a date below the axis */

static const char *date_of(int64_t at_us, struct arena *arena)
{
    char stamp[CLOCK_TEXT_SIZE];
    clock_format(at_us, stamp);
    return arena_strndup(arena, stamp, DATE_LENGTH);
}

static bool has_value(const struct figure_trend *trend)
{
    for (size_t i = 0; i < trend->visit_count; i++) {
        if (isfinite(trend->visits[i].value)) {
            return true;
        }
    }
    return false;
}

static bool is_preliminary(const struct figure_trend *trend)
{
    for (size_t i = 0; i < trend->visit_count; i++) {
        if (isfinite(trend->visits[i].value) && !trend->visits[i].is_signed) {
            return true;
        }
    }
    return false;
}

static double day_of(const struct figure_trend *trend, size_t index)
{
    return (double)(trend->visits[index].at_us - trend->visits[0].at_us) / DAY_US;
}

static void fill_key(const struct figure_trend *trend, struct arena *arena, struct key *key)
{
    bool doubtful = false;
    bool absent = false;
    for (size_t i = 0; i < trend->visit_count; i++) {
        doubtful = doubtful || (isfinite(trend->visits[i].value) && trend->visits[i].doubtful);
        absent = absent || !isfinite(trend->visits[i].value);
    }
    for (size_t i = 0; i < trend->limit_count; i++) {
        struct text words;
        text_init(&words, arena, ALTERNATIVE_BYTES_MAX);
        text_printf(&words, "%s: ", trend->limits[i].label);
        text_append_number(&words, trend->limits[i].value);
        key_line(key, style_dashed_pen(STYLE_INK, 0.8, 3.0 + (double)i), words.data);
    }
    if (doubtful) {
        key_marker(key, CANVAS_MARKER_RING, style_signal_colour(SIGNAL_PVES),
                   "rests on a doubtful stretch");
    }
    if (absent) {
        key_marker(key, CANVAS_MARKER_CROSS, style_colour(STYLE_INK_SOFT),
                   "visit without this number");
    }
}

static void draw_dates(const struct figure_trend *trend, struct arena *arena, struct canvas *canvas,
                       const struct plot *plot)
{
    const struct canvas_style style = style_text(STYLE_INK_SOFT, STYLE_TEXT_PT, false);
    const struct canvas_pen tick = style_pen(STYLE_RULE, 0.6);
    const double bottom = plot->area.y + plot->area.height;
    double free_from = -HUGE_VAL;
    for (size_t i = 0; i < trend->visit_count; i++) {
        const double x = plot_x(plot, day_of(trend, i));
        canvas_line(canvas, (struct canvas_point){x, bottom},
                    (struct canvas_point){x, bottom + 3.0}, &tick);
        if (x - DATE_PT / 2.0 >= free_from) {
            (void)canvas_label(canvas, (struct canvas_point){x, bottom + 4.0},
                               date_of(trend->visits[i].at_us, arena), &style, CANVAS_CENTRE, 0.0);
            free_from = x + DATE_PT / 2.0;
        }
    }
}

static void draw_points(const struct figure_trend *trend, struct arena *arena,
                        struct canvas *canvas, const struct plot *plot)
{
    const struct canvas_pen pen = {.colour = style_signal_colour(SIGNAL_PVES), .width_pt = 1.0};
    struct canvas_point *points = arena_array(arena, trend->visit_count, sizeof *points);
    size_t count = 0;
    for (size_t i = 0; i < trend->visit_count; i++) {
        if (isfinite(trend->visits[i].value)) {
            points[count++] = plot_point(plot, day_of(trend, i), trend->visits[i].value);
        }
    }
    canvas_polyline(canvas, points, count, &pen);
    for (size_t i = 0; i < trend->visit_count; i++) {
        const struct figure_visit *visit = &trend->visits[i];
        const double x = plot_x(plot, day_of(trend, i));
        if (!isfinite(visit->value)) {
            canvas_marker(canvas, CANVAS_MARKER_CROSS,
                          (struct canvas_point){x, plot->area.y + plot->area.height - 5.0}, 5.0,
                          style_colour(STYLE_INK_SOFT));
            continue;
        }
        canvas_marker(canvas, visit->doubtful ? CANVAS_MARKER_RING : CANVAS_MARKER_DISC,
                      (struct canvas_point){x, plot_y(plot, visit->value)}, STYLE_MARKER_PT,
                      pen.colour);
    }
}

static struct plot draw_axes(const struct figure_trend *trend, struct arena *arena,
                             struct canvas *canvas, struct canvas_rect area)
{
    struct plot_axis x = {.label = "Date of the visit"};
    struct plot_axis y = {.label = plot_axis_label(arena, trend->label, trend->unit)};
    /* Half a date's room on either side, so that none is clipped. */
    const double days = fmax(1.0, day_of(trend, trend->visit_count - 1));
    const double margin = days * DATE_PT / fmax(1.0, area.width - 2.0 * DATE_PT);
    x.from = -margin;
    x.to = days + margin;
    for (size_t i = 0; i < trend->visit_count; i++) {
        y.from = fmin(y.from, trend->visits[i].value); /* of a number and NaN: the number */
        y.to = fmax(y.to, trend->visits[i].value);
    }
    for (size_t i = 0; i < trend->limit_count; i++) {
        y.from = fmin(y.from, trend->limits[i].value);
        y.to = fmax(y.to, trend->limits[i].value);
    }
    y.step = plot_widen(&y.from, &y.to, plot_ticks_down(area.height));
    return plot_draw_axes(canvas, arena, area, &x, &y);
}

void figure_trend_draw(const struct figure_trend *trend, struct arena *arena, struct canvas *canvas,
                       struct canvas_rect area)
{
    struct key key = {.count = 0};
    struct canvas_rect rest = area;
    if (!has_value(trend)) {
        const struct canvas_style style = style_text(STYLE_INK, STYLE_TEXT_PT, false);
        (void)canvas_label(canvas, (struct canvas_point){area.x, area.y},
                           "No visit has this number.", &style, CANVAS_START, 0.0);
        return;
    }
    fill_key(trend, arena, &key);
    if (is_preliminary(trend)) {
        const struct canvas_style style = style_text(STYLE_INK, STYLE_TEXT_PT, true);
        (void)canvas_label(canvas, (struct canvas_point){area.x + area.width, area.y},
                           "With preliminary numbers", &style, CANVAS_END, 0.0);
        rest.y += STYLE_LINE_PT + 1.0;
        rest.height -= STYLE_LINE_PT + 1.0;
    }
    const double below = key_height(canvas, &key, area.width);
    rest.height = fmax(1.0, rest.height - below - 3.0);
    key_draw(canvas, &key, (struct canvas_point){area.x, rest.y + rest.height + 3.0}, area.width);
    const struct plot plot = draw_axes(trend, arena, canvas, rest);
    for (size_t i = 0; i < trend->limit_count; i++) {
        const struct canvas_pen pen = style_dashed_pen(STYLE_INK, 0.8, 3.0 + (double)i);
        canvas_line(canvas, plot_point(&plot, plot.from_x, trend->limits[i].value),
                    plot_point(&plot, plot.to_x, trend->limits[i].value), &pen);
    }
    draw_dates(trend, arena, canvas, &plot);
    draw_points(trend, arena, canvas, &plot);
}

const char *figure_trend_alternative(const struct figure_trend *trend, struct arena *arena)
{
    const char *unit = display_unit(trend->unit);
    struct text text;
    text_init(&text, arena, ALTERNATIVE_BYTES_MAX);
    if (!has_value(trend)) {
        text_printf(&text, "%s: no visit has this number.", trend->label);
        return text.data;
    }
    text_printf(&text, "%s%s over %zu visits:", is_preliminary(trend) ? "Preliminary. " : "",
                trend->label, trend->visit_count);
    for (size_t i = 0; i < trend->visit_count; i++) {
        const struct figure_visit *visit = &trend->visits[i];
        text_printf(&text, "%s %s ", i > 0 ? ";" : "", date_of(visit->at_us, arena));
        if (isfinite(visit->value)) {
            display_rounded(&text, trend->report_step, visit->value);
            text_printf(&text, "%s%s%s", unit[0] == '\0' ? "" : "\u00a0", unit,
                        visit->doubtful ? " (doubtful)" : "");
        } else {
            text_append(&text, "none");
        }
    }
    text_append_char(&text, '.');
    for (size_t i = 0; i < trend->limit_count; i++) {
        text_printf(&text, " %s: ", trend->limits[i].label);
        text_append_number(&text, trend->limits[i].value);
        text_append_char(&text, '.');
    }
    return text.data;
}
