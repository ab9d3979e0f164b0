/* Every signal over one time axis. */
#include "figure/event_track.h"
#include "figure/figure_parts.h"
#include "figure/figure_style.h"
#include "figure/found_rows.h"
#include "figure/numbers.h"
#include "figure/trace_line.h"

#include "formats/display.h"

#include <math.h>
#include <string.h>

static const double GUTTER_PT = 62.0;
static const double RIGHT_PT = 10.0;
static const double STRIP_GAP_PT = 5.0;
static const double STRIP_PT = 62.0; /* height that suits one strip */
static const double STRIP_PT_LEAST = 24.0;
static const double TICK_SPACE_PT = 6.5;     /* between numbers, or one stands in the other */
static const double TICKS_LEAST = 3.0;       /* or a low strip's scale would show nothing but 0 */
static const double STRIPS_PT_LEAST = 130.0; /* of few strips together */
static const double HEAD_PT = 90.0;
static const double HATCH_PT = 4.0;
static const double RANGE_MARGIN = 0.05; /* of a strip's scale, above and below what it holds */
static const double HEIGHT_PT_MOST = 640.0;

/* The voiding is enlarged by itself when it is a smaller part of the recording than this. */
static const double VOIDING_SHARE_MOST = 0.6;

enum { CLOCK_BYTES_MAX = 64, WORDS_BYTES_MAX = 256 };

/* A number of the document that is a point of a trace. */
struct measured_point {
    enum signal_kind signal;
    const char *section;
    const char *code;
    const char *label;
    enum canvas_marker marker;
};

static const struct measured_point measured[] = {
    {SIGNAL_FLOW, "uroflow", "qmax", "Qmax", CANVAS_MARKER_DISC},
    {SIGNAL_FLOW, "voiding", "qmax", "Qmax", CANVAS_MARKER_DISC},
    {SIGNAL_PDET, "voiding", "pdet_qmax", "pdetQmax", CANVAS_MARKER_DISC},
    {SIGNAL_PDET, "voiding", "opening_pressure", "opening pdet", CANVAS_MARKER_RING},
    {SIGNAL_PDET, "voiding", "pdet_max", "maximum pdet", CANVAS_MARKER_TRIANGLE},
    {SIGNAL_PDET, "voiding", "closing_pressure", "closing pdet", CANVAS_MARKER_SQUARE},
};

enum { MEASURED_COUNT = sizeof measured / sizeof measured[0] };

struct stack {
    size_t count;
    const struct traces_channel *channels[SIGNAL_COUNT]; /* from above */
};

static bool is_shown(const struct traces_channel *channel, struct figure_span span)
{
    double low = 0.0;
    double high = 0.0;
    return channel->count > 0 && trace_extremes(channel, span, &low, &high);
}

/* What stands still while a bladder is emptied. */
static bool is_of_filling(enum signal_kind signal)
{
    return signal == SIGNAL_VINF || signal == SIGNAL_PULLER;
}

/* The channels that have anything within the span, in their order. */
static struct stack stack_of(const struct figure_source *source, enum figure_kind kind,
                             struct figure_span span)
{
    const struct figure_traces *traces = trace_covering(source, span);
    struct stack stack = {.count = 0};
    for (size_t i = 0; traces != NULL && i < traces->channel_count; i++) {
        const struct traces_channel *channel = &traces->channels[i];
        const bool is_idle = kind == FIGURE_VOIDING && is_of_filling(channel->signal);
        if (is_idle || !is_shown(channel, span) || stack.count == SIGNAL_COUNT) {
            continue;
        }
        size_t at = stack.count++;
        for (; at > 0 && style_rank(stack.channels[at - 1]->signal) > style_rank(channel->signal);
             at--) {
            stack.channels[at] = stack.channels[at - 1];
        }
        stack.channels[at] = channel;
    }
    return stack;
}

/* ---- which there are ---- */

static double height_of(const struct stack *stack)
{
    return fmin(HEIGHT_PT_MOST, HEAD_PT + fmax(STRIPS_PT_LEAST, STRIP_PT * (double)stack->count));
}

