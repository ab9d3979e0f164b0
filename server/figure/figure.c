#include "figure/figure.h"

#include "figure/figure_parts.h"
#include "figure/figure_style.h"
#include "figure/numbers.h"

#include <math.h>
#include <string.h>

enum { ALTERNATIVE_BYTES_MAX = 64 * 1024 };

static const char PRELIMINARY[] = "Preliminary";

struct kind_row {
    const char *name;
    figure_lister *list; /* NULL: the kind before lists it */
    figure_drawer *draw;
    figure_teller *tell;
};

static const struct kind_row kinds[FIGURE_KIND_COUNT] = {
    [FIGURE_TRACES] = {"traces", figure_traces_list, figure_traces_draw, figure_traces_tell},
    [FIGURE_VOIDING] = {"voiding", NULL, figure_traces_draw, figure_traces_tell},
    [FIGURE_LOOP] = {"loop", figure_loop_list, figure_loop_draw, figure_loop_tell},
    [FIGURE_NOMOGRAM] = {"nomogram", figure_nomogram_list, figure_nomogram_draw,
                         figure_nomogram_tell},
    [FIGURE_CONTRACTILITY] = {"contractility", figure_contractility_list, figure_contractility_draw,
                              figure_contractility_tell},
    [FIGURE_PROFILE] = {"profile", figure_profile_list, figure_profile_draw, figure_profile_tell},
    [FIGURE_TRANSMISSION] = {"transmission", figure_transmission_list, figure_transmission_draw,
                             figure_transmission_tell},
};

const char *figure_kind_name(enum figure_kind kind)
{
    return (unsigned)kind < FIGURE_KIND_COUNT ? kinds[kind].name : NULL;
}

enum figure_kind figure_kind_from_name(const char *name)
{
    for (int i = 0; i < FIGURE_KIND_COUNT; i++) {
        if (strcmp(kinds[i].name, name) == 0) {
            return (enum figure_kind)i;
        }
    }
    return FIGURE_KIND_COUNT;
}

static size_t add_span(struct figure_span spans[FIGURE_SPANS_MAX], size_t count,
                       struct figure_span span, double duration_s)
{
    const struct figure_span within = {fmax(0.0, span.from_s), fmin(duration_s, span.to_s)};
    if (count < FIGURE_SPANS_MAX && within.to_s > within.from_s) {
        spans[count++] = within;
    }
    return count;
}

size_t figure_spans(const struct figure_source *source, struct figure_span spans[FIGURE_SPANS_MAX])
{
    /* Room for the margins of the enlarged voiding, and for what is averaged at its ends. */
    static const double MARGIN_SHARE = 0.2;
    static const double MARGIN_S = 10.0;
    struct figure_span voiding;
    size_t count = 0;
    if (number_voiding(source, &voiding)) {
        const double margin = fmax(MARGIN_S, MARGIN_SHARE * (voiding.to_s - voiding.from_s));
        count = add_span(spans, count,
                         (struct figure_span){voiding.from_s - margin, voiding.to_s + margin},
                         source->duration_s);
    }
    for (size_t i = 0; i < number_entries(source, "profiles"); i++) {
        const struct number start = number_of_entry(source, "profiles", i, "start_s");
        const struct number end = number_of_entry(source, "profiles", i, "end_s");
        if (start.known && end.known) {
            count = add_span(spans, count, (struct figure_span){start.value, end.value},
                             source->duration_s);
        }
    }
    return count;
}

size_t figure_list(const struct figure_source *source, struct arena *arena,
                   struct figure figures[FIGURES_MAX])
{
    size_t count = 0;
    for (int i = 0; i < FIGURE_KIND_COUNT; i++) {
        if (kinds[i].list != NULL) {
            count += kinds[i].list(source, arena, figures + count, FIGURES_MAX - count);
        }
    }
    return count;
}

struct canvas_rect figure_frame(const struct figure_paper *paper, const struct key *key)
{
    struct canvas_rect area = paper->area;
    if (paper->source->is_preliminary) {
        const struct canvas_style style = style_text(STYLE_INK, STYLE_TEXT_PT, true);
        (void)canvas_label(paper->canvas, (struct canvas_point){area.x + area.width, area.y},
                           PRELIMINARY, &style, CANVAS_END, 0.0);
        area.y += STYLE_LINE_PT + 1.0;
        area.height -= STYLE_LINE_PT + 1.0;
    }
    const double height = key_height(paper->canvas, key, area.width);
    if (height > 0.0) {
        area.height -= height + 3.0;
        key_draw(paper->canvas, key, (struct canvas_point){area.x, area.y + area.height + 3.0},
                 area.width);
    }
    area.height = fmax(area.height, 1.0);
    return area;
}

void figure_draw(const struct figure_source *source, const struct figure *figure,
                 struct arena *arena, struct canvas *canvas, struct canvas_rect area)
{
    const struct figure_paper paper = {source, figure, arena, canvas, area};
    kinds[figure->kind].draw(&paper);
}

const char *figure_alternative(const struct figure_source *source, const struct figure *figure,
                               struct arena *arena)
{
    struct text text;
    text_init(&text, arena, ALTERNATIVE_BYTES_MAX);
    if (source->is_preliminary) {
        text_printf(&text, "%s. ", PRELIMINARY);
    }
    kinds[figure->kind].tell(source, figure, &text);
    return text.data;
}
