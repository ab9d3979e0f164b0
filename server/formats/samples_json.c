/* A channel's samples: an array of numbers, or base64 with its encoding. */
#include "formats/base64.h"
#include "formats/document_parts.h"
#include "formats/limits.h"
#include "formats/sample_builder.h"

#include <math.h>
#include <string.h>

struct samples_reader {
    struct json_reader *json; /* the channel */
    const struct scanned_channel *scanned;
    struct arena *arena;
    size_t *sample_total; /* over all channels of the document */
};

static void member_fault(struct samples_reader *reader, const char *member, const char *detail)
{
    fault_add(reader->json->faults, json_reader_pointer(reader->json, member), "%s", detail);
}

static bool claim_count(struct samples_reader *reader, const char *member, size_t count)
{
    return document_claim_samples(count, json_reader_pointer(reader->json, member),
                                  reader->json->faults, reader->sample_total);
}

bool document_claim_samples(size_t count, const char *pointer, struct fault_list *faults,
                            size_t *sample_total)
{
    if (count > LIMIT_CHANNEL_SAMPLES) {
        fault_add(faults, pointer, "At most %zu samples in a channel; these are %zu.",
                  LIMIT_CHANNEL_SAMPLES, count);
        return false;
    }
    if (count > LIMIT_RECORDING_SAMPLES - *sample_total) {
        fault_add(faults, pointer,
                  "At most %zu samples in all channels of a recording; this channel exceeds them.",
                  LIMIT_RECORDING_SAMPLES);
        return false;
    }
    *sample_total += count;
    return true;
}

static void fault_empty(struct samples_reader *reader, const char *member)
{
    member_fault(reader, member, "Must hold at least one sample.");
}

/* Adds an item of the tree; false when it is no sample. */
static bool add_item(struct sample_builder *builder, const json_t *item)
{
    double value = json_number_value(item);
    if (json_is_null(item)) {
        sample_builder_add_missing(builder);
        return true;
    }
    if (!json_is_number(item) || fabs(value) > LIMIT_SAMPLE_MAGNITUDE) {
        return false;
    }
    sample_builder_add(builder, value);
    return true;
}

static void read_tree(struct samples_reader *reader, const json_t *array, struct samples *samples)
{
    const char *pointer = json_reader_pointer(reader->json, "samples");
    size_t count = json_array_size(array);
    struct sample_builder builder;
    sample_builder_init(&builder, reader->arena, count);
    for (size_t i = 0; i < count; i++) {
        if (!add_item(&builder, json_array_get(array, i))) {
            fault_add(reader->json->faults, document_item_pointer(reader->json->faults, pointer, i),
                      "Must be null or a number between %.15g and %.15g.", -LIMIT_SAMPLE_MAGNITUDE,
                      LIMIT_SAMPLE_MAGNITUDE);
        }
    }
    *samples = sample_builder_samples(&builder);
}

static void read_array(struct samples_reader *reader, const json_t *array, struct samples *samples)
{
    if (!json_is_array(array)) {
        member_fault(reader, "samples", "Must be an array of numbers and null.");
        return;
    }
    bool is_scanned = reader->scanned->has_samples;
    size_t count = is_scanned ? reader->scanned->samples.count : json_array_size(array);
    if (count == 0) {
        fault_empty(reader, "samples");
        return;
    }
    if (!claim_count(reader, "samples", count)) {
        return;
    }
    if (is_scanned) {
        /* Without codes only where a fault refuses the document: too many for the scan are too many
         * for claim_count(), unless an earlier channel was refused. */
        *samples = reader->scanned->samples;
    } else {
        read_tree(reader, array, samples);
    }
}

/* The bytes of "data", little-endian and a whole number of samples of `sample_size` bytes, in
 * memory where the samples themselves can take their place; NULL after a fault. */
