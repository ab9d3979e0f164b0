#include "formats/pieces.h"

#include "formats/document_parts.h"
#include "formats/limits.h"
#include "formats/sample_builder.h"

#include <math.h>
#include <string.h>

size_t piece_end(const struct piece_channel *channel)
{
    return channel->first + channel->samples.count;
}

/* ---- reading a piece ---- */

/* Which channel of the opening carries the signal; its channel_count when none does. */
static size_t find_channel(const struct recording_document *opening, enum signal_kind signal)
{
    size_t i = 0;
    while (i < opening->channel_count && opening->channels[i].signal != signal) {
        i++;
    }
    return i;
}

static size_t read_place(struct json_reader *reader, const struct recording_document *opening)
{
    const char *names[LIMIT_CHANNELS + 1] = {NULL};
    for (size_t i = 0; i < opening->channel_count; i++) {
        names[i] = signal_name(opening->channels[i].signal);
    }
    const char *name = json_reader_word(reader, "signal", JSON_REQUIRED, names);
    return name == NULL ? opening->channel_count : find_channel(opening, signal_from_name(name));
}

static size_t read_first(struct json_reader *reader)
{
    struct optional_number first =
        json_reader_number(reader, "first", JSON_REQUIRED, 0.0, (double)LIMIT_CHANNEL_SAMPLES);
    if (first.known && islessgreater(floor(first.value), first.value)) {
        fault_add(reader->faults, json_reader_pointer(reader, "first"),
                  "Must be a whole number: the index of the first sample in its channel.");
    }
    return first.known ? (size_t)first.value : 0;
}

static bool has_samples(const struct json_reader *reader, const struct scanned_channel *scanned)
{
    static const char *const members[] = {"samples", "data", "encoding"};
    bool found = scanned->has_samples || scanned->data != NULL;
    for (size_t i = 0; !found && i < sizeof members / sizeof members[0]; i++) {
        found = reader->object != NULL && json_object_get(reader->object, members[i]) != NULL;
    }
    return found;
}

/* What reading a piece needs; `present` tells which of the opening's channels were there. */
struct piece_reader {
    struct arena *arena;
    const struct recording_document *opening;
    const struct document_scan *scan;
    struct fault_list *faults;
    size_t sample_total;
    struct piece *piece;
    bool present[LIMIT_CHANNELS];
};

static void check_end(struct json_reader *json, const struct document_channel *announced,
                      const struct piece_channel *channel)
{
    double end_s = announced->start_s + (double)piece_end(channel) / announced->rate_hz;
    if (piece_end(channel) > LIMIT_CHANNEL_SAMPLES) {
        fault_add(json->faults, json_reader_pointer(json, "first"),
                  "At most %zu samples in a channel; this piece ends behind them.",
                  LIMIT_CHANNEL_SAMPLES);
    } else if (end_s > LIMIT_DURATION_S) {
        fault_add(json->faults, json->pointer, "Must end within %.15g s of the recording's start.",
                  LIMIT_DURATION_S);
    }
}

static void read_channel(struct piece_reader *reader, const json_t *value, size_t index)
{
    struct json_reader json;
    const char *pointer = document_item_pointer(reader->faults, "/channels", index);
    const struct scanned_channel *scanned = document_scan_channel(reader->scan, index);
    json_reader_open(&json, value, pointer, reader->faults);
    if (json.object == NULL) {
        return;
    }
    struct piece_channel channel = {0};
    size_t place = read_place(&json, reader->opening);
    channel.first = read_first(&json);
    if (has_samples(&json, scanned)) {
        document_samples_read(&json, scanned, reader->arena, &reader->sample_total,
                              &channel.samples);
    }
    json_reader_close(&json);
    if (place == reader->opening->channel_count) {
        return;
    }
    if (reader->present[place]) {
        fault_add(reader->faults, json_reader_pointer(&json, "signal"),
                  "This piece has %s already; a piece holds a signal once.",
                  signal_name(reader->opening->channels[place].signal));
    }
    check_end(&json, &reader->opening->channels[place], &channel);
    reader->present[place] = true;
    reader->piece->channels[place] = channel;
}

