#include "formats/document_parts.h"

#include "analysis/units.h"
#include "formats/base64.h"
#include "formats/limits.h"

#include <math.h>
#include <string.h>

/* UCUM codes that an upload may use; which of them fit a signal is units_factor()'s to say. */
static const char *const upload_units[] = {
    "cm[H2O]", "kPa", "mm[Hg]", "mL", "L",  "mL/s", "L/min", "mL/min", "s",
    "min",     "mm",  "cm",     "uV", "mV", "kg",   "%",     "1",
};

enum { UNIT_LIST_LIMIT = 400, SIGNAL_LIST_SIZE = SIGNAL_COUNT + 1 };

/* What reading one channel needs. `sample_total` counts over the whole recording. */
struct channel_reader {
    struct json_reader json;
    struct arena *arena;
    size_t *sample_total;
};

double document_channel_end_s(const struct document_channel *channel)
{
    return channel->rate_hz > 0.0
               ? channel->start_s + (double)channel->samples.count / channel->rate_hz
               : channel->start_s;
}

static void channel_fault(struct channel_reader *reader, const char *member, const char *detail)
{
    fault_add(reader->json.faults, json_reader_pointer(&reader->json, member), "%s", detail);
}

static enum signal_kind read_signal(struct channel_reader *reader)
{
    const char *names[SIGNAL_LIST_SIZE] = {NULL};
    for (size_t i = 0; i < SIGNAL_COUNT; i++) {
        names[i] = signal_name((enum signal_kind)i);
    }
    const char *name = json_reader_word(&reader->json, "signal", JSON_REQUIRED, names);
    return name == NULL ? SIGNAL_NONE : signal_from_name(name);
}

static void read_unit(struct channel_reader *reader, struct document_channel *channel)
{
    const char *unit = json_reader_string(&reader->json, "unit", JSON_REQUIRED, LIMIT_NAME_BYTES);
    channel->unit = document_text(reader->arena, unit);
    if (unit == NULL || channel->signal == SIGNAL_NONE ||
        units_factor(unit, signal_unit(channel->signal), &channel->to_canonical)) {
        return;
    }
    struct text accepted;
    text_init(&accepted, reader->arena, UNIT_LIST_LIMIT);
    for (size_t i = 0; i < sizeof upload_units / sizeof upload_units[0]; i++) {
        double factor = 0.0;
        if (units_factor(upload_units[i], signal_unit(channel->signal), &factor)) {
            text_append(&accepted, accepted.length == 0 ? "" : ", ");
            text_append(&accepted, upload_units[i]);
        }
    }
    fault_add(reader->json.faults, json_reader_pointer(&reader->json, "unit"),
              "Must be a UCUM unit that fits %s: %s.", signal_name(channel->signal), accepted.data);
}

/* Whether the channel and the recording may hold `count` more samples; a fault at `member` if not.
 */
static bool claim_count(struct channel_reader *reader, const char *member, size_t count)
{
    if (count > LIMIT_CHANNEL_SAMPLES) {
        fault_add(reader->json.faults, json_reader_pointer(&reader->json, member),
                  "At most %zu samples in a channel; these are %zu.", LIMIT_CHANNEL_SAMPLES, count);
        return false;
    }
    if (count > LIMIT_RECORDING_SAMPLES - *reader->sample_total) {
        fault_add(reader->json.faults, json_reader_pointer(&reader->json, member),
                  "At most %zu samples in all channels of a recording; this channel exceeds them.",
                  LIMIT_RECORDING_SAMPLES);
        return false;
    }
    *reader->sample_total += count;
    return true;
}

static void fault_empty(struct channel_reader *reader, const char *member)
{
    channel_fault(reader, member, "Must hold at least one sample.");
}

static bool sample_from_json(const json_t *item, double *ret_value)
{
    if (json_is_null(item)) {
        *ret_value = (double)NAN;
        return true;
    }
    double value = json_number_value(item);
    *ret_value = value;
    return json_is_number(item) && fabs(value) <= LIMIT_SAMPLE_MAGNITUDE;
}

static void read_array(struct channel_reader *reader, const json_t *array, struct samples *samples)
{
    if (!json_is_array(array)) {
        channel_fault(reader, "samples", "Must be an array of numbers and null.");
        return;
    }
    size_t count = json_array_size(array);
    if (count == 0) {
        fault_empty(reader, "samples");
        return;
    }
    if (!claim_count(reader, "samples", count)) {
        return;
    }
    const char *pointer = json_reader_pointer(&reader->json, "samples");
    double *values = arena_array(reader->arena, count, sizeof *values);
    for (size_t i = 0; i < count; i++) {
        if (!sample_from_json(json_array_get(array, i), &values[i])) {
            fault_add(reader->json.faults, document_item_pointer(reader->json.faults, pointer, i),
                      "Must be null or a number between %.15g and %.15g.", -LIMIT_SAMPLE_MAGNITUDE,
                      LIMIT_SAMPLE_MAGNITUDE);
        }
    }
    samples_from_values(values, count, reader->arena, samples);
}

