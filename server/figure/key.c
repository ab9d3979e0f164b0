#include "figure/key.h"

#include "figure/figure_style.h"

#include <math.h>

static const double SAMPLE_PT = 14.0;
static const double GAP_PT = 9.0;
static const double HATCH_PT = 4.0; /* height, and distance of its lines */

static void add(struct key *key, struct key_item item)
{
    if (key->count < KEY_ITEMS_MAX) {
        key->items[key->count++] = item;
    }
}

void key_marker(struct key *key, enum canvas_marker marker, struct canvas_colour colour,
                const char *words)
{
    add(key, (struct key_item){.sample = KEY_MARKER,
                               .marker = marker,
                               .pen = {.colour = colour, .width_pt = 1.0},
                               .words = words});
}

void key_line(struct key *key, struct canvas_pen pen, const char *words)
{
    add(key, (struct key_item){.sample = KEY_LINE, .pen = pen, .words = words});
}

void key_hatch(struct key *key, const char *words)
{
    add(key, (struct key_item){.sample = KEY_HATCH, .words = words});
}

void key_note(struct key *key, const char *words)
{
    add(key, (struct key_item){.sample = KEY_NOTE, .words = words});
}

void key_draw_hatch(struct canvas *canvas, struct canvas_rect bar)
{
    const struct canvas_pen pen = style_pen(STYLE_INK_SOFT, 0.5);
    canvas_fill_rect(canvas, bar, style_colour(STYLE_PAPER));
    canvas_clip_begin(canvas, bar);
    const int lines = (int)((bar.width + bar.height) / (HATCH_PT / 2.0)) + 1;
    for (int i = 0; i < lines; i++) {
        const double x = bar.x - bar.height + i * HATCH_PT / 2.0;
        canvas_line(canvas, (struct canvas_point){x, bar.y + bar.height},
                    (struct canvas_point){x + bar.height, bar.y}, &pen);
    }
    canvas_clip_end(canvas);
    canvas_stroke_rect(canvas, bar, &pen);
}

static void draw_sample(struct canvas *canvas, const struct key_item *item,
                        struct canvas_point middle)
{
    const double half = SAMPLE_PT / 2.0 - 2.0;
    if (item->sample == KEY_MARKER) {
        canvas_marker(canvas, item->marker, middle, STYLE_MARKER_PT, item->pen.colour);
    } else if (item->sample == KEY_LINE) {
        canvas_line(canvas, (struct canvas_point){middle.x - half, middle.y},
                    (struct canvas_point){middle.x + half, middle.y}, &item->pen);
    } else {
        key_draw_hatch(canvas, (struct canvas_rect){middle.x - half, middle.y - HATCH_PT / 2.0,
                                                    2.0 * half, HATCH_PT});
    }
}

static struct canvas_text text_of(const struct canvas_run *run, const struct key_item *item)
{
    const bool is_note = item->sample == KEY_NOTE;
    return (struct canvas_text){.runs = run,
                                .run_count = 1,
                                .style =
                                    style_text(is_note ? STYLE_INK_SOFT : STYLE_INK,
                                               is_note ? STYLE_SMALL_PT : STYLE_TEXT_PT, false)};
}

/* Lays the items out in lines, and draws them unless `measure_only`; returns the height. */
static double lay_out(struct canvas *canvas, const struct key *key, struct canvas_point at,
                      double width_pt, bool measure_only)
{
    double x = 0.0;
    double y = 0.0;
    for (size_t i = 0; i < key->count; i++) {
        const struct key_item *item = &key->items[i];
        const struct canvas_run run = {.words = item->words};
        struct canvas_text text = text_of(&run, item);
        const bool is_note = item->sample == KEY_NOTE;
        const double indent = is_note ? 0.0 : SAMPLE_PT;
        const double room = width_pt - indent;
        struct canvas_size size = canvas_text_size(canvas, &text);
        if (x > 0.0 && (is_note || x + indent + size.width > width_pt)) {
            x = 0.0;
            y += STYLE_LINE_PT;
        }
        if (size.width > room) {
            text.width_pt = room;
            size = canvas_text_size(canvas, &text);
        }
        if (!measure_only) {
            if (!is_note) {
                draw_sample(canvas, item,
                            (struct canvas_point){at.x + x + SAMPLE_PT / 2.0,
                                                  at.y + y + STYLE_LINE_PT / 2.0});
            }
            (void)canvas_draw_text(canvas, (struct canvas_point){at.x + x + indent, at.y + y},
                                   &text);
        }
        x += indent + size.width + GAP_PT;
        if (is_note || size.height > 1.5 * STYLE_LINE_PT) {
            x = 0.0;
            y += fmax(STYLE_LINE_PT, size.height);
        }
    }
    return x > 0.0 ? y + STYLE_LINE_PT : y;
}

double key_height(struct canvas *canvas, const struct key *key, double width_pt)
{
    return lay_out(canvas, key, (struct canvas_point){0.0, 0.0}, width_pt, true);
}

void key_draw(struct canvas *canvas, const struct key *key, struct canvas_point at, double width_pt)
{
    (void)lay_out(canvas, key, at, width_pt, false);
}
