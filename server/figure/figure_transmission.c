/* Pressure transmission at coughs by position along the functional length.
 *
 * Source: Constantinou CE, Govan DE. J Urol 1982;127:964-969. */
#include "figure/figure_parts.h"
#include "figure/figure_style.h"
#include "figure/numbers.h"
#include "figure/plot.h"

#include <math.h>

enum { COUGHS_MAX = 512, WORDS_BYTES_MAX = 1024 };

static const double FULL_PERCENT = 100.0;
static const double TOP_PERCENT = 110.0; /* the line of 100 % is not the chart's edge */

struct cough {
    size_t pull; /* from 1 */
    double position_percent;
    double ratio_percent;
};

struct coughs {
    size_t count;
    size_t unplaced; /* without a position */
    struct cough *items;
};

static struct coughs coughs_of(const struct figure_source *source, struct arena *arena)
{
    struct coughs coughs = {.items = arena_array(arena, COUGHS_MAX, sizeof *coughs.items)};
    for (size_t i = 0; i < number_entries(source, "profiles"); i++) {
        const json_t *list = number_list(source, "profiles", i, "transmission_ratios");
        for (size_t j = 0; j < json_array_size(list); j++) {
            const json_t *item = json_array_get(list, j);
            const struct cough cough = {i + 1, number_member(item, "position_percent"),
                                        number_member(item, "ratio_percent")};
            if (!isfinite(cough.ratio_percent) || !isfinite(cough.position_percent)) {
                coughs.unplaced++;
            } else if (coughs.count < COUGHS_MAX) {
                coughs.items[coughs.count++] = cough;
            }
        }
    }
    return coughs;
}

size_t figure_transmission_list(const struct figure_source *source, struct arena *arena,
                                struct figure *figures, size_t room)
{
    if (room < 1 || coughs_of(source, arena).count == 0) {
        return 0;
    }
    figures[0] = (struct figure){.kind = FIGURE_TRANSMISSION,
                                 .code = "",
                                 .caption = "Pressure transmission at coughs",
                                 .span = {0.0, source->duration_s},
                                 .width_pt = FIGURE_HALF_PT,
                                 .height_pt = FIGURE_HALF_HEIGHT_PT,
                                 .is_half = true};
    return 1;
}

static enum canvas_marker marker_of(size_t pull)
{
    static const enum canvas_marker MARKERS[] = {CANVAS_MARKER_DISC,     CANVAS_MARKER_RING,
                                                 CANVAS_MARKER_TRIANGLE, CANVAS_MARKER_SQUARE,
                                                 CANVAS_MARKER_DIAMOND,  CANVAS_MARKER_CROSS};

    return MARKERS[(pull - 1) % (sizeof MARKERS / sizeof MARKERS[0])];
}

static void fill_key(const struct figure_paper *paper, const struct coughs *coughs, struct key *key)
{
    for (size_t i = 0; i < coughs->count; i++) {
        const size_t pull = coughs->items[i].pull;
        if (i == 0 || pull != coughs->items[i - 1].pull) {
            key_marker(key, marker_of(pull), style_colour(STYLE_INK),
                       arena_printf(paper->arena, "pull %zu", pull));
        }
    }
    key_line(key, style_dashed_pen(STYLE_INK, 0.8, 3.0), "100 %");
    if (coughs->unplaced > 0) {
        key_note(key,
                 arena_printf(paper->arena, "Not shown, because their position is not known: %zu.",
                              coughs->unplaced));
    }
    key_note(key, "Constantinou CE, Govan DE. J Urol 1982;127:964-969.");
}

void figure_transmission_draw(const struct figure_paper *paper)
{
    const struct coughs coughs = coughs_of(paper->source, paper->arena);
    struct key key = {.count = 0};
    struct plot_axis x = {.label = "Position along the functional length (%)", .to = FULL_PERCENT};
    struct plot_axis y = {.label = "Transmission ratio (%)", .to = TOP_PERCENT};
    fill_key(paper, &coughs, &key);
    const struct canvas_rect area = figure_frame(paper, &key);
    for (size_t i = 0; i < coughs.count; i++) {
        x.from = fmin(x.from, coughs.items[i].position_percent);
        x.to = fmax(x.to, coughs.items[i].position_percent);
        y.from = fmin(y.from, coughs.items[i].ratio_percent);
        y.to = fmax(y.to, coughs.items[i].ratio_percent);
    }
    x.step = plot_widen(&x.from, &x.to, plot_ticks_across(area.width));
    y.step = plot_widen(&y.from, &y.to, plot_ticks_down(area.height));
    const struct plot plot = plot_draw_axes(paper->canvas, paper->arena, area, &x, &y);
    const struct canvas_pen full = style_dashed_pen(STYLE_INK, 0.8, 3.0);
    canvas_line(paper->canvas, plot_point(&plot, x.from, FULL_PERCENT),
                plot_point(&plot, x.to, FULL_PERCENT), &full);
    for (size_t i = 0; i < coughs.count; i++) {
        const struct cough *cough = &coughs.items[i];
        canvas_marker(paper->canvas, marker_of(cough->pull),
                      plot_point(&plot, cough->position_percent, cough->ratio_percent),
                      STYLE_MARKER_PT, style_colour(STYLE_INK));
    }
}

void figure_transmission_tell(const struct figure_source *source, const struct figure *figure,
                              struct text *out)
{
    const struct coughs coughs = coughs_of(source, out->arena);
    const struct number median = number_of(source, "profiles_summary", "transmission_ratio");
    (void)figure;
    text_append(out, "Pressure transmission ratio at coughs by position along the functional "
                     "length.");
    if (median.known) {
        text_append(out, " Median of all coughs: ");
        number_append(out, &median);
        text_append_char(out, '.');
    }
    for (size_t i = 0; i < coughs.count; i++) {
        text_printf(out, "%s %.0f\u00a0%% at %.0f\u00a0%% (pull %zu)", i > 0 ? ";" : "",
                    coughs.items[i].ratio_percent, coughs.items[i].position_percent,
                    coughs.items[i].pull);
    }
    text_append_char(out, '.');
}
