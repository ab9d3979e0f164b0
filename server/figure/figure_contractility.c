/* The Watts factor against the volume in the bladder: how the contraction holds while it empties.
 *
 * Source: Griffiths DJ, Constantinou CE, van Mastrigt R. Am J Physiol 1986;251:R225-R230; see
 * analysis/voiding/watts.h, whose formula this draws. */
#include "figure/figure_parts.h"
#include "figure/figure_style.h"
#include "figure/flow_course.h"
#include "figure/numbers.h"
#include "figure/path_draw.h"

#include "analysis/criteria.h"
#include "analysis/criteria_voiding.h"
#include "analysis/voiding/watts.h"

#include <math.h>

enum { WORDS_BYTES_MAX = 1024, ARROWS = 8 };

static const double LEAST_TOP = 15.0; /* uW/mm2: a weak contraction looks weak */
static const double AFTER_S = 2.0;

struct watts_course {
    struct flow_course flow;
    double *volume_ml; /* in the bladder */
    double *watts;     /* NaN where it cannot be told */
};

/* Volume and Watts factor at each moment: the residual and what was still to be voided, flow on
 * and at least 20 mL in the bladder, as the analysis has it. */
static struct watts_course course_of(const struct figure_source *source, struct arena *arena)
{
    const struct number residual = number_of(source, "voiding", "post_void_residual");
    struct watts_course course = {.flow = flow_course_of(source, AFTER_S, arena)};
    const size_t count = course.flow.count;
    course.volume_ml = arena_array(arena, count, sizeof *course.volume_ml);
    course.watts = arena_array(arena, count, sizeof *course.watts);
    for (size_t i = 0; i < count; i++) {
        const struct flow_moment *moment = &course.flow.moments[i];
        const double volume_ml = residual.value + moment->left_ml;
        course.volume_ml[i] = volume_ml;
        course.watts[i] = (double)NAN;
        if (moment->flow_ml_s >= CRITERIA_FLOW_ON_ML_S &&
            volume_ml >= CRITERIA_WATTS_VOLUME_MIN_ML && isfinite(moment->pdet_cmh2o)) {
            course.watts[i] = watts_factor(moment->pdet_cmh2o, moment->flow_ml_s, volume_ml);
        }
    }
    return course;
}

/* The volume at the moment that a number of the document was read, whose time is the pressure's. */
static double volume_at(const struct watts_course *course, double pressure_s, double delay_s)
{
    double best = (double)NAN;
    double distance = course->flow.step_s;
    for (size_t i = 0; i < course->flow.count; i++) {
        const double away = fabs(course->flow.moments[i].at_s - (pressure_s + delay_s));
        if (away <= distance) {
            distance = away;
            best = course->volume_ml[i];
        }
    }
    return best;
}

size_t figure_contractility_list(const struct figure_source *source, struct arena *arena,
                                 struct figure *figures, size_t room)
{
    const struct number largest = number_of(source, "voiding", "watts_factor_max");
    const struct number residual = number_of(source, "voiding", "post_void_residual");
    if (room < 1 || !largest.known || !residual.known) {
        return 0;
    }
    const struct watts_course course = course_of(source, arena);
    for (size_t i = 0; i < course.flow.count; i++) {
        if (isfinite(course.watts[i])) {
            figures[0] =
                (struct figure){.kind = FIGURE_CONTRACTILITY,
                                .code = "",
                                .caption = "Detrusor contractility: Watts factor and volume",
                                .span = course.flow.voiding,
                                .width_pt = FIGURE_HALF_PT,
                                .height_pt = FIGURE_HALF_HEIGHT_PT,
                                .is_half = true};
            return 1;
        }
    }
    return 0;
}

static void append_number(struct text *out, const char *label, const struct number *number)
{
    text_append(out, label);
    number_append(out, number);
}

static void fill_key(const struct figure_paper *paper, const struct number *largest,
                     const struct number *at_qmax, double limit, struct key *key)
{
    const struct canvas_colour ink = style_colour(STYLE_INK);
    const struct canvas_colour line = style_signal_colour(SIGNAL_EMG);
    struct text words;
    text_init(&words, paper->arena, WORDS_BYTES_MAX);
    append_number(&words, "largest ", largest);
    key_marker(key, CANVAS_MARKER_TRIANGLE, ink, words.data);
    if (at_qmax->known) {
        text_init(&words, paper->arena, WORDS_BYTES_MAX);
        append_number(&words, "at Qmax ", at_qmax);
        key_marker(key, CANVAS_MARKER_DISC, ink, words.data);
    }
    key_marker(key, CANVAS_MARKER_RING, line, "begin");
    key_marker(key, CANVAS_MARKER_SQUARE, line, "end");
    if (isfinite(limit)) {
        text_init(&words, paper->arena, WORDS_BYTES_MAX);
        text_append(&words, "the clinic's limit, ");
        text_append_number(&words, limit);
        key_line(key, style_dashed_pen(STYLE_INK, 0.8, 3.0), words.data);
    }
    key_note(key, "The bladder empties from right to left. Griffiths DJ et al. Am J Physiol "
                  "1986;251:R225-R230; constants from memory.");
}