/* The bytes of "data", a whole number of samples of `sample_size` bytes; NULL after a fault. */
static const uint8_t *read_data(struct channel_reader *reader, size_t sample_size,
                                size_t *ret_count)
{
    const json_t *data = json_reader_take(&reader->json, "data", JSON_REQUIRED);
    if (data == NULL) {
        return NULL;
    }
    if (!json_is_string(data)) {
        channel_fault(reader, "data", "Must be a string of base64.");
        return NULL;
    }
    const char *text = json_string_value(data);
    size_t text_length = json_string_length(data);
    size_t length = base64_decoded_length(text, text_length);
    if (!claim_count(reader, "data", length / sample_size)) {
        return NULL;
    }
    uint8_t *bytes = arena_alloc(reader->arena, length + 1);
    size_t fault_at = 0;
    if (!base64_decode(text, text_length, bytes, &fault_at)) {
        fault_add(reader->json.faults, json_reader_pointer(&reader->json, "data"),
                  "Must be base64 (RFC 4648, section 4) with padding; the fault is at character "
                  "%zu.",
                  fault_at);
        return NULL;
    }
    if (length % sample_size != 0) {
        fault_add(reader->json.faults, json_reader_pointer(&reader->json, "data"),
                  "Must hold whole samples of %zu bytes; these are %zu bytes.", sample_size,
                  length);
        return NULL;
    }
    if (length == 0) {
        fault_empty(reader, "data");
        return NULL;
    }
    *ret_count = length / sample_size;
    return bytes;
}

/* Reads scale and offset; false after a fault. */
static bool read_scaling(struct channel_reader *reader, struct samples *samples)
{
    struct optional_number scale = json_reader_number(
        &reader->json, "scale", JSON_REQUIRED, -LIMIT_SAMPLE_MAGNITUDE, LIMIT_SAMPLE_MAGNITUDE);
    struct optional_number offset = json_reader_number(
        &reader->json, "offset", JSON_OPTIONAL, -LIMIT_SAMPLE_MAGNITUDE, LIMIT_SAMPLE_MAGNITUDE);
    if (!scale.known) {
        return false;
    }
    if (!(fabs(scale.value) > 0.0)) {
        channel_fault(reader, "scale", "Must not be 0.");
        return false;
    }
    samples->scale = scale.value;
    samples->offset = offset.known ? offset.value : 0.0;
    if (fabs(samples->scale) * -(double)INT16_MIN + fabs(samples->offset) >
        LIMIT_SAMPLE_MAGNITUDE) {
        fault_add(reader->json.faults, json_reader_pointer(&reader->json, "scale"),
                  "Samples must stay between %.15g and %.15g after scale and offset.",
                  -LIMIT_SAMPLE_MAGNITUDE, LIMIT_SAMPLE_MAGNITUDE);
        return false;
    }
    return true;
}

static void read_int16(struct channel_reader *reader, struct samples *samples)
{
    struct samples result = {.encoding = SAMPLES_INT16};
    bool is_scaled = read_scaling(reader, &result);
    const uint8_t *bytes = read_data(reader, sizeof(int16_t), &result.count);
    if (bytes == NULL || !is_scaled) {
        return;
    }
    int16_t *codes = arena_array(reader->arena, result.count, sizeof *codes);
    for (size_t i = 0; i < result.count; i++) {
        uint16_t bits = (uint16_t)(bytes[2 * i] | bytes[2 * i + 1] << 8);
        memcpy(&codes[i], &bits, sizeof bits);
        result.missing += codes[i] == INT16_MIN ? 1 : 0;
    }
    result.codes = codes;
    *samples = result;
}

static float float_from_bytes(const uint8_t *bytes)
{
    uint32_t bits = (uint32_t)bytes[0] | (uint32_t)bytes[1] << 8 | (uint32_t)bytes[2] << 16 |
                    (uint32_t)bytes[3] << 24;
    float value = 0.0F;
    memcpy(&value, &bits, sizeof value);
    return value;
}

static void refuse_scaling(struct channel_reader *reader)
{
    static const char *const members[] = {"scale", "offset"};
    for (size_t i = 0; i < sizeof members / sizeof members[0]; i++) {
        if (json_reader_take(&reader->json, members[i], JSON_OPTIONAL) != NULL) {
            channel_fault(reader, members[i], "Belongs to the encoding int16 only.");
        }
    }
}

static void read_float32(struct channel_reader *reader, struct samples *samples)
{
    struct samples result = {.encoding = SAMPLES_FLOAT32};
    refuse_scaling(reader);
    const uint8_t *bytes = read_data(reader, sizeof(float), &result.count);
    if (bytes == NULL) {
        return;
    }
    float *codes = arena_array(reader->arena, result.count, sizeof *codes);
    for (size_t i = 0; i < result.count; i++) {
        codes[i] = float_from_bytes(bytes + i * sizeof(float));
        result.missing += isnan(codes[i]) ? 1 : 0;
        if (fabs((double)codes[i]) > LIMIT_SAMPLE_MAGNITUDE) {
            fault_add(reader->json.faults, json_reader_pointer(&reader->json, "data"),
                      "Sample %zu is %s; the missing sample is NaN.", i,
                      isinf(codes[i]) ? "infinite" : "out of range");
            return;
        }
    }
    result.codes = codes;
    *samples = result;
}

