#include "formats/csv_write.h"

#include "base/number.h"
#include "formats/decimal.h"
#include "formats/event_text.h"
#include "formats/time_column.h"

#include <math.h>
#include <string.h>

enum { PORTION = 512 };

/* Where one channel stands while rows are made of all of them. */
struct cursor {
    const struct document_channel *channel;
    struct time_grid grid;
    size_t next; /* sample */
    bool is_due; /* the present row holds its sample next - 1 */
    double values[PORTION];
};

/* The rows of a table, one after the other. */
struct rows {
    size_t channel_count;
    struct cursor *cursors;
    size_t event_count;
    const struct document_event *events;
    size_t next_event;
    double at_s;        /* the present row */
    size_t first_event; /* its events end at next_event */
};

static struct rows rows_begin(struct arena *arena, const struct document_channel *channels,
                              size_t channel_count, const struct document_event *events,
                              size_t event_count)
{
    struct cursor *cursors = arena_array(arena, channel_count, sizeof *cursors);
    for (size_t i = 0; i < channel_count; i++) {
        cursors[i].channel = &channels[i];
        cursors[i].grid =
            (struct time_grid){.rate_hz = channels[i].rate_hz, .start_s = channels[i].start_s};
    }
    return (struct rows){.channel_count = channel_count,
                         .cursors = cursors,
                         .event_count = event_count,
                         .events = events};
}

/* The time of the earliest sample that no row holds yet. */
static double next_sample_s(const struct rows *rows)
{
    double earliest_s = (double)INFINITY;
    for (size_t i = 0; i < rows->channel_count; i++) {
        const struct cursor *cursor = &rows->cursors[i];
        if (cursor->next < cursor->channel->samples.count) {
            earliest_s = fmin(earliest_s, time_grid_at(&cursor->grid, cursor->next));
        }
    }
    return earliest_s;
}

/* Goes on to the next row: samples of one instant, events of exactly that time, or an event alone.
 * False after the last. */
static bool rows_next(struct rows *rows)
{
    double sample_s = next_sample_s(rows);
    rows->at_s = sample_s;
    if (rows->next_event < rows->event_count) {
        rows->at_s = fmin(sample_s, rows->events[rows->next_event].at_s);
    }
    bool holds_samples = rows->at_s >= sample_s;
    for (size_t i = 0; i < rows->channel_count; i++) {
        struct cursor *cursor = &rows->cursors[i];
        cursor->is_due =
            holds_samples && cursor->next < cursor->channel->samples.count &&
            time_grid_at(&cursor->grid, cursor->next) <= rows->at_s + TIME_COLUMN_SAME_S;
        cursor->next += cursor->is_due ? 1 : 0;
    }
    rows->first_event = rows->next_event;
    while (rows->next_event < rows->event_count &&
           rows->events[rows->next_event].at_s <= rows->at_s) {
        rows->next_event++;
    }
    return isfinite(rows->at_s);
}

/* The sample that is due. */
static double cursor_value(struct cursor *cursor)
{
    size_t place = (cursor->next - 1) % PORTION;
    if (place == 0) {
        size_t left = cursor->channel->samples.count - (cursor->next - 1);
        samples_values(&cursor->channel->samples, cursor->next - 1, left < PORTION ? left : PORTION,
                       cursor->values);
    }
    return cursor->values[place];
}

/* ---- Whether the times alone say rate and start ---- */

static bool have_one_grid(const struct document_channel *channels, size_t count)
{
    for (size_t i = 1; i < count; i++) {
        if (islessgreater(channels[i].rate_hz, channels[0].rate_hz) ||
            islessgreater(channels[i].start_s, channels[0].start_s) ||
            channels[i].samples.count != channels[0].samples.count) {
            return false;
        }
    }
    return count > 0 && channels[0].samples.count > 1;
}

static bool holds_sample(struct rows *rows)
{
    bool found = false;
    for (size_t i = 0; i < rows->channel_count; i++) {
        struct cursor *cursor = &rows->cursors[i];
        found |= cursor->is_due && !isnan(cursor_value(cursor));
    }
    return found;
}

static uint8_t decimals_of(double value)
{
    char digits[NUMBER_TEXT_SIZE];
    int decimals = 0;
    size_t length = number_format(digits, value);
    return decimal_parse(digits, length, '.', &value, &decimals) && decimals < UINT8_MAX
               ? (uint8_t)decimals
               : UINT8_MAX;
}

