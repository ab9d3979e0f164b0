/* The CSV reader under libFuzzer: any bytes are read without harm, a refusal has its faults, and
 * what was read comes back from csv_write() bit for bit. */
#include "promise.h"

#include "formats/csv_read.h"
#include "formats/csv_write.h"
#include "formats/limits.h"

#include <math.h>
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

static bool same(double one, double other)
{
    uint64_t bits = 0;
    uint64_t other_bits = 0;

    memcpy(&bits, &one, sizeof bits);
    memcpy(&other_bits, &other, sizeof other_bits);
    return (isnan(one) && isnan(other)) || bits == other_bits;
}

static void check_channel(struct arena *arena, const struct document_channel *channel)
{
    const double *values = samples_all_values(&channel->samples, arena);

    promise(channel->signal < SIGNAL_COUNT && channel->unit != NULL, "known signal with a unit");
    promise(channel->rate_hz > 0.0 && channel->rate_hz <= LIMIT_RATE_HZ, "rate");
    promise(channel->start_s >= 0.0 && channel->start_s <= LIMIT_DURATION_S, "start");
    promise(channel->samples.count > 0, "samples");
    for (size_t i = 0; i < channel->samples.count; i++) {
        promise(isnan(values[i]) || fabs(values[i]) <= LIMIT_SAMPLE_MAGNITUDE, "value");
    }
}

static void check_same(struct arena *arena, const struct recording_document *one,
                       const struct recording_document *other)
{
    promise(one->channel_count == other->channel_count, "as many channels");
    promise(one->event_count == other->event_count, "as many events");
    for (size_t i = 0; i < one->channel_count; i++) {
        const struct document_channel *a = &one->channels[i];
        const struct document_channel *b = &other->channels[i];
        const double *values = samples_all_values(&a->samples, arena);
        const double *others = samples_all_values(&b->samples, arena);

        promise(a->signal == b->signal && strcmp(a->unit, b->unit) == 0, "signal and unit");
        promise(same(a->rate_hz, b->rate_hz) && same(a->start_s, b->start_s), "rate and start");
        promise(a->samples.count == b->samples.count, "count");
        for (size_t j = 0; j < a->samples.count; j++) {
            promise(same(values[j], others[j]), "sample");
        }
    }
    for (size_t i = 0; i < one->event_count; i++) {
        const struct document_event *a = &one->events[i];
        const struct document_event *b = &other->events[i];

        promise(!islessgreater(a->at_s, b->at_s) && strcmp(a->code, b->code) == 0, "event");
        promise(strcmp(a->note, b->note) == 0, "note");
        promise(a->value.known == b->value.known, "event with value");
        promise(!a->value.known || same(a->value.value, b->value.value), "event's value");
    }
}

static void check_written(struct arena *arena, const struct recording_document *document)
{
    struct recording_document again = {0};
    struct fault_list faults;
    struct text text;

    text_init(&text, arena, (size_t)64 << 20);
    csv_write(document->channels, document->channel_count, document->events, document->event_count,
              &text);
    promise(!text.overflowed, "the text fits");
    fault_list_init(&faults, arena);
    promise(csv_read(arena, text.data, text.length, &again, &faults) == CSV_READ_OK,
            faults.count > 0 ? faults.items[0].detail : "what was written is read");
    check_same(arena, document, &again);
}

int LLVMFuzzerTestOneInput(const uint8_t *bytes, size_t size)
{
    struct arena *arena = arena_new();
    struct recording_document document = {0};
    struct fault_list faults;
    /* A block of its own length, so that reading past it is seen. */
    char *body = malloc(size + (size == 0 ? 1 : 0));

    if (body == NULL) {
        abort();
    }
    memcpy(body, bytes, size);
    fault_list_init(&faults, arena);
    if (csv_read(arena, body, size, &document, &faults) == CSV_READ_OK) {
        promise(faults.count == 0 && document.channel_count > 0, "sound without faults");
        for (size_t i = 0; i < document.channel_count; i++) {
            check_channel(arena, &document.channels[i]);
        }
        check_written(arena, &document);
    } else {
        promise(faults.count > 0 && document.channel_count == 0, "a refusal has its faults");
    }
    free(body);
    arena_free(arena);
    return 0;
}
