/* The EDF reader and writer under libFuzzer: whatever the bytes, the reader gives one of its
 * outcomes, with faults exactly when it refuses; what it accepts keeps the promises of samples.h
 * and limits.h, and comes back the same when it is written and read again.
 *
 * The first byte says how the rest is read. A header has to agree with the length of its file; so
 * that the fuzzer need not find that out each time, one bit has the counts put right. */
#include "promise.h"

#include "analysis/units.h"
#include "formats/edf_header.h"
#include "formats/edf_read.h"
#include "formats/edf_write.h"
#include "formats/limits.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum {
    FILE_MAX = 1 << 16,
    BIT_REPAIR = 1,
    BIT_START = 2,
    BIT_OFFSET = 4,
    BIT_LABELS = 8,
    ROWS_MAX = 16
};

/* ---- counts put right ---- */

static long number_at(const uint8_t *field, size_t width)
{
    char text[16] = "";
    memcpy(text, field, width);
    return strtol(text, NULL, 10);
}

static void put_number(uint8_t *field, int width, long number)
{
    char text[16];
    (void)snprintf(text, sizeof text, "%-*ld", width, number);
    memcpy(field, text, (size_t)width);
}

/* Makes the header agree with the length; returns the length that it then has. */
static size_t repair(uint8_t *file, size_t length)
{
    if (length < 512) {
        return length;
    }
    long rows = number_at(file + 252, 4);
    long most = (long)(length / 256) - 1;
    rows = rows < 1 || rows > ROWS_MAX ? 1 : rows;
    rows = rows > most ? most : rows;
    size_t header = 256 * ((size_t)rows + 1);
    size_t record = 0;
    put_number(file + 184, 8, (long)header);
    put_number(file + 252, 4, rows);
    for (size_t i = 0; i < (size_t)rows; i++) {
        uint8_t *field = file + edf_field_offset(EDF_SAMPLES_PER_RECORD, i, (size_t)rows);
        long samples = number_at(field, 8);
        if (samples < 1 || samples > 200) {
            samples = 1;
            put_number(field, 8, samples);
        }
        record += 2 * (size_t)samples;
    }
    size_t records = record == 0 ? 0 : (length - header) / record;
    put_number(file + 236, 8, (long)records);
    return header + records * record;
}

/* ---- promises ---- */

static void check_channel(const struct document_channel *channel, const struct edf_report *report)
{
    const struct samples *samples = &channel->samples;
    double factor = 0.0;
    size_t missing = 0;
    promise(channel->rate_hz > 0.0 && channel->rate_hz <= LIMIT_RATE_HZ, "rate");
    promise(units_factor(channel->unit, signal_unit(channel->signal), &factor), "unit");
    promise(samples->count > 0 && samples->count <= LIMIT_CHANNEL_SAMPLES, "count");
    promise((double)samples->count / channel->rate_hz <= LIMIT_DURATION_S * (1.0 + 1e-9),
            "duration");
    promise(isfinite(samples->scale) && fabs(samples->scale) > 0.0, "scale");
    promise(samples->encoding == SAMPLES_INT16 || samples->encoding == SAMPLES_INT32, "encoding");
    for (size_t i = 0; i < samples->count; i++) {
        double value = 0.0;
        samples_values(samples, i, 1, &value);
        missing += isnan(value) ? 1 : 0;
        promise(isnan(value) || fabs(value) <= LIMIT_SAMPLE_MAGNITUDE * (1.0 + 1e-6), "magnitude");
    }
    promise(missing == samples->missing, "missing");
    for (size_t i = 0; i < report->signal_count; i++) {
        const struct edf_report_signal *row = &report->signals[i];
        if (row->is_wanted && row->signal == channel->signal) {
            promise(row->sample_count == samples->count, "reported count");
            promise(row->out_of_range + row->in_gaps == samples->missing, "reported missing");
        }
    }
}

static void check_document(const struct recording_document *document,
                           const struct edf_report *report)
{
    size_t total = 0;
    promise(document->channel_count > 0 && document->channel_count <= LIMIT_CHANNELS, "channels");
    for (size_t i = 0; i < document->channel_count; i++) {
        check_channel(&document->channels[i], report);
        total += document->channels[i].samples.count;
        for (size_t j = 0; j < i; j++) {
            promise(document->channels[i].signal != document->channels[j].signal, "signal once");
        }
    }
    promise(total <= LIMIT_RECORDING_SAMPLES, "total");
    promise(document->event_count <= LIMIT_EVENTS, "events");
    for (size_t i = 0; i < document->event_count; i++) {
        promise(document->events[i].at_s >= 0.0, "event time");
        promise(i == 0 || document->events[i - 1].at_s <= document->events[i].at_s, "event order");
        promise(strlen(document->events[i].note) <= LIMIT_NOTE_BYTES, "note");
    }
}