void figure_contractility_draw(const struct figure_paper *paper)
{
    const struct number largest = number_of(paper->source, "voiding", "watts_factor_max");
    const struct number at_qmax = number_of(paper->source, "voiding", "watts_factor_qmax");
    const struct analysis_choices choices = number_choices(paper->source);
    const double limit = choices_value(&choices, "watts_factor_low");
    const double delay_s = number_flow_delay_s(paper->source);
    const struct watts_course course = course_of(paper->source, paper->arena);
    struct key key = {.count = 0};
    struct plot_axis x = {.label = plot_axis_label(paper->arena, "Volume in the bladder", "mL"),
                          .to = 1.0};
    struct plot_axis y = {.label = plot_axis_label(paper->arena, "Watts factor", "uW/mm2"),
                          .to = LEAST_TOP};
    fill_key(paper, &largest, &at_qmax, limit, &key);
    const struct canvas_rect area = figure_frame(paper, &key);
    for (size_t i = 0; i < course.flow.count; i++) {
        x.to = fmax(x.to, course.volume_ml[i]);
        y.to = fmax(y.to, course.watts[i]);
        y.from = fmin(y.from, course.watts[i]);
    }
    y.to = fmax(y.to, largest.value);
    x.step = plot_widen(&x.from, &x.to, plot_ticks_across(area.width));
    y.step = plot_widen(&y.from, &y.to, plot_ticks_down(area.height));
    const struct plot plot = plot_draw_axes(paper->canvas, paper->arena, area, &x, &y);
    if (isfinite(limit)) {
        const struct canvas_pen pen = style_dashed_pen(STYLE_INK, 0.8, 3.0);
        canvas_line(paper->canvas, plot_point(&plot, x.from, limit), plot_point(&plot, x.to, limit),
                    &pen);
    }
    struct canvas_point *points = arena_array(paper->arena, course.flow.count, sizeof *points);
    for (size_t i = 0; i < course.flow.count; i++) {
        points[i] = plot_point(&plot, course.volume_ml[i], course.watts[i]);
    }
    const double arrow_s = plot_time_step(course.flow.step_s * (double)course.flow.count, ARROWS);
    const struct path path = {.points = points,
                              .count = course.flow.count,
                              .arrow_every = (size_t)fmax(1.0, round(arrow_s / course.flow.step_s)),
                              .colour = style_signal_colour(SIGNAL_EMG)};
    path_draw(paper->canvas, &path, &plot);
    const struct number *numbers[] = {&largest, &at_qmax};

    const enum canvas_marker markers[] = {CANVAS_MARKER_TRIANGLE, CANVAS_MARKER_DISC};

    for (size_t i = 0; i < sizeof numbers / sizeof numbers[0]; i++) {
        const double volume_ml = volume_at(&course, numbers[i]->at_s, delay_s);
        if (numbers[i]->known && plot_holds(&plot, volume_ml, numbers[i]->value)) {
            canvas_marker(paper->canvas, markers[i],
                          plot_point(&plot, volume_ml, numbers[i]->value), STYLE_MARKER_PT,
                          style_colour(STYLE_INK));
        }
    }
}

void figure_contractility_tell(const struct figure_source *source, const struct figure *figure,
                               struct text *out)
{
    const struct number largest = number_of(source, "voiding", "watts_factor_max");
    const struct number at_qmax = number_of(source, "voiding", "watts_factor_qmax");
    const struct watts_course course = course_of(source, out->arena);
    const double volume_ml = volume_at(&course, largest.at_s, number_flow_delay_s(source));
    (void)figure;
    text_append(out, "Watts factor against the volume in the bladder, while it empties.");
    append_number(out, " Largest ", &largest);
    if (isfinite(volume_ml)) {
        text_printf(out, " at %.0f\u00a0mL", volume_ml);
    }
    text_append_char(out, '.');
    if (at_qmax.known) {
        append_number(out, " At Qmax ", &at_qmax);
        text_append_char(out, '.');
    }
}
