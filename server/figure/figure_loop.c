/* Detrusor pressure against flow over the voiding, on the axes of the obstruction chart. */
#include "figure/figure_parts.h"
#include "figure/figure_style.h"
#include "figure/flow_course.h"
#include "figure/nomogram_plot.h"
#include "figure/numbers.h"
#include "figure/path_draw.h"
#include "figure/zone_labels.h"

#include "formats/display.h"

#include <math.h>

enum { WORDS_BYTES_MAX = 1024, ARROWS = 10 };

static const double BEFORE_S = 3.0; /* the rise of pressure before flow, and its fall after */

/* The chart of the patient's sex; its axes alone where it is not for this patient or where the
 * document gives no class by it, as for a voiding that nobody permitted. */
static bool open_chart(const struct figure_source *source, struct nomogram_chart *ret_chart)
{
    const enum nomogram_code code =
        source->sex == SEX_FEMALE ? NOMOGRAM_FEMALE_OBSTRUCTION : NOMOGRAM_ICS_OBSTRUCTION;
    const struct analysis_choices choices = number_choices(source);
    (void)nomogram_chart(code, &choices, source->age_years, ret_chart);
    ret_chart->x.label = display_signal_name(SIGNAL_FLOW);
    ret_chart->y.label = display_signal_name(SIGNAL_PDET);
    return nomogram_is_for(code, source->sex, source->age_years) &&
           number_classification(source, source->sex == SEX_FEMALE ? "female_obstruction"
                                                                   : "ics_obstruction") != NULL;
}

static bool has_pair(const struct flow_course *course)
{
    for (size_t i = 0; i < course->count; i++) {
        if (isfinite(course->moments[i].flow_ml_s) && isfinite(course->moments[i].pdet_cmh2o)) {
            return true;
        }
    }
    return false;
}

size_t figure_loop_list(const struct figure_source *source, struct arena *arena,
                        struct figure *figures, size_t room)
{
    const struct number pdet = number_of(source, "voiding", "pdet_qmax");
    if (room < 1 || !pdet.known) {
        return 0;
    }
    const struct flow_course course = flow_course_of(source, BEFORE_S, arena);
    if (!has_pair(&course)) {
        return 0;
    }
    figures[0] = (struct figure){.kind = FIGURE_LOOP,
                                 .code = "",
                                 .caption = "Pressure and flow over the voiding",
                                 .span = course.voiding,
                                 .width_pt = FIGURE_HALF_PT,
                                 .height_pt = FIGURE_HALF_HEIGHT_PT,
                                 .is_half = true};
    return 1;
}

static void append_qmax(const struct figure_source *source, struct text *out)
{
    const struct number qmax = number_of(source, "voiding", "qmax");
    const struct number pdet = number_of(source, "voiding", "pdet_qmax");
    text_append(out, "Qmax ");
    number_append(out, &qmax);
    text_append(out, ", pdetQmax ");
    number_append(out, &pdet);
}

/* Time between arrows, a number that people count in. */
static double arrow_s(const struct flow_course *course)
{
    return plot_time_step(course->step_s * (double)course->count, ARROWS);
}

static void fill_key(const struct figure_paper *paper, const struct flow_course *course,
                     struct key *key)
{
    const struct canvas_colour ink = style_colour(STYLE_INK);
    struct text words;
    struct text note;
    text_init(&words, paper->arena, WORDS_BYTES_MAX);
    text_init(&note, paper->arena, WORDS_BYTES_MAX);
    append_qmax(paper->source, &words);
    key_marker(key, CANVAS_MARKER_DISC, ink, words.data);
    key_marker(key, CANVAS_MARKER_RING, style_signal_colour(SIGNAL_PVES), "begin");
    key_marker(key, CANVAS_MARKER_SQUARE, style_signal_colour(SIGNAL_PVES), "end");
    text_append(&note, "Means over 2 s; flow taken ");
    text_append_number(&note, number_flow_delay_s(paper->source));
    text_append(&note, " s earlier than recorded; an arrow every ");
    text_append_number(&note, arrow_s(course));
    text_append(&note, " s.");
    key_note(key, note.data);
}

void figure_loop_draw(const struct figure_paper *paper)
{
    const struct flow_course course = flow_course_of(paper->source, BEFORE_S, paper->arena);
    const struct number qmax = number_of(paper->source, "voiding", "qmax");
    const struct number pdet = number_of(paper->source, "voiding", "pdet_qmax");
    struct canvas_point *points = arena_array(paper->arena, course.count, sizeof *points);
    struct nomogram_chart chart;
    struct key key = {.count = 0};
    const bool has_lines = open_chart(paper->source, &chart);
    if (course.count == 0) {
        return;
    }
    fill_key(paper, &course, &key);
    const struct canvas_rect area = figure_frame(paper, &key);
    for (size_t i = 0; i < course.count; i++) {
        nomogram_plot_reach(&chart, course.moments[i].flow_ml_s, course.moments[i].pdet_cmh2o);
    }
    const struct plot plot = nomogram_plot_axes(paper->canvas, paper->arena, &chart, area);
    const struct canvas_point at = plot_point(&plot, qmax.value, pdet.value);
    for (size_t i = 0; i < course.count; i++) {
        const struct flow_moment *moment = &course.moments[i];
        points[i] = plot_point(&plot, moment->flow_ml_s, moment->pdet_cmh2o);
    }
    if (has_lines) {
        zone_labels_draw_chart(paper->canvas, &chart, &plot, points, course.count, paper->arena);
    }
    const struct path path = {
        .points = points,
        .count = course.count,
        .arrow_every = (size_t)fmax(1.0, round(arrow_s(&course) / course.step_s)),
        .colour = style_signal_colour(SIGNAL_PVES),
    };
    path_draw(paper->canvas, &path, &plot);
    canvas_marker(paper->canvas, CANVAS_MARKER_DISC, at, STYLE_MARKER_PT, style_colour(STYLE_INK));
}

void figure_loop_tell(const struct figure_source *source, const struct figure *figure,
                      struct text *out)
{
    const struct number opening = number_of(source, "voiding", "opening_pressure");
    const struct number largest = number_of(source, "voiding", "pdet_max");
    const struct number closing = number_of(source, "voiding", "closing_pressure");
    (void)figure;
    text_append(out, "Detrusor pressure against flow rate over the voiding, in order of time. ");
    append_qmax(source, out);
    text_append_char(out, '.');
    if (opening.known) {
        text_append(out, " Pressure at opening ");
        number_append(out, &opening);
        text_append_char(out, '.');
    }
    if (largest.known) {
        text_append(out, " Largest pressure ");
        number_append(out, &largest);
        text_append_char(out, '.');
    }
    if (closing.known) {
        text_append(out, " Pressure at closing ");
        number_append(out, &closing);
        text_append_char(out, '.');
    }
}
