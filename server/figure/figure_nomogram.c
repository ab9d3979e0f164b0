/* Nomograms with the patient's point. Lines, zones and classes come from one place,
 * analysis/nomogram/nomogram_chart.h. */
#include "figure/figure_parts.h"
#include "figure/figure_style.h"
#include "figure/nomogram_plot.h"
#include "figure/numbers.h"
#include "figure/zone_labels.h"

#include "formats/display.h"

#include <math.h>
#include <string.h>

enum { WORDS_BYTES_MAX = 1024, GUIDE_POINTS = 24, GUIDES = 2 * GUIDE_POINTS };

/* Where a chart's point stands in the document. */
struct point_row {
    const char
        *class_code; /* of the classification that says the chart applies; NULL: `x` says it */
    const char *section;
    const char *x; /* values of the section, or of the classification's basis */
    const char *y;
    bool by_basis;
};

static const struct point_row points[NOMOGRAM_COUNT] = {
    [NOMOGRAM_ICS_OBSTRUCTION] = {"ics_obstruction", "voiding", "qmax", "pdet_qmax", false},
    [NOMOGRAM_COMPOSITE] = {"composite", "voiding", "qmax", "pdet_qmax", false},
    [NOMOGRAM_FEMALE_OBSTRUCTION] = {"female_obstruction", "voiding", "qmax", "pdet_qmax", false},
    [NOMOGRAM_BLAIVAS_GROUTZ] = {"blaivas_groutz", "voiding", "free_qmax", "pdet_max", true},
    [NOMOGRAM_LIVERPOOL_WOMEN] = {NULL, "uroflow", "voided_volume", "qmax", false},
    [NOMOGRAM_LIVERPOOL_MEN] = {NULL, "uroflow", "voided_volume", "qmax", false},
};

bool nomogram_plot_open(const struct figure_source *source, enum nomogram_code code,
                        struct nomogram_plot *ret)
{
    const struct point_row *row = &points[code];
    const struct analysis_choices choices = number_choices(source);
    if (!nomogram_is_for(code, source->sex, source->age_years) ||
        !nomogram_chart(code, &choices, source->age_years, &ret->chart)) {
        return false;
    }
    const json_t *class =
        row->class_code == NULL ? NULL : number_classification(source, row->class_code);
    if (row->class_code == NULL) {
        /* The nomogram has limits of its own, which the analysis has judged. */
        if (!number_of(source, row->section, "qmax_centile").known) {
            return false;
        }

    } else if (class == NULL) {
        return false;
    }

    if (row->by_basis) {
        const json_t *basis = json_object_get(class, "basis");
        ret->x = number_member(basis, row->x);
        ret->y = number_member(basis, row->y);
    } else {
        ret->x = number_of(source, row->section, row->x).value;
        ret->y = number_of(source, row->section, row->y).value;
    }
    if (!isfinite(ret->x) || !isfinite(ret->y)) {
        return false;
    }
    ret->zone = nomogram_zone(&ret->chart, ret->x, ret->y);
    const char *known = json_string_value(json_object_get(class, "class"));
    for (size_t i = 0; known != NULL && i < ret->chart.zone_count; i++) {
        if (strcmp(ret->chart.zones[i].code, known) == 0) {
            ret->zone = &ret->chart.zones[i];
        }
    }
    return true;
}

void nomogram_plot_reach(struct nomogram_chart *chart, double x, double y)
{
    static const double MARGIN = 1.05;
    if (x > chart->x.to) {
        chart->x.to = x * MARGIN;
    }
    if (y > chart->y.to) {
        chart->y.to = y * MARGIN;
    }
    if (x < chart->x.from) {
        chart->x.from = x;
    }
    if (y < chart->y.from) {
        chart->y.from = y * MARGIN;
    }
}

struct plot nomogram_plot_axes(struct canvas *canvas, struct arena *arena,
                               struct nomogram_chart *chart, struct canvas_rect area)
{
    struct plot_axis x = {.from = chart->x.from, .to = chart->x.to};
    struct plot_axis y = {.from = chart->y.from, .to = chart->y.to};
    x.label = plot_axis_label(arena, chart->x.label, chart->x.unit);
    y.label = plot_axis_label(arena, chart->y.label, chart->y.unit);
    x.step = plot_step(x.to - x.from, plot_ticks_across(area.width));
    y.step = plot_step(y.to - y.from, plot_ticks_down(area.height));
    return plot_draw_axes(canvas, arena, area, &x, &y);
}

