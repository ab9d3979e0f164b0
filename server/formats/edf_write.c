#include "formats/edf_write.h"

#include "base/clock.h"
#include "formats/document_parts.h"
#include "formats/edf_annotations.h"
#include "formats/edf_names.h"
#include "formats/edf_scale.h"
#include "formats/limits.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

static const int64_t US_PER_S = 1000000;

enum {
    RECORD_MAX_S = 60,
    RATE_LIST_LIMIT = 300,
    RATE_TEXT_MAX = 60,
    TIME_TEXT_MAX = 40,
    /* Below this much, annotations may take more room than samples. */
    ANNOTATION_BYTES_FREE = 1024 * 1024,
    PORTION = 4096
};

/* A channel's place in the records. */
struct edf_track {
    const struct document_channel *channel;
    struct edf_written_channel *written;
    size_t first; /* its first sample's number from the start */
    size_t per_record;
    size_t offset; /* of its first sample in a record, bytes */
    struct edf_scale scale;
};

struct edf_writer {
    struct arena *arena;
    const struct recording_document *document;
    int64_t local_us;
    int64_t fraction_ns; /* of the start: what the header's whole second leaves over */
    size_t track_count;
    struct edf_track *tracks;
    struct edf_decimal duration; /* of a record, s */
    size_t record_count;
    size_t record_bytes;
    size_t header_bytes;
    size_t annotation_bytes; /* in a record */
    char **texts;            /* the annotation list of each event */
    size_t *lengths;
    uint8_t *bytes;
};

/* ---- length of a record ---- */

/* Samples of a channel in a record, when they are a whole number at exactly its rate; else 0. */
static size_t whole_samples(double rate_hz, const struct edf_decimal *duration)
{
    double samples = rint(rate_hz * duration->value);
    if (samples < 1.0 || samples > LIMIT_RATE_HZ * RECORD_MAX_S ||
        islessgreater(edf_rate_hz((size_t)samples, duration), rate_hz)) {
        return 0;
    }
    return (size_t)samples;
}

static bool fits_all(const struct edf_writer *writer, const struct edf_decimal *duration)
{
    for (size_t i = 0; i < writer->track_count; i++) {
        if (whole_samples(writer->tracks[i].channel->rate_hz, duration) == 0) {
            return false;
        }
    }
    return true;
}

/* The least duration that fits: whole seconds, else hundredths, else thousandths. */
static bool find_duration(struct edf_writer *writer)
{
    static const int decimals[] = {0, 2, 3};
    for (size_t i = 0; i < sizeof decimals / sizeof decimals[0]; i++) {
        double power = pow(10.0, decimals[i]);
        for (int64_t digits = 1; digits <= (int64_t)(RECORD_MAX_S * power); digits++) {
            struct edf_decimal duration = {digits, decimals[i], (double)digits / power};
            if (fits_all(writer, &duration)) {
                writer->duration = duration;
                return true;
            }
        }
    }
    return false;
}

/* Adds a channel's rate to a list that may be too short for all of them. */
static void list_rate(struct text *list, const struct document_channel *channel)
{
    if (list->length + RATE_TEXT_MAX < list->limit) {
        text_printf(list, "%s%s at %.15g Hz", list->length == 0 ? "" : ", ",
                    signal_name(channel->signal), channel->rate_hz);
    }
}

static bool refuse_rates(struct edf_writer *writer, struct error *reterr)
{
    struct text list;
    text_init(&list, writer->arena, RATE_LIST_LIMIT);
    size_t track_count = writer->track_count;
    struct edf_track *tracks = writer->tracks;
    /* Each alone first: a rate that fits no record at all is the one to name. */
    for (size_t i = 0; i < track_count; i++) {
        writer->tracks = tracks + i;
        writer->track_count = 1;
        if (!find_duration(writer)) {
            list_rate(&list, tracks[i].channel);
        }
    }
    bool fit_alone = list.length == 0;
    for (size_t i = 0; i < track_count && fit_alone; i++) {
        list_rate(&list, tracks[i].channel);
    }
    return error_set(reterr, ERROR_INVALID,
                     "no EDF record of up to %d s holds a whole number of samples of %s",
                     RECORD_MAX_S, list.data);
}