size_t figure_traces_list(const struct figure_source *source, struct arena *arena,
                          struct figure *figures, size_t room)
{
    static const double MARGIN_SHARE = 0.15;
    static const double MARGIN_S = 5.0;
    const struct figure_span whole = {0.0, source->duration_s};
    const struct stack stack = stack_of(source, FIGURE_TRACES, whole);
    struct figure_span voiding;
    size_t count = 0;
    (void)arena;
    if (stack.count == 0 || !(source->duration_s > 0.0) || room < 2) {
        return 0;
    }
    figures[count++] = (struct figure){.kind = FIGURE_TRACES,
                                       .code = "",
                                       .caption = "Recorded signals",
                                       .span = whole,
                                       .width_pt = FIGURE_FULL_PT,
                                       .height_pt = height_of(&stack)};
    if (number_voiding(source, &voiding)) {
        const double margin = fmax(MARGIN_S, MARGIN_SHARE * (voiding.to_s - voiding.from_s));
        const struct figure_span near = {fmax(0.0, voiding.from_s - margin),
                                         fmin(source->duration_s, voiding.to_s + margin)};
        const struct stack enlarged = stack_of(source, FIGURE_VOIDING, near);
        if (near.to_s - near.from_s < VOIDING_SHARE_MOST * source->duration_s &&
            enlarged.count > 0) {
            figures[count++] = (struct figure){.kind = FIGURE_VOIDING,
                                               .code = "",
                                               .caption = "Voiding, enlarged",
                                               .span = near,
                                               .width_pt = FIGURE_FULL_PT,
                                               .height_pt = height_of(&enlarged)};
        }
    }
    return count;
}

/* ---- scales ---- */

static struct plot scale_of(const struct stack *stack, size_t index, struct figure_span span,
                            struct canvas_rect area, double *ret_step)
{
    const struct traces_channel *channel = stack->channels[index];
    const bool shares = style_shares_scale(channel->unit);
    double from = 0.0;
    double to = style_least_top(channel->unit);
    for (size_t i = 0; i < stack->count; i++) {
        const struct traces_channel *other = stack->channels[i];
        double low = 0.0;
        double high = 0.0;
        const bool counts = i == index || (shares && strcmp(other->unit, channel->unit) == 0);
        if (counts && trace_extremes(other, span, &low, &high)) {
            from = fmin(from, low);
            to = fmax(to, high);
        }
    }
    const double range = to > from ? to - from : 1.0;
    from -= from < 0.0 ? RANGE_MARGIN * range : 0.0;
    to = from + range * (1.0 + RANGE_MARGIN) + (from < 0.0 ? RANGE_MARGIN * range : 0.0);
    *ret_step = plot_step(to - from, fmax(TICKS_LEAST, plot_ticks_down(area.height)));
    return (struct plot){
        .area = area, .from_x = span.from_s, .to_x = span.to_s, .from_y = from, .to_y = to};
}

/* ---- a strip ---- */

static const char *short_text(struct arena *arena, double value, double step, bool is_clock)
{
    struct text text;
    text_init(&text, arena, CLOCK_BYTES_MAX);
    if (is_clock) {
        plot_append_clock(&text, value, step);
    } else {
        plot_append_tick(&text, value, step);
    }
    return text.data;
}

