#include "figure/plot.h"

#include "figure/figure_style.h"
#include "formats/display.h"

#include <math.h>

enum { TICK_TEXT_MAX = 64 };

double plot_x(const struct plot *plot, double x)
{
    return plot->area.x + plot->area.width * (x - plot->from_x) / (plot->to_x - plot->from_x);
}

double plot_y(const struct plot *plot, double y)
{
    return plot->area.y + plot->area.height * (plot->to_y - y) / (plot->to_y - plot->from_y);
}

struct canvas_point plot_point(const struct plot *plot, double x, double y)
{
    return (struct canvas_point){plot_x(plot, x), plot_y(plot, y)};
}

bool plot_holds(const struct plot *plot, double x, double y)
{
    return x >= plot->from_x && x <= plot->to_x && y >= plot->from_y && y <= plot->to_y;
}

/* ---- ticks ---- */

/* Steps that miss the limit by rounding alone still count. */
static const double SLACK = 1e-9;
/* Beyond it the next step of the ladder begins. */
static const double SLACK_UP = 1e-6;

double plot_step(double range, double most)
{
    static const double PARTS[] = {1.0, 2.0, 5.0};
    double power = pow(10.0, floor(log10(range / most)));
    for (;;) {
        for (size_t i = 0; i < sizeof PARTS / sizeof PARTS[0]; i++) {
            if (range / (PARTS[i] * power) <= most + SLACK) {
                return PARTS[i] * power;
            }
        }
        power *= 10.0;
    }
}

double plot_time_step(double range_s, double most)
{
    static const double STEPS_S[] = {15.0,  30.0,   60.0,   120.0,  300.0,  600.0,
                                     900.0, 1800.0, 3600.0, 7200.0, 14400.0};
    const double fine = plot_step(range_s, most);
    if (fine <= 10.0) {
        return fine;
    }
    for (size_t i = 0; i < sizeof STEPS_S / sizeof STEPS_S[0]; i++) {
        if (range_s / STEPS_S[i] <= most + SLACK) {
            return STEPS_S[i];
        }
    }
    return 3600.0 * plot_step(range_s / 3600.0, most);
}

double plot_first_tick(double from, double step)
{
    return step * ceil(from / step - SLACK);
}

size_t plot_tick_count(double from, double to, double step)
{
    if (!(step > 0.0)) {
        return 0;
    }
    const double count = floor((to - plot_first_tick(from, step)) / step + SLACK) + 1.0;
    return count > 0.0 ? (size_t)count : 0;
}

double plot_widen(double *from, double *to, double most)
{
    if (!(*to > *from)) {
        *to = *from + 1.0;
    }
    double step = plot_step(*to - *from, most);
    for (;;) {
        const double low = step * floor(*from / step + SLACK);
        const double high = step * ceil(*to / step - SLACK);
        if ((high - low) / step <= most + SLACK) {
            *from = low;
            *to = high;
            return step;
        }
        step = plot_step(step * (1.0 + SLACK_UP), 1.0);
    }
}

void plot_append_tick(struct text *out, double value, double step)
{
    const int decimals = step < 1.0 ? (int)ceil(-log10(step) - SLACK) : 0;
    const double shown = fabs(value) < step * SLACK ? 0.0 : value;
    text_append(out, shown < 0.0 ? "\u2212" : "");
    text_printf(out, "%.*f", decimals, fabs(shown));
}

void plot_append_clock(struct text *out, double at_s, double step_s)
{
    enum { TENTHS = 10, MINUTE = 60, HOUR = 3600 };

    const bool has_tenths = step_s < 1.0;
    const long long tenths = llround(fabs(at_s) * TENTHS);
    const long long whole = has_tenths ? tenths / TENTHS : llround(fabs(at_s));
    text_append(out, at_s < 0.0 && tenths > 0 ? "\u2212" : "");
    if (whole >= HOUR) {
        text_printf(out, "%lld:%02lld:%02lld", whole / HOUR, whole % HOUR / MINUTE, whole % MINUTE);
    } else {
        text_printf(out, "%lld:%02lld", whole / MINUTE, whole % MINUTE);
    }
    if (has_tenths) {
        text_printf(out, ".%lld", tenths % TENTHS);
    }
}

double plot_ticks_across(double width_pt)
{
    enum { SPACE_PT = 34 };

    return fmax(2.0, floor(width_pt / SPACE_PT));
}

double plot_ticks_down(double height_pt)
{
    enum { SPACE_PT = 20 };

    return fmax(1.0, floor(height_pt / SPACE_PT));
}

/* ---- axes ---- */