/* The ends of all channels together are what the recording would hold. */
static void check_channels(const struct piece_reader *reader)
{
    size_t total = 0;
    for (size_t i = 0; i < reader->opening->channel_count; i++) {
        if (!reader->present[i]) {
            fault_add(reader->faults, "/channels",
                      "Must also hold %s, if need be without samples: its `first` tells how far it "
                      "is.",
                      signal_name(reader->opening->channels[i].signal));
        }
        total += piece_end(&reader->piece->channels[i]);
    }
    if (total > LIMIT_RECORDING_SAMPLES) {
        fault_add(reader->faults, "/channels",
                  "At most %zu samples in all channels of a recording; with this piece there would "
                  "be more.",
                  LIMIT_RECORDING_SAMPLES);
    }
}

static void read_channels(struct piece_reader *reader, struct json_reader *json)
{
    const json_t *array = json_reader_take(json, "channels", JSON_REQUIRED);
    if (array == NULL) {
        return;
    }
    if (!json_is_array(array) || json_array_size(array) > LIMIT_CHANNELS) {
        fault_add(reader->faults, "/channels", "Must be an array of at most %d channels.",
                  LIMIT_CHANNELS);
        return;
    }
    for (size_t i = 0; i < json_array_size(array); i++) {
        read_channel(reader, json_array_get(array, i), i);
    }
    check_channels(reader);
}

enum json_read_outcome piece_json_read(struct arena *arena,
                                       const struct recording_document *opening, const char *body,
                                       size_t length, const struct piece **ret_piece,
                                       struct fault_list *faults)
{
    size_t faults_before = document_fault_total(faults);
    struct document_scan scan;
    document_scan_run(&scan, arena, body, length);
    json_t *value = json_reader_load_reduced(&scan, faults);
    if (value == NULL) {
        return JSON_READ_MALFORMED;
    }
    struct piece *piece = arena_alloc(arena, sizeof *piece);
    piece->channels = arena_array(arena, opening->channel_count, sizeof *piece->channels);
    struct piece_reader reader = {
        .arena = arena, .opening = opening, .scan = &scan, .faults = faults, .piece = piece};
    struct json_reader json;
    json_reader_open(&json, value, "", faults);
    read_channels(&reader, &json);
    document_events_read(&json, arena, JSON_OPTIONAL, LIMIT_DURATION_S, &piece->events,
                         &piece->event_count);
    json_reader_close(&json);
    json_decref(value);
    if (document_fault_total(faults) > faults_before) {
        return JSON_READ_INVALID;
    }
    *ret_piece = piece;
    return JSON_READ_OK;
}

/* ---- writing a piece for whoever watches ---- */

static void append_values(struct text *out, const struct samples *samples)
{
    enum { PORTION = 256 };

    double values[PORTION];
    for (size_t first = 0; first < samples->count; first += PORTION) {
        size_t left = samples->count - first;
        size_t count = left < PORTION ? left : PORTION;
        samples_values(samples, first, count, values);
        for (size_t i = 0; i < count; i++) {
            text_append(out, first + i == 0 ? "" : ",");
            if (isnan(values[i])) {
                text_append(out, "null");
            } else {
                text_append_number(out, values[i]);
            }
        }
    }
}

void piece_json_append(struct text *out, const struct recording_document *opening,
                       const struct piece *piece)
{
    text_append(out, "\"channels\":[");
    for (size_t i = 0; i < opening->channel_count; i++) {
        const struct piece_channel *channel = &piece->channels[i];
        text_printf(out, "%s{\"signal\":\"%s\",\"first\":%zu,\"samples\":[", i == 0 ? "" : ",",
                    signal_name(opening->channels[i].signal), channel->first);
        append_values(out, &channel->samples);
        text_append(out, "]}");
    }
    text_append(out, "],\"events\":");
    events_json_write(piece->events, piece->event_count, out);
}

