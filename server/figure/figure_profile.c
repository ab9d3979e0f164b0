/* Urethral pressure profiles over one another, and the mean of the resting ones. */
#include "figure/figure_parts.h"
#include "figure/figure_style.h"
#include "figure/numbers.h"
#include "figure/plot.h"
#include "figure/pull_curve.h"

#include <math.h>

enum { WORDS_BYTES_MAX = 1024, MEAN_POINTS = 400 };

static const double LEAST_TOP = 40.0; /* cmH2O: a low profile looks low */

size_t figure_profile_list(const struct figure_source *source, struct arena *arena,
                           struct figure *figures, size_t room)
{
    const struct pull_curves pulls = pull_curves_of(source, arena);
    bool any = false;
    for (size_t i = 0; i < pulls.count; i++) {
        any = any || pulls.curves[i].count > 1;
    }
    if (room < 1 || !any) {
        return 0;
    }
    figures[0] = (struct figure){.kind = FIGURE_PROFILE,
                                 .code = "",
                                 .caption = "Urethral pressure profiles",
                                 .span = {0.0, source->duration_s},
                                 .width_pt = FIGURE_FULL_PT,
                                 .height_pt = FIGURE_HALF_HEIGHT_PT};
    return 1;
}

/* Pulls differ by dashes and weight: one colour each would be lost on paper. */
static struct canvas_pen pen_of(const struct pull_curve *curve)
{
    static const double DASHES_PT[] = {0.0, 4.0, 1.5, 7.0};
    struct canvas_pen pen = {.colour =
                                 style_signal_colour(curve->is_stress ? SIGNAL_PABD : SIGNAL_PURA),
                             .width_pt = 0.8};
    pen.dash_pt = DASHES_PT[(curve->number - 1) % (sizeof DASHES_PT / sizeof DASHES_PT[0])];
    return pen;
}

/* How many resting pulls make the mean. */
static size_t rest_count(const struct pull_curves *pulls)
{
    size_t count = 0;
    for (size_t i = 0; i < pulls->count; i++) {
        count += !pulls->curves[i].is_stress && pulls->curves[i].count > 1 ? 1 : 0;
    }
    return count;
}

/* Where every resting pull has a value. */
static double mean_at(const struct pull_curves *pulls, double position_mm)
{
    double sum = 0.0;
    for (size_t i = 0; i < pulls->count; i++) {
        const struct pull_curve *curve = &pulls->curves[i];
        if (!curve->is_stress && curve->count > 1) {
            sum += pull_curve_at(curve, position_mm);
        }
    }
    return sum / (double)rest_count(pulls);
}

static bool has_mean(const struct pull_curves *pulls)
{
    return pulls->is_aligned && rest_count(pulls) > 1;
}

static void fill_key(const struct figure_paper *paper, const struct pull_curves *pulls,
                     struct key *key)
{
    for (size_t i = 0; i < pulls->count; i++) {
        const struct pull_curve *curve = &pulls->curves[i];
        struct text words;
        text_init(&words, paper->arena, WORDS_BYTES_MAX);
        text_printf(&words, "pull %zu%s", curve->number, curve->is_stress ? ", stress" : "");
        const struct number closure = number_of_entry(paper->source, "profiles", curve->number - 1,
                                                      "maximum_closure_pressure");
        if (closure.known) {
            text_append(&words, ": MUCP ");
            number_append(&words, &closure);
        }
        key_line(key, pen_of(curve), words.data);
    }
    if (has_mean(pulls)) {
        key_line(key, style_pen(STYLE_INK, 1.8), "mean of the resting pulls");
    }
    key_note(key, pulls->is_aligned ? "0 is where the functional length begins, at the bladder."
                                    : "0 is where the pull begins.");
}

static void draw_curves(const struct figure_paper *paper, const struct pull_curves *pulls,
                        const struct plot *plot)
{
    canvas_clip_begin(paper->canvas, plot->area);
    for (size_t i = 0; i < pulls->count; i++) {
        const struct pull_curve *curve = &pulls->curves[i];
        const struct canvas_pen pen = pen_of(curve);
        struct canvas_point *points = arena_array(paper->arena, curve->count, sizeof *points);
        for (size_t j = 0; j < curve->count; j++) {
            points[j] = plot_point(plot, curve->position_mm[j], curve->pressure[j]);
        }
        canvas_polyline(paper->canvas, points, curve->count, &pen);
    }
    if (has_mean(pulls)) {
        const struct canvas_pen pen = style_pen(STYLE_INK, 1.8);
        struct canvas_point points[MEAN_POINTS];
        for (int i = 0; i < MEAN_POINTS; i++) {
            const double x =
                plot->from_x + (plot->to_x - plot->from_x) * i / (double)(MEAN_POINTS - 1);
            points[i] = plot_point(plot, x, mean_at(pulls, x));
        }
        canvas_polyline(paper->canvas, points, MEAN_POINTS, &pen);
    }
    canvas_clip_end(paper->canvas);
}

void figure_profile_draw(const struct figure_paper *paper)
{
    const struct pull_curves pulls = pull_curves_of(paper->source, paper->arena);
    struct key key = {.count = 0};
    struct plot_axis x = {.label = plot_axis_label(paper->arena, "Position", "mm"), .to = 1.0};
    struct plot_axis y = {
        .label = plot_axis_label(
            paper->arena, pulls.is_closure ? "Closure pressure" : "Urethral pressure", "cm[H2O]"),
        .to = LEAST_TOP};
    fill_key(paper, &pulls, &key);
    const struct canvas_rect area = figure_frame(paper, &key);
    for (size_t i = 0; i < pulls.count; i++) {
        const struct pull_curve *curve = &pulls.curves[i];
        for (size_t j = 0; j < curve->count; j++) {
            x.from = fmin(x.from, curve->position_mm[j]);
            x.to = fmax(x.to, curve->position_mm[j]);
            y.from = fmin(y.from, curve->pressure[j]); /* of a number and NaN: the number */
            y.to = fmax(y.to, curve->pressure[j]);
        }
    }
    x.step = plot_widen(&x.from, &x.to, plot_ticks_across(area.width));
    y.step = plot_widen(&y.from, &y.to, plot_ticks_down(area.height));
    const struct plot plot = plot_draw_axes(paper->canvas, paper->arena, area, &x, &y);
    draw_curves(paper, &pulls, &plot);
}

void figure_profile_tell(const struct figure_source *source, const struct figure *figure,
                         struct text *out)
{
    static const char *const CODES[] = {"maximum_urethral_pressure", "maximum_closure_pressure",
                                        "functional_length"};
    static const char *const LABELS[] = {"MUP ", "MUCP ", "functional length "};
    const struct pull_curves pulls = pull_curves_of(source, out->arena);
    (void)figure;
    text_printf(out, "%s along the urethra by position, %zu pulls over one another.",
                pulls.is_closure ? "Closure pressure" : "Urethral pressure", pulls.count);
    for (size_t i = 0; i < pulls.count; i++) {
        const struct pull_curve *curve = &pulls.curves[i];
        const char *separator = ": ";
        text_printf(out, " Pull %zu%s", curve->number, curve->is_stress ? " (stress)" : "");
        for (size_t j = 0; j < sizeof CODES / sizeof CODES[0]; j++) {
            const struct number number =
                number_of_entry(source, "profiles", curve->number - 1, CODES[j]);
            if (number.known) {
                text_printf(out, "%s%s", separator, LABELS[j]);
                number_append(out, &number);
                separator = ", ";
            }
        }
        text_append_char(out, '.');
    }
}