static void check_same_samples(const struct document_channel *one,
                               const struct document_channel *other,
                               const struct edf_written_channel *written)
{
    double tolerance = written->greatest_error * (1.0 + 1e-9) + 1e-6;
    promise(one->signal == other->signal && strcmp(one->unit, other->unit) == 0, "signal again");
    promise(!islessgreater(one->rate_hz, other->rate_hz), "rate again");
    promise(other->samples.count == one->samples.count + written->padded, "count again");
    promise(other->samples.missing == one->samples.missing + written->padded, "missing again");
    for (size_t i = 0; i < one->samples.count; i++) {
        double was = 0.0;
        double is = 0.0;
        samples_values(&one->samples, i, 1, &was);
        samples_values(&other->samples, i, 1, &is);
        promise(isnan(was) ? isnan(is) : fabs(is - was) <= tolerance, "value again");
    }
}

/* What was read is written and read once more. Rates may fit no record, and values no header. */
static void check_again(struct arena *arena, const struct recording_document *document)
{
    struct edf_file file;
    struct error error;
    struct fault_list faults;
    const struct recording_document *again = NULL;
    const struct edf_report *report = NULL;
    fault_list_init(&faults, arena);
    if (!edf_write(arena, document, 60, &file, &error)) {
        promise(error.kind == ERROR_INVALID, "error");
        return;
    }
    if ((double)file.record_count * file.record_duration_s > LIMIT_DURATION_S) {
        return; /* the last record goes beyond what is read */
    }
    const struct edf_options options = {
        .type = document->type, .has_utc_offset = true, .utc_offset_min = 60};
    enum edf_read_outcome outcome =
        edf_read(arena, file.bytes, file.length, &options, &again, &report, &faults);
    if (outcome != EDF_READ_OK) {
        fprintf(stderr, "%s: %s\n", faults.items[0].pointer, faults.items[0].detail);
    }
    promise(outcome == EDF_READ_OK, "what was written can be read");
    promise(again->started_at_us == document->started_at_us, "start again");
    promise(again->channel_count == document->channel_count, "channels again");
    for (size_t i = 0; i < document->channel_count; i++) {
        check_same_samples(&document->channels[i], &again->channels[i], &file.channels[i]);
    }
    promise(again->event_count == document->event_count, "events again");
    for (size_t i = 0; i < document->event_count; i++) {
        const struct document_event *was = &document->events[i];
        const struct document_event *is = &again->events[i];
        promise(!islessgreater(was->at_s, is->at_s), "event time again");
        promise(strcmp(was->code, is->code) == 0 && strcmp(was->note, is->note) == 0,
                "event again");
        promise(was->value.known == is->value.known &&
                    (!was->value.known || !islessgreater(was->value.value, is->value.value)),
                "event value again");
    }
}

int LLVMFuzzerTestOneInput(const uint8_t *bytes, size_t size)
{
    static const struct edf_label labels[] = {{"Temp", SIGNAL_NONE}, {"Channel 1", SIGNAL_PABD}};
    if (size == 0 || size > FILE_MAX) {
        return 0;
    }
    struct arena *arena = arena_new();
    struct fault_list faults;
    const struct recording_document *document = NULL;
    const struct edf_report *report = NULL;
    const unsigned how = bytes[0];
    size_t length = size - 1;
    uint8_t *file = malloc(length + 1);
    if (file == NULL) {
        abort();
    }
    memcpy(file, bytes + 1, length);
    if ((how & BIT_REPAIR) != 0) {
        length = repair(file, length);
    }
    const struct edf_options options = {.type = RECORDING_PRESSURE_FLOW,
                                        .has_start = (how & BIT_START) != 0,
                                        .started_at_us = 1772440265250000,
                                        .has_utc_offset = (how & BIT_OFFSET) != 0,
                                        .utc_offset_min = 60,
                                        .labels = labels,
                                        .label_count = (how & BIT_LABELS) != 0 ? 2 : 0};
    fault_list_init(&faults, arena);
    enum edf_read_outcome outcome =
        edf_read(arena, file, length, &options, &document, &report, &faults);
    promise((outcome == EDF_READ_OK) == (faults.count == 0), "faults when refused");
    promise((outcome == EDF_READ_OK) == (document != NULL), "a document when accepted");
    promise(outcome != EDF_READ_MALFORMED || report == NULL, "no report of what is no EDF");
    if (outcome == EDF_READ_OK) {
        check_document(document, report);
        check_again(arena, document);
    }
    free(file);
    arena_free(arena);
    return 0;
}
