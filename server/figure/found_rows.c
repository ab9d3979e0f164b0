#include "figure/found_rows.h"

#include "figure/figure_style.h"
#include "figure/numbers.h"

#include <math.h>
#include <string.h>

static const double BAND_PT = 11.0;
static const double ROW_PT = 9.0;
static const double ROW_MARKER_PT = 5.5;

enum { TOLD_MOST = 12 }; /* moments of one kind that are told in words */

/* A list of the analysis document that has a row. Rows with one label are one row. */
struct found_kind {
    const char *section;
    const char *list;
    const char *from; /* members; NULL: a moment */
    const char *at;
    const char *to;
    const char *label; /* beside the row */
    const char *words; /* when it is told */
    enum canvas_marker marker;
};

static const struct found_kind kinds[] = {
    {"filling", "coughs", NULL, "at_s", NULL, "Coughs", "Coughs", CANVAS_MARKER_TRIANGLE},
    {"profiles", "transmission_ratios", NULL, "at_s", NULL, "Coughs", "Coughs",
     CANVAS_MARKER_TRIANGLE},
    {"filling", "strains", "start_s", "peak_s", "end_s", "Strains", "Strains",
     CANVAS_MARKER_DIAMOND},
    {"filling", "involuntary_contractions", "start_s", "peak_s", "end_s", "Contractions",
     "Involuntary detrusor contractions", CANVAS_MARKER_SQUARE},
    {"filling", "leaks", NULL, "at_s", NULL, "Leaks", "Leaks", CANVAS_MARKER_DISC},
    {"emg", "bursts", "start_s", NULL, "end_s", "EMG bursts", "EMG bursts", CANVAS_MARKER_CROSS},
    {"training", "contractions", "start_s", NULL, "end_s", "Contractions", "Contractions",
     CANVAS_MARKER_SQUARE},
    {"anorectal", "manoeuvres", "start_s", NULL, "end_s", "Manoeuvres", "Manoeuvres",
     CANVAS_MARKER_DIAMOND},
};

enum { KIND_COUNT = sizeof kinds / sizeof kinds[0] };

static struct found_item item_of(const struct found_kind *kind, const json_t *object)
{
    struct found_item item = {.at_s = (double)NAN};
    if (kind->at != NULL) {
        item.at_s = number_member(object, kind->at);
    }
    item.from_s = kind->from == NULL ? item.at_s : number_member(object, kind->from);
    item.to_s = kind->to == NULL ? item.at_s : number_member(object, kind->to);
    if (kind->at == NULL) {
        item.at_s = (item.from_s + item.to_s) / 2.0;
    }
    return item;
}

/* Appends the items of a kind that lie within the span. */
static size_t take(const struct figure_source *source, const struct found_kind *kind,
                   struct figure_span span, struct found_item *items)
{
    const size_t entries = number_entries(source, kind->section);
    size_t count = 0;
    for (size_t entry = 0; entry < (entries > 0 ? entries : 1); entry++) {
        const json_t *list = number_list(source, kind->section, entry, kind->list);
        for (size_t i = 0; i < json_array_size(list); i++) {
            const struct found_item item = item_of(kind, json_array_get(list, i));
            if (item.to_s >= span.from_s && item.from_s <= span.to_s) {
                items[count++] = item;
            }
        }
    }
    return count;
}

static size_t most_of(const struct figure_source *source, const struct found_kind *kind)
{
    const size_t entries = number_entries(source, kind->section);
    size_t most = 0;
    for (size_t entry = 0; entry < (entries > 0 ? entries : 1); entry++) {
        most += json_array_size(number_list(source, kind->section, entry, kind->list));
    }
    return most;
}

static void add_band(struct found_rows *found, struct figure_span span, const char *label,
                     double from_s, double to_s)
{
    if (found->band_count < FOUND_BANDS_MAX && to_s > span.from_s && from_s < span.to_s &&
        to_s > from_s) {
        found->bands[found->band_count++] =
            (struct found_band){label, fmax(from_s, span.from_s), fmin(to_s, span.to_s)};
    }
}

/* The first event with a code at or after a moment; NaN without one. */
static double event_s(const struct figure_source *source, enum event_code code, double after_s)
{
    for (size_t i = 0; i < source->event_count; i++) {
        if (source->events[i].at_s >= after_s &&
            event_code_from_name(source->events[i].code) == code) {
            return source->events[i].at_s;
        }
    }
    return (double)NAN;
}

/* From its start marker to whichever comes first: its stop marker or permission to void. */
static void add_filling(const struct figure_source *source, struct figure_span span,
                        struct found_rows *found)
{
    const double from_s = event_s(source, EVENT_FILLING_START, 0.0);
    const double stop_s = event_s(source, EVENT_FILLING_STOP, from_s);
    const double permission_s = event_s(source, EVENT_PERMISSION_TO_VOID, from_s);
    const double to_s = fmin(stop_s, permission_s); /* of a number and NaN: the number */
    if (source->type != RECORDING_ANORECTAL_MANOMETRY && isfinite(from_s) && isfinite(to_s)) {
        add_band(found, span, "Filling", from_s, to_s);
    }
}

static void add_pulls(const struct figure_source *source, struct figure_span span,
                      struct arena *arena, struct found_rows *found)
{
    for (size_t i = 0; i < number_entries(source, "profiles"); i++) {
        const struct number start = number_of_entry(source, "profiles", i, "start_s");
        const struct number end = number_of_entry(source, "profiles", i, "end_s");
        const bool stress =
            strcmp(number_word_of_entry(source, "profiles", i, "kind"), "stress") == 0;
        if (start.known && end.known) {
            add_band(found, span,
                     arena_printf(arena, "Pull %zu%s", i + 1, stress ? ", stress" : ""),
                     start.value, end.value);
        }
    }
}