static int64_t duration_ns(const struct edf_decimal *duration)
{
    int64_t ns = duration->digits;
    for (int i = duration->decimals; i < 9; i++) {
        ns *= 10;
    }
    return ns;
}

/* ---- annotations ---- */

static void append_tal(struct text *out, int64_t onset_ns, const struct document_event *event)
{
    edf_onset_append(out, onset_ns);
    text_append_char(out, 0x14);
    if (event != NULL) {
        edf_event_append(out, event);
    }
    text_append_char(out, 0x14);
    text_append_bytes(out, "", 1);
}

static void make_annotations(struct edf_writer *writer)
{
    const struct recording_document *document = writer->document;
    writer->texts = arena_array(writer->arena, document->event_count, sizeof *writer->texts);
    writer->lengths = arena_array(writer->arena, document->event_count, sizeof *writer->lengths);
    for (size_t i = 0; i < document->event_count; i++) {
        const struct document_event *event = &document->events[i];
        struct text text;
        text_init(&text, writer->arena, 2 * LIMIT_NOTE_BYTES + LIMIT_NAME_BYTES);
        int64_t at_ns = (int64_t)rint(event->at_s * (double)EDF_NS_PER_S);
        append_tal(&text, writer->fraction_ns + at_ns, event);
        writer->texts[i] = text.data;
        writer->lengths[i] = text.length;
    }
}

/* Whether the events, in order, fit records with `room` bytes each beside the record's own time. */
static bool annotations_fit(const struct edf_writer *writer, size_t room)
{
    size_t record = 0;
    size_t used = 0;
    for (size_t i = 0; i < writer->document->event_count; i++) {
        if (used + writer->lengths[i] > room) {
            record++;
            used = 0;
        }
        used += writer->lengths[i];
    }
    return record < writer->record_count;
}

/* The least room for events in a record: as much as the longest takes, or so that all fit. */
static size_t annotation_room(const struct edf_writer *writer)
{
    size_t longest = 0;
    size_t total = 0;
    for (size_t i = 0; i < writer->document->event_count; i++) {
        longest = writer->lengths[i] > longest ? writer->lengths[i] : longest;
        total += writer->lengths[i];
    }
    size_t low = longest;
    size_t high = longest + total / writer->record_count; /* always enough */
    while (low < high) {
        size_t middle = low + (high - low) / 2;
        if (annotations_fit(writer, middle)) {
            high = middle;
        } else {
            low = middle + 1;
        }
    }
    return low;
}

/* ---- layout ---- */

static void lay_out(struct edf_writer *writer)
{
    writer->record_count = 1;
    writer->record_bytes = 0;
    for (size_t i = 0; i < writer->track_count; i++) {
        struct edf_track *track = &writer->tracks[i];
        size_t samples = whole_samples(track->channel->rate_hz, &writer->duration);
        track->per_record = samples == 0 ? 1 : samples; /* never 0: find_duration() saw to it */
        track->offset = writer->record_bytes;
        writer->record_bytes += track->per_record * EDF_SAMPLE_BYTES;
        size_t end = track->first + track->channel->samples.count;
        size_t records = (end + track->per_record - 1) / track->per_record;
        writer->record_count = records > writer->record_count ? records : writer->record_count;
    }
    /* The longest time of a record: that of the last one. */
    struct text last;
    text_init(&last, writer->arena, TIME_TEXT_MAX);
    append_tal(&last, (int64_t)(writer->record_count - 1) * duration_ns(&writer->duration), NULL);
    size_t fraction_digits = 10;
    size_t bytes = last.length + fraction_digits + annotation_room(writer);
    writer->annotation_bytes = bytes + bytes % EDF_SAMPLE_BYTES;
}