/* ---- completion ---- */

static int read_count(struct json_reader *json)
{
    struct optional_number count =
        json_reader_number(json, "chunks", JSON_REQUIRED, 1.0, (double)LIMIT_CHUNKS);
    if (count.known && islessgreater(floor(count.value), count.value)) {
        fault_add(json->faults, json_reader_pointer(json, "chunks"), "Must be a whole number.");
    }
    return count.known ? (int)count.value : 0;
}

enum json_read_outcome completion_json_read(struct arena *arena, const char *body, size_t length,
                                            struct completion *ret_completion,
                                            struct fault_list *faults)
{
    size_t faults_before = document_fault_total(faults);
    json_t *value = json_reader_load(body, length, faults);
    if (value == NULL) {
        return JSON_READ_MALFORMED;
    }
    struct json_reader json;
    json_reader_open(&json, value, "", faults);
    struct completion completion = {
        .chunk_count = read_count(&json),
        .accept_gaps = json_reader_answer(&json, "accept_gaps", JSON_OPTIONAL) == ANSWER_YES,
    };
    const json_t *conditions = json_reader_take(&json, "conditions", JSON_OPTIONAL);
    completion.has_conditions = conditions != NULL;
    document_conditions_read(conditions, "/conditions", arena, faults, &completion.conditions);
    json_reader_close(&json);
    json_decref(value);
    if (document_fault_total(faults) > faults_before) {
        return JSON_READ_INVALID;
    }
    *ret_completion = completion;
    return JSON_READ_OK;
}

/* ---- joining ---- */

struct joint {
    struct arena *arena;
    const struct piece *const *pieces;
    size_t piece_count;
    size_t channel;
};

static const struct piece_channel *part(const struct joint *joint, size_t piece)
{
    return &joint->pieces[piece]->channels[joint->channel];
}

/* The first part with samples, or NULL. */
static const struct samples *first_samples(const struct joint *joint)
{
    for (size_t i = 0; i < joint->piece_count; i++) {
        if (part(joint, i)->samples.count > 0) {
            return &part(joint, i)->samples;
        }
    }
    return NULL;
}

static bool is_alike(const struct samples *one, const struct samples *other)
{
    return one->encoding == other->encoding && !islessgreater(one->scale, other->scale) &&
           !islessgreater(one->offset, other->offset);
}

/* Whether the codes of all parts can stand in one array as they are. */
static bool keeps_codes(const struct joint *joint, const struct samples *model)
{
    bool alike = model->encoding == SAMPLES_INT16 || model->encoding == SAMPLES_FLOAT32;
    for (size_t i = 0; alike && i < joint->piece_count; i++) {
        const struct samples *samples = &part(joint, i)->samples;
        alike = samples->count == 0 || is_alike(samples, model);
    }
    return alike;
}

static void fill_missing(uint8_t *codes, enum sample_encoding encoding, size_t count)
{
    const int16_t missing16 = INT16_MIN;
    const float missing32 = (float)NAN;
    const void *missing =
        encoding == SAMPLES_INT16 ? (const void *)&missing16 : (const void *)&missing32;
    size_t width = sample_encoding_width(encoding);
    for (size_t i = 0; i < count; i++) {
        memcpy(codes + i * width, missing, width);
    }
}

static struct samples join_codes(const struct joint *joint, const struct samples *model,
                                 size_t count)
{
    size_t width = sample_encoding_width(model->encoding);
    uint8_t *codes = arena_array(joint->arena, count, width);
    struct samples result = *model;
    result.count = count;
    result.codes = codes;
    result.missing = 0;
    size_t at = 0;
    for (size_t i = 0; i < joint->piece_count; i++) {
        const struct piece_channel *channel = part(joint, i);
        if (channel->samples.count == 0) {
            continue;
        }
        size_t gap = channel->first - at;
        fill_missing(codes + at * width, model->encoding, gap);
        memcpy(codes + channel->first * width, channel->samples.codes,
               channel->samples.count * width);
        result.missing += gap + channel->samples.missing;
        at = piece_end(channel);
    }
    return result;
}

