#include "drawn.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

static _Noreturn void fail(const char *why, const char *detail)
{
    (void)fprintf(stderr, "drawn: %s %s\n", why, detail);
    abort();
}

static struct drawn finish(struct arena *arena, struct canvas *canvas)
{
    struct drawn drawn = {0};
    struct error error = {0};
    if (!canvas_finish(canvas, arena, &drawn.bytes, &drawn.length, &error)) {
        fail("a canvas failed:", error.detail);
    }
    canvas_free(canvas);
    return drawn;
}

struct drawn drawn_figure(struct arena *arena, const struct figure_source *source,
                          const struct figure *figure, enum canvas_form form)
{
    struct canvas *canvas = canvas_new(form, figure->width_pt, figure->height_pt, 2.0);
    figure_draw(source, figure, arena, canvas,
                (struct canvas_rect){0.0, 0.0, figure->width_pt, figure->height_pt});
    return finish(arena, canvas);
}

struct drawn drawn_trend(struct arena *arena, const struct figure_trend *trend, double width_pt,
                         double height_pt, enum canvas_form form)
{
    struct canvas *canvas = canvas_new(form, width_pt, height_pt, 2.0);
    figure_trend_draw(trend, arena, canvas, (struct canvas_rect){0.0, 0.0, width_pt, height_pt});
    return finish(arena, canvas);
}

struct figure drawn_find(struct arena *arena, const struct figure_source *source,
                         enum figure_kind kind, const char *code)
{
    struct figure figures[FIGURES_MAX];
    const size_t count = figure_list(source, arena, figures);
    for (size_t i = 0; i < count; i++) {
        if (figures[i].kind == kind && (code == NULL || strcmp(figures[i].code, code) == 0)) {
            return figures[i];
        }
    }
    fail("there is no figure", figure_kind_name(kind));
}
