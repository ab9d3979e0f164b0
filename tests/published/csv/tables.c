/* For check.py: "write SEED" prints a table as CSV beside its numbers, "read" the numbers of the
 * CSV on standard input; both as JSON. */
#include "formats/csv_read.h"
#include "formats/csv_write.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum { CHANNELS = 4, SAMPLES = 400, EVENTS = 3, INPUT_MAX = 100000 };

static const size_t text_limit = (size_t)1 << 22;

static void append_channel(struct text *out, struct arena *arena,
                           const struct document_channel *channel)
{
    const double *values = samples_all_values(&channel->samples, arena);

    text_printf(out, "{\"heading\":\"%s [%s]\",\"rate_hz\":%.17g,\"start_s\":%.17g,\"samples\":[",
                signal_name(channel->signal), channel->unit, channel->rate_hz, channel->start_s);
    for (size_t i = 0; i < channel->samples.count; i++) {
        text_append(out, i == 0 ? "" : ",");
        if (isnan(values[i])) {
            text_append(out, "null");
        } else {
            text_printf(out, "%.17g", values[i]);
        }
    }
    text_append(out, "]}");
}

static void append_numbers(struct text *out, struct arena *arena,
                           const struct recording_document *document)
{
    text_append(out, "\"channels\":[");
    for (size_t i = 0; i < document->channel_count; i++) {
        text_append(out, i == 0 ? "" : ",");
        append_channel(out, arena, &document->channels[i]);
    }
    text_append(out, "],\"events\":");
    events_json_write(document->events, document->event_count, out);
}

static double noise(uint64_t *state)
{
    *state = *state * 6364136223846793005u + 1442695040888963407u;
    return (double)(*state >> 33) / 1073741824.0 - 1.0;
}

static void make_channels(struct arena *arena, uint64_t seed, struct document_channel *channels)
{
    static const double rates_hz[] = {10.0, 30.0, 12.5, 1000.0 / 33.0, 8.0, 7.3};
    bool is_one_grid = seed % 2 == 0;

    for (size_t i = 0; i < CHANNELS; i++) {
        size_t kind = is_one_grid ? seed : seed + i;
        double *values = arena_array(arena, SAMPLES, sizeof *values);
        uint64_t state = seed * CHANNELS + i;

        for (size_t j = 0; j < SAMPLES; j++) {
            double value = 100.0 * noise(&state);

            values[j] = noise(&state) > 0.9 ? (double)NAN
                        : i % 2 == 0        ? rint(value * 10.0) / 10.0
                                            : value / 3.0;
        }
        channels[i] = (struct document_channel){.signal = (enum signal_kind)i,
                                                .rate_hz = rates_hz[kind % 6],
                                                .start_s = kind % 3 == 0 ? 2.5 : 0.0};
        channels[i].unit = signal_unit(channels[i].signal);
        samples_from_values(values, is_one_grid ? SAMPLES : SAMPLES - 31 * i, arena,
                            &channels[i].samples);
    }
}

static void print_written(struct arena *arena, uint64_t seed, struct text *out)
{
    static struct document_event events[EVENTS] = {
        {.at_s = 2.5, .code = "cough", .note = ""},
        {.at_s = 3.21987, .code = "comment", .note = "says \"full\", then\nwaits"},
        {.at_s = 3.21987, .code = "balloon", .note = "", .value = {true, 40.25}},
    };
    struct document_channel channels[CHANNELS];
    const struct recording_document document = {
        .channel_count = CHANNELS, .channels = channels, .event_count = EVENTS, .events = events};
    struct text csv;

    make_channels(arena, seed, channels);
    text_init(&csv, arena, text_limit);
    csv_write(channels, CHANNELS, events, EVENTS, &csv);
    text_append(out, "{\"csv\":");
    text_append_json_string(out, csv.data);
    text_append_char(out, ',');
    append_numbers(out, arena, &document);
    text_append(out, "}\n");
}

static bool print_read(struct arena *arena, struct text *out)
{
    char *body = arena_alloc(arena, INPUT_MAX);
    size_t length = fread(body, 1, INPUT_MAX, stdin);
    struct recording_document document = {0};
    struct fault_list faults;

    fault_list_init(&faults, arena);
    if (csv_read(arena, body, length, &document, &faults) != CSV_READ_OK) {
        fprintf(stderr, "%s: %s\n", faults.items[0].pointer, faults.items[0].detail);
        return false;
    }
    text_append_char(out, '{');
    append_numbers(out, arena, &document);
    text_append(out, "}\n");
    return true;
}

int main(int count, char **words)
{
    struct arena *arena = arena_new();
    struct text out;
    bool is_done = true;

    text_init(&out, arena, text_limit);
    if (count == 3 && strcmp(words[1], "write") == 0) {
        print_written(arena, strtoull(words[2], NULL, 10), &out);
    } else {
        is_done = print_read(arena, &out);
    }
    fputs(out.data, stdout);
    is_done = is_done && !out.overflowed;
    arena_free(arena);
    return is_done ? EXIT_SUCCESS : EXIT_FAILURE;
}