static void draw_strip_axes(const struct figure_paper *paper, const struct traces_channel *channel,
                            const struct plot *plot, double step, double time_step_s)
{
    const struct canvas_style ticks = style_text(STYLE_INK_SOFT, STYLE_SMALL_PT, false);
    const struct canvas_pen grid = style_pen(STYLE_GRID, 0.5);
    const struct canvas_pen frame = style_pen(STYLE_RULE, 0.6);
    const struct canvas_rect area = plot->area;
    for (size_t i = 0; i < plot_tick_count(plot->from_x, plot->to_x, time_step_s); i++) {
        const double x =
            plot_x(plot, plot_first_tick(plot->from_x, time_step_s) + time_step_s * (double)i);
        canvas_line(paper->canvas, (struct canvas_point){x, area.y},
                    (struct canvas_point){x, area.y + area.height}, &grid);
    }
    double last_top = area.y + area.height + STYLE_LINE_PT;
    for (size_t i = 0; i < plot_tick_count(plot->from_y, plot->to_y, step); i++) {
        const double value = plot_first_tick(plot->from_y, step) + step * (double)i;
        const double y = plot_y(plot, value);
        canvas_line(paper->canvas, (struct canvas_point){area.x, y},
                    (struct canvas_point){area.x + area.width, y}, &grid);
        /* Within the strip, so that neighbouring strips' labels stay apart. */
        const double top = fmin(fmax(y - STYLE_LINE_PT / 2.0, area.y - 1.0),
                                area.y + area.height - STYLE_LINE_PT + 1.0);
        if (last_top - top >= TICK_SPACE_PT) {
            (void)canvas_label(paper->canvas, (struct canvas_point){area.x - 3.0, top},
                               short_text(paper->arena, value, step, false), &ticks, CANVAS_END,
                               0.0);
            last_top = top;
        }
    }
    canvas_stroke_rect(paper->canvas, area, &frame);
    struct canvas_style symbol = style_text(STYLE_INK, STYLE_TEXT_PT + 1.0, true);
    symbol.colour = style_signal_colour(channel->signal);
    const double middle = area.y + area.height / 2.0;
    (void)canvas_label(paper->canvas, (struct canvas_point){paper->area.x, middle - 10.0},
                       display_signal_symbol(channel->signal), &symbol, CANVAS_START, 0.0);
    (void)canvas_label(paper->canvas, (struct canvas_point){paper->area.x, middle + 1.0},
                       display_unit(channel->unit), &ticks, CANVAS_START, 0.0);
}

/* Whether a finding of the document's quality is about a stretch of this signal. */
static bool is_doubt(const json_t *finding, enum signal_kind signal, const struct plot *plot)
{
    const char *name = json_string_value(json_object_get(finding, "signal"));
    const double from_s = number_member(finding, "from_s");
    const double to_s = number_member(finding, "to_s");
    return (name == NULL || signal_from_name(name) == signal) && to_s > from_s &&
           to_s > plot->from_x && from_s < plot->to_x;
}

static const json_t *quality_of(const struct figure_source *source)
{
    return json_object_get(source->analysis, "quality");
}

static void draw_doubts(const struct figure_paper *paper, enum signal_kind signal,
                        const struct plot *plot)
{
    const json_t *quality = quality_of(paper->source);
    for (size_t i = 0; i < json_array_size(quality); i++) {
        const json_t *finding = json_array_get(quality, i);
        if (is_doubt(finding, signal, plot)) {
            const double left = plot_x(plot, fmax(plot->from_x, number_member(finding, "from_s")));
            const double right = plot_x(plot, fmin(plot->to_x, number_member(finding, "to_s")));
            key_draw_hatch(paper->canvas, (struct canvas_rect){left, plot->area.y,
                                                               fmax(2.0, right - left), HATCH_PT});
        }
    }
}

static void draw_measured(const struct figure_paper *paper, enum signal_kind signal,
                          const struct plot *plot)
{
    for (size_t i = 0; i < MEASURED_COUNT; i++) {
        const struct number number =
            number_of(paper->source, measured[i].section, measured[i].code);
        if (measured[i].signal == signal && number.known &&
            plot_holds(plot, number.at_s, number.value)) {
            canvas_marker(paper->canvas, measured[i].marker,
                          plot_point(plot, number.at_s, number.value), STYLE_MARKER_PT,
                          style_colour(STYLE_INK));
        }
    }
}

static void draw_strip(const struct figure_paper *paper, const struct traces_channel *channel,
                       const struct plot *plot)
{
    const struct canvas_pen pen = {.colour = style_signal_colour(channel->signal), .width_pt = 0.8};
    struct canvas_point *points = NULL;
    const size_t count = trace_points(channel, plot, paper->arena, &points);
    draw_doubts(paper, channel->signal, plot);
    canvas_clip_begin(paper->canvas, plot->area);
    canvas_polyline(paper->canvas, points, count, &pen);
    canvas_clip_end(paper->canvas);
    draw_measured(paper, channel->signal, plot);
}

