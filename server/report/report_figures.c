#include "report/report_figures.h"

#include <math.h>
#include <string.h>

/* What a figure is drawn with. */
struct drawing {
    const struct figure_source *source;
    struct figure figure;
    struct arena *arena;
};

static void draw(void *context, struct canvas *canvas, struct canvas_rect area)
{
    const struct drawing *drawing = context;
    figure_draw(drawing->source, &drawing->figure, drawing->arena, canvas, area);
}

/* The section whose numbers a figure shows; "" for the recording as a whole. */
static const char *section_of(const struct figure_source *source, enum figure_kind kind)
{
    switch (kind) {
    case FIGURE_LOOP:
    case FIGURE_CONTRACTILITY:
        return "voiding";
    case FIGURE_VOIDING:
    case FIGURE_NOMOGRAM:
        return source->type == RECORDING_UROFLOWMETRY ? "uroflow" : "voiding";
    case FIGURE_PROFILE:
        return "profiles";
    case FIGURE_TRANSMISSION:
        return "profiles_summary";
    case FIGURE_TRACES:
    case FIGURE_KIND_COUNT:
        break;
    }
    return "";
}

/* A figure of a section that the document does not have stands with the recording. */
static const char *place_of(const struct figure_source *source, enum figure_kind kind)
{
    const char *section = section_of(source, kind);
    const json_t *sections = json_object_get(source->analysis, "sections");
    return json_object_get(sections, section) == NULL ? "" : section;
}

static bool is_listed(const struct figure *figures, size_t count, enum figure_kind kind,
                      enum nomogram_code nomogram)
{
    for (size_t i = 0; i < count; i++) {
        if (figures[i].kind == kind &&
            (kind != FIGURE_NOMOGRAM || figures[i].nomogram == nomogram)) {
            return true;
        }
    }
    return false;
}

/* What shows hardly more than another figure does: an enlargement of most of the recording; a
 * nomogram of which the loop has the lines and the point; the course of contractility beside a
 * nomogram that has its class. */
static bool is_superfluous(const struct figure_source *source, const struct figure *figures,
                           size_t count, size_t index)
{
    static const double SHARE = 0.3;
    const struct figure *figure = &figures[index];
    if (figure->kind == FIGURE_VOIDING) {
        return figure->span.to_s - figure->span.from_s > SHARE * source->duration_s;
    }
    if (figure->kind == FIGURE_CONTRACTILITY) {
        return is_listed(figures, count, FIGURE_NOMOGRAM, NOMOGRAM_COMPOSITE);
    }
    return figure->kind == FIGURE_NOMOGRAM &&
           (figure->nomogram == NOMOGRAM_ICS_OBSTRUCTION ||
            figure->nomogram == NOMOGRAM_FEMALE_OBSTRUCTION) &&
           is_listed(figures, count, FIGURE_LOOP, NOMOGRAM_COUNT);
}

/* Paper is finer than a screen: strips of signals may be lower. */
static double height_of(const struct figure *figure)
{
    static const double SHARE = 0.72;
    static const double SHARE_ENLARGED = 0.6;
    static const double LEAST_PT = 165.0;
    static const double SHARE_CHART = 0.85;
    if (figure->kind != FIGURE_TRACES && figure->kind != FIGURE_VOIDING) {
        return SHARE_CHART * figure->height_pt;
    }
    double share = figure->kind == FIGURE_TRACES ? SHARE : SHARE_ENLARGED;
    return fmin(figure->height_pt, fmax(LEAST_PT, share * figure->height_pt));
}

size_t report_figures_make(const struct figure_source *source, struct arena *arena,
                           const struct report_figure **ret_figures)
{
    struct figure *figures = arena_array(arena, FIGURES_MAX, sizeof *figures);
    size_t listed = figure_list(source, arena, figures);
    struct report_figure *made = arena_array(arena, listed, sizeof *made);
    size_t count = 0;
    for (size_t i = 0; i < listed; i++) {
        if (is_superfluous(source, figures, listed, i)) {
            continue;
        }
        struct drawing *drawing = arena_alloc(arena, sizeof *drawing);
        *drawing = (struct drawing){source, figures[i], arena};
        made[count++] = (struct report_figure){
            .section = place_of(source, figures[i].kind),
            .figure = {.caption = figures[i].caption,
                       .alternative = figure_alternative(source, &drawing->figure, arena),
                       .height_pt = height_of(&figures[i]),
                       .is_half = figures[i].is_half || figures[i].kind == FIGURE_NOMOGRAM,
                       .draw = draw,
                       .context = drawing},
        };
    }
    *ret_figures = made;
    return count;
}