const char *plot_axis_label(struct arena *arena, const char *label, const char *ucum)
{
    const char *unit = display_unit(ucum);
    return unit[0] == '\0' ? label : arena_printf(arena, "%s (%s)", label, unit);
}

static const char *tick_text(struct arena *arena, double value, double step)
{
    struct text text;
    text_init(&text, arena, TICK_TEXT_MAX);
    plot_append_tick(&text, value, step);
    return text.data;
}

/* Room of the widest tick label, 0 without ticks. */
static double widest_tick(struct canvas *canvas, struct arena *arena, const struct plot_axis *axis)
{
    const struct canvas_style style = style_text(STYLE_INK_SOFT, STYLE_TEXT_PT, false);
    double widest = 0.0;
    for (size_t i = 0; i < plot_tick_count(axis->from, axis->to, axis->step); i++) {
        const double value = plot_first_tick(axis->from, axis->step) + axis->step * (double)i;
        const struct canvas_run run = {.words = tick_text(arena, value, axis->step)};
        const struct canvas_text text = {.runs = &run, .run_count = 1, .style = style};
        widest = fmax(widest, canvas_text_size(canvas, &text).width);
    }
    return widest;
}

static void draw_x_ticks(struct canvas *canvas, struct arena *arena, const struct plot *plot,
                         const struct plot_axis *axis)
{
    const struct canvas_style style = style_text(STYLE_INK_SOFT, STYLE_TEXT_PT, false);
    const struct canvas_pen pen = style_pen(STYLE_GRID, 0.5);
    const double bottom = plot->area.y + plot->area.height;
    for (size_t i = 0; i < plot_tick_count(axis->from, axis->to, axis->step); i++) {
        const double value = plot_first_tick(axis->from, axis->step) + axis->step * (double)i;
        const double x = plot_x(plot, value);
        canvas_line(canvas, (struct canvas_point){x, plot->area.y},
                    (struct canvas_point){x, bottom}, &pen);
        (void)canvas_label(canvas, (struct canvas_point){x, bottom + 2.0},
                           tick_text(arena, value, axis->step), &style, CANVAS_CENTRE, 0.0);
    }
}

static void draw_y_ticks(struct canvas *canvas, struct arena *arena, const struct plot *plot,
                         const struct plot_axis *axis)
{
    const struct canvas_style style = style_text(STYLE_INK_SOFT, STYLE_TEXT_PT, false);
    const struct canvas_pen pen = style_pen(STYLE_GRID, 0.5);
    const double right = plot->area.x + plot->area.width;
    for (size_t i = 0; i < plot_tick_count(axis->from, axis->to, axis->step); i++) {
        const double value = plot_first_tick(axis->from, axis->step) + axis->step * (double)i;
        const double y = plot_y(plot, value);
        canvas_line(canvas, (struct canvas_point){plot->area.x, y}, (struct canvas_point){right, y},
                    &pen);
        (void)canvas_label(canvas,
                           (struct canvas_point){plot->area.x - 3.0, y - STYLE_LINE_PT / 2.0},
                           tick_text(arena, value, axis->step), &style, CANVAS_END, 0.0);
    }
}

struct plot plot_draw_axes(struct canvas *canvas, struct arena *arena, struct canvas_rect area,
                           const struct plot_axis *x, const struct plot_axis *y)
{
    const struct canvas_style style = style_text(STYLE_INK, STYLE_TEXT_PT, false);
    const double left = STYLE_LINE_PT + 6.0 + widest_tick(canvas, arena, y);
    const double below = 2.0 * STYLE_LINE_PT + 4.0;
    const double above = STYLE_LINE_PT / 2.0;
    const double right = STYLE_LINE_PT;
    const struct plot plot = {
        .area = {area.x + left, area.y + above, fmax(1.0, area.width - left - right),
                 fmax(1.0, area.height - above - below)},
        .from_x = x->from,
        .to_x = x->to,
        .from_y = y->from,
        .to_y = y->to,
    };
    const struct canvas_pen frame = style_pen(STYLE_RULE, 0.75);
    draw_x_ticks(canvas, arena, &plot, x);
    draw_y_ticks(canvas, arena, &plot, y);
    canvas_stroke_rect(canvas, plot.area, &frame);
    const double bottom = plot.area.y + plot.area.height;
    (void)canvas_label(
        canvas,
        (struct canvas_point){plot.area.x + plot.area.width / 2.0, bottom + STYLE_LINE_PT + 3.0},
        x->label, &style, CANVAS_CENTRE, 0.0);
    (void)canvas_label(canvas, (struct canvas_point){area.x, plot.area.y + plot.area.height / 2.0},
                       y->label, &style, CANVAS_CENTRE, 90.0);
    return plot;
}