/* How many samples a reader finds that takes the rows for one grid. */
static size_t count_taken(const struct time_column *times, const struct time_grid *grid)
{
    size_t count = 0;
    for (size_t row = 0; row < times->count; row++) {
        count += time_column_takes(times, row, time_grid_at(grid, count), times->is_loose[row]);
    }
    return count;
}

/* Reads the times as csv_read() will. `rows` is used up. */
static bool times_say_all(struct arena *arena, struct rows *rows)
{
    const struct document_channel *channel = rows->cursors[0].channel;
    size_t most = channel->samples.count + rows->event_count;
    double *times_s = arena_array(arena, most, sizeof *times_s);
    uint8_t *decimals = arena_array(arena, most, sizeof *decimals);
    uint8_t *is_loose = arena_array(arena, most, sizeof *is_loose);
    struct time_column times = {.times_s = times_s, .decimals = decimals, .is_loose = is_loose};
    while (rows_next(rows)) {
        bool has_sample = holds_sample(rows);
        times_s[times.count] = rows->at_s;
        decimals[times.count] = decimals_of(rows->at_s);
        is_loose[times.count] = !has_sample && rows->next_event > rows->first_event ? 1 : 0;
        times.count++;
    }
    time_column_settle(&times);
    struct time_grid grid;
    size_t row = 0;
    return time_column_grid(&times, &grid, &row) &&
           !islessgreater(grid.rate_hz, channel->rate_hz) &&
           !islessgreater(grid.start_s, channel->start_s) &&
           count_taken(&times, &grid) == channel->samples.count;
}

/* ---- The text ---- */

static void append_header(const struct document_channel *channels, size_t count, bool is_plain,
                          bool has_events, struct text *out)
{
    text_append(out, "time_s");
    for (size_t i = 0; i < count; i++) {
        text_printf(out, ",%s [%s]", signal_name(channels[i].signal), channels[i].unit);
        if (!is_plain) {
            text_append(out, " @ ");
            text_append_number(out, channels[i].rate_hz);
            text_append(out, " Hz from ");
            text_append_number(out, channels[i].start_s);
            text_printf(out, " s for %zu samples", channels[i].samples.count);
        }
    }
    text_append(out, has_events ? ",events\r\n" : "\r\n");
}

/* A note within a cell's quotation marks. */
static void append_note(struct text *out, const char *note)
{
    for (; *note != '\0'; note++) {
        if (*note == '"') {
            text_append_char(out, '"');
        } else if (*note == '\\' || *note == '|') {
            text_append_char(out, '\\');
        }
        text_append_char(out, *note);
    }
}

static void append_events(const struct rows *rows, struct text *out)
{
    bool is_quoted = false;
    for (size_t i = rows->first_event; i < rows->next_event; i++) {
        is_quoted |= strpbrk(rows->events[i].note, ",\"\r\n") != NULL;
    }
    text_append(out, is_quoted ? "\"" : "");
    for (size_t i = rows->first_event; i < rows->next_event; i++) {
        const struct document_event *event = &rows->events[i];
        text_append(out, i > rows->first_event ? " | " : "");
        event_text_append(out, event);
        append_note(out, event->note);
    }
    text_append(out, is_quoted ? "\"" : "");
}

static void append_row(struct rows *rows, struct text *out)
{
    text_append_number(out, rows->at_s);
    for (size_t i = 0; i < rows->channel_count; i++) {
        struct cursor *cursor = &rows->cursors[i];
        double value = cursor->is_due ? cursor_value(cursor) : (double)NAN;
        text_append_char(out, ',');
        if (!isnan(value)) {
            text_append_number(out, value);
        }
    }
    if (rows->event_count > 0) {
        text_append_char(out, ',');
        append_events(rows, out);
    }
    text_append(out, "\r\n");
}

void csv_write(const struct document_channel *channels, size_t channel_count,
               const struct document_event *events, size_t event_count, struct text *out)
{
    bool is_plain = false;
    if (have_one_grid(channels, channel_count)) {
        struct rows rows = rows_begin(out->arena, channels, channel_count, events, event_count);
        is_plain = times_say_all(out->arena, &rows);
    }
    append_header(channels, channel_count, is_plain, event_count > 0, out);
    struct rows rows = rows_begin(out->arena, channels, channel_count, events, event_count);
    while (!out->overflowed && rows_next(&rows)) {
        append_row(&rows, out);
    }
}