/* ---- the key ---- */

static bool is_measured_shown(const struct figure_paper *paper, const struct stack *stack,
                              size_t index, const struct number *number)
{
    bool has_signal = false;
    for (size_t i = 0; i < stack->count; i++) {
        has_signal = has_signal || stack->channels[i]->signal == measured[index].signal;
    }
    return has_signal && number->known && number->at_s >= paper->figure->span.from_s &&
           number->at_s <= paper->figure->span.to_s;
}

static void fill_key(const struct figure_paper *paper, const struct stack *stack, struct key *key)
{
    const struct plot whole = {.from_x = paper->figure->span.from_s,
                               .to_x = paper->figure->span.to_s};
    const json_t *quality = quality_of(paper->source);
    bool doubts = false;
    bool gaps = false;
    for (size_t i = 0; i < MEASURED_COUNT; i++) {
        const struct number number =
            number_of(paper->source, measured[i].section, measured[i].code);
        if (is_measured_shown(paper, stack, i, &number)) {
            struct text text;
            text_init(&text, paper->arena, WORDS_BYTES_MAX);
            text_printf(&text, "%s ", measured[i].label);
            number_append(&text, &number);
            key_marker(key, measured[i].marker, style_colour(STYLE_INK), text.data);
        }
    }
    for (size_t i = 0; i < stack->count; i++) {
        gaps = gaps || trace_has_gap(stack->channels[i], paper->figure->span);
        for (size_t j = 0; j < json_array_size(quality); j++) {
            doubts =
                doubts || is_doubt(json_array_get(quality, j), stack->channels[i]->signal, &whole);
        }
    }
    if (doubts) {
        key_hatch(key, "doubtful stretch");
    }
    if (gaps) {
        key_note(key, "Where a line is interrupted, samples are missing.");
    }
}

/* ---- the figure ---- */

static void draw_time_axis(const struct figure_paper *paper, const struct plot *plot, double step_s)
{
    const struct canvas_style ticks = style_text(STYLE_INK_SOFT, STYLE_TEXT_PT, false);
    const double bottom = plot->area.y + plot->area.height;
    for (size_t i = 0; i < plot_tick_count(plot->from_x, plot->to_x, step_s); i++) {
        const double at_s = plot_first_tick(plot->from_x, step_s) + step_s * (double)i;
        (void)canvas_label(paper->canvas, (struct canvas_point){plot_x(plot, at_s), bottom + 2.0},
                           short_text(paper->arena, at_s, step_s, true), &ticks, CANVAS_CENTRE,
                           0.0);
    }
    (void)canvas_label(paper->canvas, (struct canvas_point){paper->area.x, bottom + 2.0}, "min:s",
                       &ticks, CANVAS_START, 0.0);
}

static void draw_strips(const struct figure_paper *paper, const struct stack *stack,
                        struct canvas_rect area)
{
    const struct figure_span span = paper->figure->span;
    const double time_step_s =
        plot_time_step(span.to_s - span.from_s, plot_ticks_across(area.width));
    const double pitch = (area.height + STRIP_GAP_PT) / (double)stack->count;
    struct plot plots[SIGNAL_COUNT];
    for (size_t i = 0; i < stack->count; i++) {
        const struct canvas_rect strip = {area.x, area.y + pitch * (double)i, area.width,
                                          fmax(1.0, pitch - STRIP_GAP_PT)};
        double step = 1.0;
        plots[i] = scale_of(stack, i, span, strip, &step);
        draw_strip_axes(paper, stack->channels[i], &plots[i], step, time_step_s);
    }
    for (size_t i = 0; i < stack->count; i++) {
        draw_strip(paper, stack->channels[i], &plots[i]);
    }
    draw_time_axis(paper, &plots[stack->count - 1], time_step_s);
}