static uint8_t *read_data(struct samples_reader *reader, size_t sample_size, size_t *ret_count)
{
    const json_t *data = json_reader_take(reader->json, "data", JSON_REQUIRED);
    if (data == NULL) {
        return NULL;
    }
    if (!json_is_string(data)) {
        member_fault(reader, "data", "Must be a string of base64.");
        return NULL;
    }
    bool is_scanned = reader->scanned->data != NULL;
    const char *text = is_scanned ? reader->scanned->data : json_string_value(data);
    size_t text_length = is_scanned ? reader->scanned->data_length : json_string_length(data);
    size_t length = base64_decoded_length(text, text_length);
    if (!claim_count(reader, "data", length / sample_size)) {
        return NULL;
    }
    uint8_t *bytes = arena_alloc(reader->arena, length + 1);
    size_t fault_at = 0;
    if (!base64_decode(text, text_length, bytes, &fault_at)) {
        fault_add(reader->json->faults, json_reader_pointer(reader->json, "data"),
                  "Must be base64 (RFC 4648, section 4) with padding; the fault is at character "
                  "%zu.",
                  fault_at);
        return NULL;
    }
    if (length % sample_size != 0) {
        fault_add(reader->json->faults, json_reader_pointer(reader->json, "data"),
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
static bool read_scaling(struct samples_reader *reader, struct samples *samples)
{
    struct optional_number scale = json_reader_number(
        reader->json, "scale", JSON_REQUIRED, -LIMIT_SAMPLE_MAGNITUDE, LIMIT_SAMPLE_MAGNITUDE);
    struct optional_number offset = json_reader_number(
        reader->json, "offset", JSON_OPTIONAL, -LIMIT_SAMPLE_MAGNITUDE, LIMIT_SAMPLE_MAGNITUDE);
    if (!scale.known) {
        return false;
    }
    if (!(fabs(scale.value) > 0.0)) {
        member_fault(reader, "scale", "Must not be 0.");
        return false;
    }
    samples->scale = scale.value;
    samples->offset = offset.known ? offset.value : 0.0;
    if (fabs(samples->scale) * -(double)INT16_MIN + fabs(samples->offset) >
        LIMIT_SAMPLE_MAGNITUDE) {
        fault_add(reader->json->faults, json_reader_pointer(reader->json, "scale"),
                  "Samples must stay between %.15g and %.15g after scale and offset.",
                  -LIMIT_SAMPLE_MAGNITUDE, LIMIT_SAMPLE_MAGNITUDE);
        return false;
    }
    return true;
}

static int16_t int16_from_bytes(const uint8_t *bytes)
{
    uint16_t bits = (uint16_t)(bytes[0] | bytes[1] << 8);
    int16_t value = 0;
    memcpy(&value, &bits, sizeof value);
    return value;
}

static void read_int16(struct samples_reader *reader, struct samples *samples)
{
    struct samples result = {.encoding = SAMPLES_INT16};
    bool is_scaled = read_scaling(reader, &result);
    uint8_t *bytes = read_data(reader, sizeof(int16_t), &result.count);
    if (bytes == NULL || !is_scaled) {
        return;
    }
    for (size_t i = 0; i < result.count; i++) {
        int16_t code = int16_from_bytes(bytes + i * sizeof code);
        memcpy(bytes + i * sizeof code, &code, sizeof code);
        result.missing += code == INT16_MIN ? 1 : 0;
    }
    result.codes = bytes;
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

static void refuse_scaling(struct samples_reader *reader)
{
    static const char *const members[] = {"scale", "offset"};
    for (size_t i = 0; i < sizeof members / sizeof members[0]; i++) {
        if (json_reader_take(reader->json, members[i], JSON_OPTIONAL) != NULL) {
            member_fault(reader, members[i], "Belongs to the encoding int16 only.");
        }
    }
}

static void read_float32(struct samples_reader *reader, struct samples *samples)
{
    struct samples result = {.encoding = SAMPLES_FLOAT32};
    refuse_scaling(reader);
    uint8_t *bytes = read_data(reader, sizeof(float), &result.count);
    if (bytes == NULL) {
        return;
    }
    for (size_t i = 0; i < result.count; i++) {
        float code = float_from_bytes(bytes + i * sizeof code);
        memcpy(bytes + i * sizeof code, &code, sizeof code);
        result.missing += isnan(code) ? 1 : 0;
        if (fabs((double)code) > LIMIT_SAMPLE_MAGNITUDE) {
            fault_add(reader->json->faults, json_reader_pointer(reader->json, "data"),
                      "Sample %zu is %s; the missing sample is NaN.", i,
                      isinf(code) ? "infinite" : "out of range");
            return;
        }
    }
    result.codes = bytes;
    *samples = result;
}

static void read_samples(struct samples_reader *reader, struct samples *samples)
{
    static const char *const encodings[] = {"int16", "float32", NULL};
    const json_t *array = json_reader_take(reader->json, "samples", JSON_OPTIONAL);
    const json_t *encoding = json_reader_take(reader->json, "encoding", JSON_OPTIONAL);
    if (array != NULL && encoding != NULL) {
        member_fault(reader, "encoding", "Must be left out beside samples.");
    }
    if (array != NULL || encoding == NULL) {
        if (array == NULL) {
            member_fault(reader, "samples", "Required, unless encoding and data are given.");
        } else {
            read_array(reader, array, samples);
        }
        refuse_scaling(reader);
        if (json_reader_take(reader->json, "data", JSON_OPTIONAL) != NULL) {
            member_fault(reader, "data", "Belongs to an encoding, not beside samples.");
        }
        return;
    }
    const char *name = json_reader_word(reader->json, "encoding", JSON_REQUIRED, encodings);
    if (name == NULL) {
        /* Which members belong to an unknown encoding cannot be said: take them all. */
        (void)json_reader_take(reader->json, "data", JSON_OPTIONAL);
        (void)json_reader_take(reader->json, "scale", JSON_OPTIONAL);
        (void)json_reader_take(reader->json, "offset", JSON_OPTIONAL);
    } else if (strcmp(name, "int16") == 0) {
        read_int16(reader, samples);
    } else {
        read_float32(reader, samples);
    }
}

void document_samples_read(struct json_reader *channel, const struct scanned_channel *scanned,
                           struct arena *arena, size_t *sample_total, struct samples *ret_samples)
{
    struct samples_reader reader = {
        .json = channel, .scanned = scanned, .arena = arena, .sample_total = sample_total};
    read_samples(&reader, ret_samples);
}