struct found_rows found_rows_of(const struct figure_source *source, struct figure_span span,
                                struct arena *arena)
{
    struct found_rows found = {0};
    struct figure_span voiding;
    add_filling(source, span, &found);
    add_pulls(source, span, arena, &found);
    if (number_voiding(source, &voiding)) {
        add_band(&found, span, "Voiding", voiding.from_s, voiding.to_s);
    }
    for (size_t i = 0; i < KIND_COUNT; i++) {
        struct found_item *items = arena_array(arena, most_of(source, &kinds[i]), sizeof *items);
        const size_t count = take(source, &kinds[i], span, items);
        if (count > 0 && found.row_count < FOUND_ROWS_MAX) {
            found.rows[found.row_count++] = (struct found_row){.label = kinds[i].label,
                                                               .words = kinds[i].words,
                                                               .marker = kinds[i].marker,
                                                               .count = count,
                                                               .items = items};
        }
    }
    return found;
}

double found_rows_height(const struct found_rows *found)
{
    return (found->band_count > 0 ? BAND_PT + 2.0 : 0.0) + ROW_PT * (double)found->row_count;
}

static double text_width(struct canvas *canvas, const char *words, const struct canvas_style *style)
{
    const struct canvas_run run = {.words = words};
    const struct canvas_text text = {.runs = &run, .run_count = 1, .style = *style};
    return canvas_text_size(canvas, &text).width;
}

/* The name within the band, or beside it where the next band leaves room; else not at all. */
static void draw_band(struct canvas *canvas, const struct found_rows *found, size_t index,
                      const struct plot *plot, double top)
{
    struct canvas_style style = style_text(STYLE_INK, STYLE_TEXT_PT, false);
    const struct canvas_pen edge = style_pen(STYLE_RULE, 0.6);
    const struct found_band *band = &found->bands[index];
    const double left = plot_x(plot, band->from_s);
    const double right = plot_x(plot, band->to_s);
    const struct canvas_rect rect = {left, top, right - left, BAND_PT};
    if (text_width(canvas, band->label, &style) + 4.0 > rect.width) {
        style.size_pt = STYLE_SMALL_PT;
    }
    const double width = text_width(canvas, band->label, &style);
    const double next = index + 1 < found->band_count ? plot_x(plot, found->bands[index + 1].from_s)
                                                      : plot->area.x + plot->area.width;
    canvas_fill_rect(canvas, rect, style_colour(STYLE_BAND));
    canvas_stroke_rect(canvas, rect, &edge);
    if (width + 2.0 <= rect.width) {
        (void)canvas_label(canvas, (struct canvas_point){left + rect.width / 2.0, top + 0.5},
                           band->label, &style, CANVAS_CENTRE, 0.0);
    } else if (right + width + 4.0 <= next) {
        (void)canvas_label(canvas, (struct canvas_point){right + 2.0, top + 0.5}, band->label,
                           &style, CANVAS_START, 0.0);
    }
}

static void draw_row(struct canvas *canvas, const struct found_row *row, const struct plot *plot,
                     double top, double label_right)
{
    const struct canvas_style style = style_text(STYLE_INK_SOFT, STYLE_SMALL_PT, false);
    const struct canvas_pen pen = style_pen(STYLE_INK, 0.9);
    const struct canvas_colour ink = style_colour(STYLE_INK);
    const double middle = top + ROW_PT / 2.0;
    (void)canvas_label(canvas, (struct canvas_point){label_right - 8.0, top}, row->label, &style,
                       CANVAS_END, 0.0);
    canvas_marker(canvas, row->marker, (struct canvas_point){label_right - 3.5, middle},
                  ROW_MARKER_PT, ink);
    for (size_t i = 0; i < row->count; i++) {
        const double from = fmax(plot_x(plot, row->items[i].from_s), plot->area.x);
        const double to = fmin(plot_x(plot, row->items[i].to_s), plot->area.x + plot->area.width);
        const double at = fmin(fmax(plot_x(plot, row->items[i].at_s), from), to);
        canvas_line(canvas, (struct canvas_point){from, middle}, (struct canvas_point){to, middle},
                    &pen);
        canvas_marker(canvas, row->marker, (struct canvas_point){at, middle}, ROW_MARKER_PT, ink);
    }
}

void found_rows_draw(struct canvas *canvas, const struct found_rows *found, const struct plot *plot,
                     double top, double label_right)
{
    double y = top;
    for (size_t i = 0; i < found->band_count; i++) {
        draw_band(canvas, found, i, plot, y);
    }
    y += found->band_count > 0 ? BAND_PT + 2.0 : 0.0;
    for (size_t i = 0; i < found->row_count; i++) {
        draw_row(canvas, &found->rows[i], plot, y, label_right);
        y += ROW_PT;
    }
}

void found_rows_tell(const struct found_rows *found, struct text *out)
{
    for (size_t i = 0; i < found->band_count; i++) {
        text_printf(out, " %s from ", found->bands[i].label);
        plot_append_clock(out, found->bands[i].from_s, 1.0);
        text_append(out, " to ");
        plot_append_clock(out, found->bands[i].to_s, 1.0);
        text_append_char(out, '.');
    }
    for (size_t i = 0; i < found->row_count; i++) {
        const struct found_row *row = &found->rows[i];
        text_printf(out, " %s: %zu, at ", row->words, row->count);
        for (size_t j = 0; j < row->count && j < TOLD_MOST; j++) {
            text_append(out, j > 0 ? ", " : "");
            plot_append_clock(out, row->items[j].at_s, 1.0);
        }
        text_append(out, row->count > TOLD_MOST ? " and later." : ".");
    }
}
