#include "figure/event_track.h"

#include "figure/figure_style.h"
#include "formats/display.h"

#include <math.h>
#include <string.h>

enum { LANES_FULL = 4, LANES_MOST = 8, LABEL_BYTES_MAX = 4096 };

static const double GAP_PT = 4.0;
static const double LABEL_PT_MOST = 120.0;
static const double PADDING_PT = 1.5;

struct lanes {
    size_t count;
    double ends[LANES_MOST]; /* right end of the last label in each */
};

/* The first lane in which [left, right] is free, or -1. */
static int claim(struct lanes *lanes, double left, double right, size_t most)
{
    for (size_t i = 0; i < most; i++) {
        if (i >= lanes->count || lanes->ends[i] + GAP_PT <= left) {
            lanes->ends[i] = right;
            lanes->count = i >= lanes->count ? i + 1 : lanes->count;
            return (int)i;
        }
    }
    return -1;
}

/* "3 First desire"; a comment is what somebody wrote. */
static const char *label_words(const struct document_event *event, size_t number,
                               struct arena *arena, bool *ret_from_person)
{
    struct text text;
    text_init(&text, arena, LABEL_BYTES_MAX);
    text_printf(&text, "%zu ", number);
    *ret_from_person = event_code_from_name(event->code) == EVENT_COMMENT && event->note != NULL &&
                       event->note[0] != '\0';
    if (*ret_from_person) {
        text_append(&text, event->note);
    } else {
        display_event(&text, event);
    }
    return text.data;
}

static struct canvas_text text_of(const struct canvas_run *run)
{
    return (struct canvas_text){.runs = run,
                                .run_count = 1,
                                .style = style_text(STYLE_EVENT, STYLE_TEXT_PT, false),
                                .lines_most = 1};
}

static double width_of(struct canvas *canvas, const char *words)
{
    const struct canvas_run run = {.words = words};
    const struct canvas_text text = text_of(&run);
    return fmin(LABEL_PT_MOST, canvas_text_size(canvas, &text).width) + 2.0 * PADDING_PT;
}

/* Places a label of `width` in a lane, beginning at its mark as far as the edges allow. */
static bool place(struct event_label *label, double width, const struct plot *plot, size_t most,
                  struct lanes *lanes)
{
    const double right_edge = plot->area.x + plot->area.width;
    const double left = fmax(plot->area.x, fmin(label->x, right_edge - width));
    const int lane = claim(lanes, left, left + width, most);
    if (lane < 0) {
        return false;
    }
    label->has_label = true;
    label->rect = (struct canvas_rect){left, STYLE_LINE_PT * lane, width, STYLE_LINE_PT};
    return true;
}

static struct event_label lay_out_one(struct canvas *canvas, const struct figure_source *source,
                                      size_t index, const struct plot *plot, struct arena *arena,
                                      struct lanes *lanes)
{
    const struct document_event *event = &source->events[index];
    struct event_label label = {.event = index, .x = plot_x(plot, event->at_s)};
    label.words = label_words(event, index + 1, arena, &label.from_person);
    if (place(&label, width_of(canvas, label.words), plot, LANES_FULL, lanes)) {
        return label;
    }
    label.is_short = true;
    label.from_person = false;
    label.words = arena_printf(arena, "%zu", index + 1);
    (void)place(&label, width_of(canvas, label.words), plot, LANES_MOST, lanes);
    return label;
}

struct event_track event_track_lay_out(struct canvas *canvas, const struct figure_source *source,
                                       const struct plot *plot, struct arena *arena)
{
    struct lanes lanes = {.count = 0};
    struct event_track track = {.labels =
                                    arena_array(arena, source->event_count, sizeof *track.labels)};
    for (size_t i = 0; i < source->event_count; i++) {
        const double at_s = source->events[i].at_s;
        if (at_s < plot->from_x || at_s > plot->to_x) {
            continue;
        }
        const struct event_label label = lay_out_one(canvas, source, i, plot, arena, &lanes);
        track.unlabelled += label.has_label ? 0 : 1;
        track.labels[track.count++] = label;
    }
    track.height_pt = STYLE_LINE_PT * (double)lanes.count;
    return track;
}

void event_track_draw(struct canvas *canvas, const struct event_track *track, double top,
                      double bottom)
{
    const struct canvas_pen mark = style_dashed_pen(STYLE_EVENT, 0.6, 2.0);
    for (size_t i = 0; i < track->count; i++) {
        const struct event_label *label = &track->labels[i];
        const double from =
            label->has_label ? label->rect.y + label->rect.height : track->height_pt;
        canvas_line(canvas, (struct canvas_point){label->x, top + from},
                    (struct canvas_point){label->x, bottom}, &mark);
    }
    for (size_t i = 0; i < track->count; i++) {
        const struct event_label *label = &track->labels[i];
        if (!label->has_label) {
            continue;
        }
        /* Marks of labels in lanes above pass behind this one. */
        const struct canvas_rect ground = {label->rect.x, top + label->rect.y, label->rect.width,
                                           label->rect.height};
        const struct canvas_run run = {.words = label->words, .from_person = label->from_person};
        struct canvas_text text = text_of(&run);
        text.width_pt = label->rect.width - PADDING_PT;
        canvas_fill_rect(canvas, ground, style_colour(STYLE_PAPER));
        (void)canvas_draw_text(canvas, (struct canvas_point){ground.x + PADDING_PT, ground.y},
                               &text);
        const struct canvas_pen edge = style_pen(STYLE_EVENT, 0.6);
        canvas_line(canvas, (struct canvas_point){ground.x, ground.y + 1.0},
                    (struct canvas_point){ground.x, ground.y + ground.height}, &edge);
    }
}