/* Longer records where the room that each keeps for annotations would outgrow the samples. */
static void lengthen_records(struct edf_writer *writer)
{
    struct edf_decimal shortest = writer->duration;
    lay_out(writer);
    for (int times = 2; times * shortest.value <= RECORD_MAX_S; times++) {
        size_t annotations = writer->annotation_bytes * writer->record_count;
        if (annotations <= ANNOTATION_BYTES_FREE ||
            annotations <= writer->record_bytes * writer->record_count) {
            break;
        }
        writer->duration = (struct edf_decimal){shortest.digits * times, shortest.decimals,
                                                shortest.value * times};
        lay_out(writer);
    }
}

static bool check_size(struct edf_writer *writer, struct error *reterr)
{
    size_t total = 0;
    for (size_t i = 0; i < writer->track_count; i++) {
        struct edf_track *track = &writer->tracks[i];
        size_t count = track->per_record * writer->record_count;
        if (count > LIMIT_CHANNEL_SAMPLES) {
            return error_set(reterr, ERROR_INVALID,
                             "%s would have %zu samples in EDF, filled up to the length of the "
                             "recording, and at most %zu are written: ask for a shorter span",
                             signal_name(track->channel->signal), count, LIMIT_CHANNEL_SAMPLES);
        }
        total += count;
        track->written->padded = count - track->channel->samples.count;
    }
    if (total > LIMIT_RECORDING_SAMPLES) {
        return error_set(reterr, ERROR_INVALID,
                         "the channels would have %zu samples in EDF, all filled up to the same "
                         "length, and at most %zu are written: ask for a shorter span",
                         total, LIMIT_RECORDING_SAMPLES);
    }
    return true;
}

static bool choose_scales(struct edf_writer *writer, struct error *reterr)
{
    for (size_t i = 0; i < writer->track_count; i++) {
        struct edf_track *track = &writer->tracks[i];
        const struct samples *samples = &track->channel->samples;
        if (!edf_scale_choose(samples, samples->missing + track->written->padded > 0,
                              &track->scale)) {
            return error_set(reterr, ERROR_INVALID,
                             "the values of %s are too large, or too close to each other, for the "
                             "eight characters of an EDF header",
                             signal_name(track->channel->signal));
        }
        track->written->is_exact = track->scale.is_exact;
        track->written->greatest_error = track->scale.greatest_error;
    }
    return true;
}

static bool place_tracks(struct edf_writer *writer, struct error *reterr)
{
    for (size_t i = 0; i < writer->track_count; i++) {
        struct edf_track *track = &writer->tracks[i];
        const struct document_channel *channel = track->channel;
        double first = rint(channel->start_s * channel->rate_hz);
        if (!(channel->rate_hz > 0.0) || !(first >= 0.0) || !(channel->start_s >= 0.0) ||
            first > (double)LIMIT_CHANNEL_SAMPLES) {
            return error_set(reterr, ERROR_INVALID,
                             "%s begins %.9g s after the start of the recording, which EDF cannot "
                             "say",
                             signal_name(channel->signal), channel->start_s);
        }
        track->first = (size_t)first;
        track->written->shift_s = first / channel->rate_hz - channel->start_s;
    }
    return true;
}

/* ---- bytes ---- */

static void put_text(struct edf_writer *writer, enum edf_field field, size_t signal,
                     const char *text)
{
    size_t offset = edf_field_offset(field, signal, writer->track_count + 1);
    memcpy(writer->bytes + offset, text, strlen(text));
}

static void put_number(struct edf_writer *writer, enum edf_field field, size_t signal,
                       int64_t number)
{
    put_text(writer, field, signal, arena_printf(writer->arena, "%lld", (long long)number));
}