size_t figure_nomogram_list(const struct figure_source *source, struct arena *arena,
                            struct figure *figures, size_t room)
{
    size_t count = 0;
    (void)arena;
    for (int i = 0; i < NOMOGRAM_COUNT && count < room; i++) {
        struct nomogram_plot found;
        if (!nomogram_plot_open(source, (enum nomogram_code)i, &found)) {
            continue;
        }
        /* Nine zones need room for their names. */
        const bool is_half = found.chart.family_count < 2;
        figures[count++] = (struct figure){
            .kind = FIGURE_NOMOGRAM,
            .nomogram = (enum nomogram_code)i,
            .code = found.chart.code,
            .caption = found.chart.title,
            .span = {0.0, source->duration_s},
            .width_pt = is_half ? FIGURE_HALF_PT : FIGURE_FULL_PT,
            .height_pt = FIGURE_HALF_HEIGHT_PT,
            .is_half = is_half,
        };
    }
    return count;
}

/* "Qmax 9 mL/s, pdetQmax 86 cmH₂O: Obstructed" */
static void append_point(struct text *out, const struct nomogram_plot *found)
{
    const struct nomogram_axis *axes[] = {&found->chart.x, &found->chart.y};
    const double values[] = {found->x, found->y};
    for (size_t i = 0; i < sizeof axes / sizeof axes[0]; i++) {
        const double step = strcmp(axes[i]->unit, "mL") == 0 ? 10.0 : 1.0; /* ICS */
        text_printf(out, "%s%s ", i > 0 ? ", " : "", axes[i]->symbol);
        display_rounded(out, step, values[i]);
        text_printf(out, "\u00a0%s", display_unit(axes[i]->unit));
    }
    text_printf(out, ": %s", found->zone->label);
}

static void draw_point(const struct figure_paper *paper, const struct plot *plot,
                       struct canvas_point at)
{
    const struct canvas_pen cross = style_dashed_pen(STYLE_INK_SOFT, 0.5, 1.5);
    canvas_line(paper->canvas, (struct canvas_point){plot->area.x, at.y}, at, &cross);
    canvas_line(paper->canvas, (struct canvas_point){at.x, plot->area.y + plot->area.height}, at,
                &cross);
    canvas_marker(paper->canvas, CANVAS_MARKER_DISC, at, STYLE_MARKER_PT + 1.0,
                  style_colour(STYLE_INK));
}

void figure_nomogram_draw(const struct figure_paper *paper)
{
    struct nomogram_plot found;
    struct key key = {.count = 0};
    struct text words;
    if (!nomogram_plot_open(paper->source, paper->figure->nomogram, &found)) {
        return;
    }
    text_init(&words, paper->arena, WORDS_BYTES_MAX);
    append_point(&words, &found);
    key_marker(&key, CANVAS_MARKER_DISC, style_colour(STYLE_INK), words.data);
    if (found.chart.lines[0].centile > 0.0) {
        key_note(&key, "Numbers at the lines: centiles.");
    }
    key_note(&key, arena_printf(paper->arena, "%s; %s.", found.chart.source, found.chart.mark));
    const struct canvas_rect area = figure_frame(paper, &key);
    nomogram_plot_reach(&found.chart, found.x, found.y);
    const struct plot plot = nomogram_plot_axes(paper->canvas, paper->arena, &found.chart, area);
    const struct canvas_point at = plot_point(&plot, found.x, found.y);
    struct canvas_point guides[GUIDES];
    for (size_t i = 0; i < GUIDE_POINTS; i++) {
        const double share = (double)i / (double)(GUIDE_POINTS - 1);
        const double bottom = plot.area.y + plot.area.height;
        guides[2 * i] = (struct canvas_point){plot.area.x + share * (at.x - plot.area.x), at.y};
        guides[2 * i + 1] = (struct canvas_point){at.x, bottom + share * (at.y - bottom)};
    }
    zone_labels_draw_chart(paper->canvas, &found.chart, &plot, guides, GUIDES, paper->arena);
    draw_point(paper, &plot, at);
}

void figure_nomogram_tell(const struct figure_source *source, const struct figure *figure,
                          struct text *out)
{
    struct nomogram_plot found;
    if (!nomogram_plot_open(source, figure->nomogram, &found)) {
        return;
    }
    text_printf(out, "%s. %s against %s. The patient's point: ", found.chart.title,
                found.chart.y.label, found.chart.x.label);
    append_point(out, &found);
    text_append(out, ". Zones:");
    for (size_t i = 0; i < found.chart.zone_count; i++) {
        text_printf(out, "%s %s", i > 0 ? ";" : "", found.chart.zones[i].label);
    }
    text_printf(out, ". Source: %s; %s.", found.chart.source, found.chart.mark);
}