static void add_decimals(struct sample_builder *builder, const struct samples *samples)
{
    const int32_t *codes = samples->codes;
    for (size_t i = 0; i < samples->count; i++) {
        if (codes[i] == INT32_MIN) {
            sample_builder_add_missing(builder);
        } else {
            sample_builder_add_code(builder, codes[i], samples->decimals);
        }
    }
}

static void add_values(struct sample_builder *builder, const struct samples *samples)
{
    for (size_t i = 0; i < samples->count; i++) {
        double value = 0.0;
        samples_values(samples, i, 1, &value);
        sample_builder_add(builder, value);
    }
}

static struct samples join_numbers(const struct joint *joint, size_t count)
{
    struct sample_builder builder;
    sample_builder_init(&builder, joint->arena, count);
    size_t at = 0;
    for (size_t i = 0; i < joint->piece_count; i++) {
        const struct piece_channel *channel = part(joint, i);
        for (; channel->samples.count > 0 && at < channel->first; at++) {
            sample_builder_add_missing(&builder);
        }
        if (channel->samples.encoding == SAMPLES_DECIMAL) {
            add_decimals(&builder, &channel->samples);
        } else {
            add_values(&builder, &channel->samples);
        }
        at += channel->samples.count;
    }
    return sample_builder_samples(&builder);
}

/* False when the channel has no samples at all. */
static bool join_channel(const struct joint *joint, struct samples *ret_samples)
{
    const struct samples *model = first_samples(joint);
    if (model == NULL) {
        return false;
    }
    size_t count = 0;
    for (size_t i = 0; i < joint->piece_count; i++) {
        count = part(joint, i)->samples.count > 0 ? piece_end(part(joint, i)) : count;
    }
    *ret_samples =
        keeps_codes(joint, model) ? join_codes(joint, model, count) : join_numbers(joint, count);
    return true;
}

/* Events may stand behind the last sample: what was acknowledged is kept. */
static void join_events(struct arena *arena, const struct piece *const *pieces, size_t count,
                        struct recording_document *document)
{
    size_t total = 0;
    for (size_t i = 0; i < count; i++) {
        total += pieces[i]->event_count;
    }
    struct document_event *gathered = arena_array(arena, total, sizeof *gathered);
    size_t at = 0;
    for (size_t i = 0; i < count; i++) {
        for (size_t e = 0; e < pieces[i]->event_count; e++) {
            gathered[at++] = pieces[i]->events[e];
        }
    }
    document->events = document_events_sort(arena, gathered, total);
    document->event_count = total;
}

bool pieces_join(struct arena *arena, const struct recording_document *opening,
                 const struct piece *const *pieces, size_t count,
                 const struct recording_document **ret_document, struct fault_list *faults)
{
    size_t faults_before = document_fault_total(faults);
    struct recording_document *document = arena_alloc(arena, sizeof *document);
    *document = *opening;
    document->channels = arena_array(arena, opening->channel_count, sizeof *document->channels);
    document->channel_count = 0;
    for (size_t c = 0; c < opening->channel_count; c++) {
        const struct joint joint = {
            .arena = arena, .pieces = pieces, .piece_count = count, .channel = c};
        struct document_channel channel = opening->channels[c];
        if (join_channel(&joint, &channel.samples)) {
            document->channels[document->channel_count++] = channel;
        }
    }
    if (document->channel_count == 0) {
        fault_add(faults, "/channels",
                  "There are no samples yet; ask again when a piece has brought some.");
    } else {
        join_events(arena, pieces, count, document);
    }
    *ret_document = document;
    return document_fault_total(faults) == faults_before;
}