/* The start as both date forms and the time. After 2084 the short year is the letters yy. */
static void put_start(struct edf_writer *writer)
{
    static const char *const months[] = {"JAN", "FEB", "MAR", "APR", "MAY", "JUN",
                                         "JUL", "AUG", "SEP", "OCT", "NOV", "DEC"};
    char iso[CLOCK_TEXT_SIZE]; /* 2026-03-02T08:31:05Z */
    clock_format(writer->local_us, iso);
    const char *year = memcmp(iso, "2084", 4) > 0 ? "yy" : arena_strndup(writer->arena, iso + 2, 2);
    int month = (iso[5] - '0') * 10 + (iso[6] - '0');
    put_text(writer, EDF_STARTDATE, 0,
             arena_printf(writer->arena, "%.2s.%.2s.%s", iso + 8, iso + 5, year));
    put_text(writer, EDF_STARTTIME, 0,
             arena_printf(writer->arena, "%.2s.%.2s.%.2s", iso + 11, iso + 14, iso + 17));
    put_text(writer, EDF_RECORDING, 0,
             arena_printf(writer->arena, "Startdate %.2s-%s-%.4s X X Penstock", iso + 8,
                          months[month - 1], iso));
}

static const char *duration_text(const struct edf_writer *writer)
{
    char *text =
        arena_printf(writer->arena, "%.*f", writer->duration.decimals, writer->duration.value);
    size_t length = strlen(text);
    while (writer->duration.decimals > 0 && text[length - 1] == '0') {
        text[--length] = '\0';
    }
    return text;
}

static void put_header(struct edf_writer *writer)
{
    size_t annotations = writer->track_count;
    memset(writer->bytes, ' ', writer->header_bytes);
    put_text(writer, EDF_VERSION, 0, "0");
    put_text(writer, EDF_PATIENT, 0, "X X X X");
    put_start(writer);
    put_number(writer, EDF_HEADER_BYTES, 0, (int64_t)writer->header_bytes);
    put_text(writer, EDF_RESERVED, 0, "EDF+C");
    put_number(writer, EDF_RECORDS, 0, (int64_t)writer->record_count);
    put_text(writer, EDF_RECORD_DURATION, 0, duration_text(writer));
    put_number(writer, EDF_SIGNAL_COUNT, 0, (int64_t)annotations + 1);
    for (size_t i = 0; i < writer->track_count; i++) {
        const struct edf_track *track = &writer->tracks[i];
        put_text(writer, EDF_LABEL, i, edf_names_label(track->channel->signal));
        put_text(writer, EDF_PHYSICAL_DIMENSION, i, edf_names_dimension(track->channel->unit));
        put_text(writer, EDF_PHYSICAL_MINIMUM, i, track->scale.pmin);
        put_text(writer, EDF_PHYSICAL_MAXIMUM, i, track->scale.pmax);
        put_number(writer, EDF_DIGITAL_MINIMUM, i, track->scale.dmin);
        put_number(writer, EDF_DIGITAL_MAXIMUM, i, track->scale.dmax);
        put_number(writer, EDF_SAMPLES_PER_RECORD, i, (int64_t)track->per_record);
    }
    put_text(writer, EDF_LABEL, annotations, EDF_ANNOTATIONS_LABEL);
    put_number(writer, EDF_PHYSICAL_MINIMUM, annotations, -1);
    put_number(writer, EDF_PHYSICAL_MAXIMUM, annotations, 1);
    put_number(writer, EDF_DIGITAL_MINIMUM, annotations, INT16_MIN);
    put_number(writer, EDF_DIGITAL_MAXIMUM, annotations, INT16_MAX);
    put_number(writer, EDF_SAMPLES_PER_RECORD, annotations,
               (int64_t)(writer->annotation_bytes / EDF_SAMPLE_BYTES));
}

static uint8_t *record_bytes(const struct edf_writer *writer, size_t record)
{
    return writer->bytes + writer->header_bytes +
           record * (writer->record_bytes + writer->annotation_bytes);
}

static void put_code(const struct edf_writer *writer, const struct edf_track *track, size_t index,
                     int code)
{
    uint8_t *at = record_bytes(writer, index / track->per_record) + track->offset +
                  index % track->per_record * EDF_SAMPLE_BYTES;
    at[0] = (uint8_t)((unsigned)code & 0xFFu);
    at[1] = (uint8_t)((unsigned)code >> 8 & 0xFFu);
}