static void read_samples(struct channel_reader *reader, struct samples *samples)
{
    static const char *const encodings[] = {"int16", "float32", NULL};
    const json_t *array = json_reader_take(&reader->json, "samples", JSON_OPTIONAL);
    const json_t *encoding = json_reader_take(&reader->json, "encoding", JSON_OPTIONAL);
    if (array != NULL && encoding != NULL) {
        channel_fault(reader, "encoding", "Must be left out beside samples.");
    }
    if (array != NULL || encoding == NULL) {
        if (array == NULL) {
            channel_fault(reader, "samples", "Required, unless encoding and data are given.");
        } else {
            read_array(reader, array, samples);
        }
        refuse_scaling(reader);
        if (json_reader_take(&reader->json, "data", JSON_OPTIONAL) != NULL) {
            channel_fault(reader, "data", "Belongs to an encoding, not beside samples.");
        }
        return;
    }
    const char *name = json_reader_word(&reader->json, "encoding", JSON_REQUIRED, encodings);
    if (name == NULL) {
        /* Which members belong to an unknown encoding cannot be said: take them all. */
        (void)json_reader_take(&reader->json, "data", JSON_OPTIONAL);
        (void)json_reader_take(&reader->json, "scale", JSON_OPTIONAL);
        (void)json_reader_take(&reader->json, "offset", JSON_OPTIONAL);
    } else if (strcmp(name, "int16") == 0) {
        read_int16(reader, samples);
    } else {
        read_float32(reader, samples);
    }
}

static double read_rate_hz(struct channel_reader *reader)
{
    struct optional_number rate =
        json_reader_number(&reader->json, "rate_hz", JSON_REQUIRED, 0.0, LIMIT_RATE_HZ);
    if (rate.known && !(rate.value > 0.0)) {
        channel_fault(reader, "rate_hz", "Must be greater than 0.");
    }
    return rate.known ? rate.value : 0.0;
}

static void read_channel(struct channel_reader *reader, struct document_channel *channel)
{
    channel->signal = SIGNAL_NONE;
    if (reader->json.object == NULL) {
        return;
    }
    channel->signal = read_signal(reader);
    read_unit(reader, channel);
    channel->rate_hz = read_rate_hz(reader);
    channel->start_s =
        json_reader_number(&reader->json, "start_s", JSON_OPTIONAL, 0.0, LIMIT_DURATION_S).value;
    read_samples(reader, &channel->samples);
    json_reader_close(&reader->json);
    if (document_channel_end_s(channel) > LIMIT_DURATION_S) {
        fault_add(reader->json.faults, reader->json.pointer,
                  "Must end within %.15g s of the recording's start.", LIMIT_DURATION_S);
    }
}

/* A fault for each channel whose signal an earlier one carries already. */
static void check_repeats(const struct document_channel *channels, size_t count,
                          const char *pointer, struct fault_list *faults)
{
    size_t carrier[SIGNAL_COUNT] = {0}; /* index + 1 of the channel */
    for (size_t i = 0; i < count; i++) {
        enum signal_kind signal = channels[i].signal;
        if (signal == SIGNAL_NONE) {
            continue;
        }
        if (carrier[signal] == 0) {
            carrier[signal] = i + 1;
            continue;
        }
        const char *item = document_item_pointer(faults, pointer, i);
        fault_add(faults, fault_pointer_member(faults->arena, item, "signal"),
                  "Channel %zu carries %s already; a recording holds a signal once.",
                  carrier[signal] - 1, signal_name(signal));
    }
}

void document_channels_read(struct json_reader *reader, struct arena *arena,
                            struct document_channel **ret_channels, size_t *ret_count)
{
    *ret_channels = NULL;
    *ret_count = 0;
    const json_t *array = json_reader_take(reader, "channels", JSON_REQUIRED);
    if (array == NULL) {
        return;
    }
    const char *pointer = json_reader_pointer(reader, "channels");
    size_t count = json_array_size(array);
    if (!json_is_array(array) || count == 0) {
        fault_add(reader->faults, pointer, "Must be an array of at least one channel.");
        return;
    }
    if (count > LIMIT_CHANNELS) {
        fault_add(reader->faults, pointer, "At most %d channels; these are %zu.", LIMIT_CHANNELS,
                  count);
        return;
    }
    struct document_channel *channels = arena_array(arena, count, sizeof *channels);
    size_t sample_total = 0;
    for (size_t i = 0; i < count; i++) {
        struct channel_reader channel = {.arena = arena, .sample_total = &sample_total};
        json_reader_open(&channel.json, json_array_get(array, i),
                         document_item_pointer(reader->faults, pointer, i), reader->faults);
        read_channel(&channel, &channels[i]);
    }
    check_repeats(channels, count, pointer, reader->faults);
    *ret_channels = channels;
    *ret_count = count;
}