void figure_traces_draw(const struct figure_paper *paper)
{
    const struct stack stack = stack_of(paper->source, paper->figure->kind, paper->figure->span);
    struct key key = {.count = 0};
    fill_key(paper, &stack, &key);
    const struct canvas_rect area = figure_frame(paper, &key);
    if (stack.count == 0) {
        const struct canvas_style style = style_text(STYLE_INK, STYLE_TEXT_PT, false);
        (void)canvas_label(paper->canvas, (struct canvas_point){area.x, area.y},
                           "No samples were recorded in this span.", &style, CANVAS_START, 0.0);
        return;
    }
    struct plot axis = {
        .area = {area.x + GUTTER_PT, area.y, fmax(1.0, area.width - GUTTER_PT - RIGHT_PT), 1.0},
        .from_x = paper->figure->span.from_s,
        .to_x = paper->figure->span.to_s,
        .to_y = 1.0,
    };
    const struct event_track track =
        event_track_lay_out(paper->canvas, paper->source, &axis, paper->arena);
    const struct found_rows found = found_rows_of(paper->source, paper->figure->span, paper->arena);
    const double top = area.y + track.height_pt + found_rows_height(&found) + 3.0;
    const double bottom = fmax(top + STRIP_PT_LEAST, area.y + area.height - STYLE_LINE_PT - 4.0);
    const struct canvas_rect strips = {axis.area.x, top, axis.area.width, bottom - top};
    /* Marks below the traces, labels above everything. */
    event_track_draw(paper->canvas, &track, area.y, bottom);
    found_rows_draw(paper->canvas, &found, &axis, area.y + track.height_pt, axis.area.x - 3.0);
    draw_strips(paper, &stack, strips);
}

/* ---- in words ---- */

static void tell_channel(const struct traces_channel *channel, struct figure_span span,
                         struct text *out)
{
    const double step = style_unit_step(channel->unit);
    const char *unit = display_unit(channel->unit);
    double low = 0.0;
    double high = 0.0;
    if (!trace_extremes(channel, span, &low, &high)) {
        return;
    }
    text_printf(out, " %s from ", display_signal_name(channel->signal));
    display_rounded(out, step, low);
    text_append(out, " to ");
    display_rounded(out, step, high);
    text_printf(out, "%s%s%s.", unit[0] == '\0' ? "" : "\u00a0", unit,
                trace_has_gap(channel, span) ? ", with missing samples" : "");
}

static void tell_events(const struct figure_source *source, struct figure_span span,
                        struct text *out)
{
    bool any = false;
    for (size_t i = 0; i < source->event_count; i++) {
        const struct document_event *event = &source->events[i];
        if (event->at_s < span.from_s || event->at_s > span.to_s) {
            continue;
        }
        text_append(out, any ? "; " : " Events: ");
        plot_append_clock(out, event->at_s, 1.0);
        text_append_char(out, ' ');
        display_event(out, event);
        any = true;
    }
    text_append(out, any ? "." : "");
}

void figure_traces_tell(const struct figure_source *source, const struct figure *figure,
                        struct text *out)
{
    const struct stack stack = stack_of(source, figure->kind, figure->span);
    const struct found_rows found = found_rows_of(source, figure->span, out->arena);
    text_append(out, "Signals over time, from ");
    plot_append_clock(out, figure->span.from_s, 1.0);
    text_append(out, " to ");
    plot_append_clock(out, figure->span.to_s, 1.0);
    text_append(out, " (min:s).");
    for (size_t i = 0; i < stack.count; i++) {
        tell_channel(stack.channels[i], figure->span, out);
    }
    tell_events(source, figure->span, out);
    found_rows_tell(&found, out);
    for (size_t i = 0; i < MEASURED_COUNT; i++) {
        const struct number number = number_of(source, measured[i].section, measured[i].code);
        if (number.known && number.at_s >= figure->span.from_s &&
            number.at_s <= figure->span.to_s) {
            text_printf(out, " %s ", measured[i].label);
            number_append(out, &number);
            text_append(out, " at ");
            plot_append_clock(out, number.at_s, 1.0);
            text_append_char(out, '.');
        }
    }
}