static void put_samples(const struct edf_writer *writer, const struct edf_track *track)
{
    int16_t codes[PORTION];
    const struct samples *samples = &track->channel->samples;
    size_t end = track->first + samples->count;
    for (size_t i = 0; i < track->first; i++) {
        put_code(writer, track, i, track->scale.missing_code);
    }
    for (size_t done = 0; done < samples->count; done += PORTION) {
        size_t count = samples->count - done < PORTION ? samples->count - done : PORTION;
        edf_scale_codes(&track->scale, samples, done, count, codes);
        for (size_t i = 0; i < count; i++) {
            put_code(writer, track, track->first + done + i, codes[i]);
        }
    }
    for (size_t i = end; i < writer->record_count * track->per_record; i++) {
        put_code(writer, track, i, track->scale.missing_code);
    }
}

static void put_annotations(const struct edf_writer *writer)
{
    size_t event = 0;
    size_t room = annotation_room(writer);
    struct text own;
    text_init(&own, writer->arena, TIME_TEXT_MAX);
    for (size_t record = 0; record < writer->record_count; record++) {
        uint8_t *at = record_bytes(writer, record) + writer->record_bytes;
        own.length = 0; /* the memory is used again: there may be many records */
        append_tal(&own, writer->fraction_ns + (int64_t)record * duration_ns(&writer->duration),
                   NULL);
        memcpy(at, own.data, own.length);
        at += own.length;
        size_t used = 0;
        while (event < writer->document->event_count && used + writer->lengths[event] <= room) {
            memcpy(at + used, writer->texts[event], writer->lengths[event]);
            used += writer->lengths[event++];
        }
    }
}

static void set_up(struct edf_writer *writer)
{
    const struct recording_document *document = writer->document;
    struct edf_written_channel *written =
        arena_array(writer->arena, document->channel_count, sizeof *written);
    writer->track_count = document->channel_count;
    writer->tracks = arena_array(writer->arena, writer->track_count, sizeof *writer->tracks);
    for (size_t i = 0; i < writer->track_count; i++) {
        written[i].signal = document->channels[i].signal;
        writer->tracks[i].channel = &document->channels[i];
        writer->tracks[i].written = &written[i];
    }
    writer->fraction_ns = (writer->local_us % US_PER_S + US_PER_S) % US_PER_S * 1000;
    writer->header_bytes = EDF_HEADER_PART * (writer->track_count + 2);
}

bool edf_write(struct arena *arena, const struct recording_document *document, int utc_offset_min,
               struct edf_file *ret_file, struct error *reterr)
{
    struct edf_writer writer = {.arena = arena,
                                .document = document,
                                .local_us = document->started_at_us +
                                            (int64_t)utc_offset_min * 60 * US_PER_S};
    if (document->channel_count == 0) {
        return error_set(reterr, ERROR_INVALID, "there is no channel to write");
    }
    set_up(&writer);
    if (!place_tracks(&writer, reterr)) {
        return false;
    }
    if (!find_duration(&writer)) {
        return refuse_rates(&writer, reterr);
    }
    make_annotations(&writer);
    lengthen_records(&writer);
    if (!check_size(&writer, reterr) || !choose_scales(&writer, reterr)) {
        return false;
    }
    size_t length =
        writer.header_bytes + writer.record_count * (writer.record_bytes + writer.annotation_bytes);
    writer.bytes = arena_alloc(arena, length);
    put_header(&writer);
    for (size_t i = 0; i < writer.track_count; i++) {
        put_samples(&writer, &writer.tracks[i]);
    }
    put_annotations(&writer);
    *ret_file = (struct edf_file){.bytes = writer.bytes,
                                  .length = length,
                                  .record_duration_s = writer.duration.value,
                                  .record_count = writer.record_count,
                                  .channel_count = writer.track_count,
                                  .channels = writer.tracks[0].written};
    return true;
}
