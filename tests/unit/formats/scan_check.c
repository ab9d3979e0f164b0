#include "scan_check.h"

#include "formats/document_parts.h"
#include "formats/document_scan.h"
#include "formats/limits.h"

#include <math.h>
#include <string.h>

/* One reading of a text. */
struct reading {
    struct document_scan scan;
    json_t *tree;
    struct fault_list faults;
    struct document_channel *channels;
    size_t channel_count;
};

static void read_text(struct reading *reading, struct arena *arena)
{
    fault_list_init(&reading->faults, arena);
    reading->channels = NULL;
    reading->channel_count = 0;
    reading->tree = json_reader_load_reduced(&reading->scan, &reading->faults);
    if (reading->tree != NULL) {
        struct json_reader reader;
        json_reader_open(&reader, reading->tree, "", &reading->faults);
        document_channels_read(&reader, &reading->scan, arena, &reading->channels,
                               &reading->channel_count);
    }
}

/* Whether json_loadb(), without anything of ours around it, says the same of the text. */
static const char *compare_with_jansson(const struct reading *plain, const char *body,
                                        size_t length)
{
    const struct fault_list *faults = &plain->faults;
    if (memchr(body, '\0', length) != NULL ||
        (plain->tree == NULL && strstr(faults->items[0].detail, "nested too deeply") != NULL)) {
        return NULL; /* what is refused before Jansson sees it */
    }
    json_error_t error;
    json_t *tree = json_loadb(body, length, JSON_REJECT_DUPLICATES | JSON_DECODE_ANY, &error);
    json_decref(tree);
    if ((tree == NULL) != (plain->tree == NULL)) {
        return "verdict against Jansson";
    }
    if (tree != NULL) {
        return NULL;
    }
    const char *place =
        arena_printf(faults->arena, "Line %d, column %d: ", error.line, error.column);
    return strncmp(faults->items[0].detail, place, strlen(place)) == 0 ? NULL
                                                                       : "place against Jansson";
}

static const char *compare_faults(const struct fault_list *plain, const struct fault_list *scanned)
{
    if (plain->count != scanned->count || plain->dropped != scanned->dropped) {
        return "number of faults";
    }
    for (size_t i = 0; i < plain->count; i++) {
        if (strcmp(plain->items[i].pointer, scanned->items[i].pointer) != 0) {
            return "pointer of a fault";
        }
        if (strcmp(plain->items[i].detail, scanned->items[i].detail) != 0) {
            return "text of a fault";
        }
    }
    return NULL;
}

static uint64_t bits_of(double value)
{
    uint64_t bits = 0;
    memcpy(&bits, &value, sizeof bits);
    return bits;
}

/* Number of decimals at which every value has a code, straight from the definition. */
static int fewest_decimals(const double *values, size_t count)
{
    for (int decimals = 0; decimals <= SAMPLES_DECIMALS_MAX; decimals++) {
        size_t held = 0;
        for (size_t i = 0; i < count; i++) {
            int32_t code = 0;
            held += isnan(values[i]) || samples_decimal_code(values[i], decimals, &code) ? 1 : 0;
        }
        if (held == count) {
            return decimals;
        }
    }
    return -1;
}

static const char *compare_samples(const json_t *array, const struct samples *samples,
                                   struct arena *arena)
{
    if (!json_is_array(array) || json_array_size(array) != samples->count) {
        return "number of samples";
    }
    const double *values = samples_all_values(samples, arena);
    size_t missing = 0;
    for (size_t i = 0; i < samples->count; i++) {
        const json_t *item = json_array_get(array, i);
        if (json_is_null(item)) {
            missing++;
        }
        if (json_is_null(item)
                ? !isnan(values[i])
                : !json_is_number(item) || bits_of(values[i]) != bits_of(json_number_value(item))) {
            return "a sample";
        }
    }
    int decimals = fewest_decimals(values, samples->count);
    bool is_shortest = samples->encoding == (decimals < 0 ? SAMPLES_FLOAT64 : SAMPLES_DECIMAL) &&
                       samples->decimals == (decimals < 0 ? 0 : decimals);
    return missing != samples->missing ? "missing samples" : is_shortest ? NULL : "encoding";
}

/* What was cut out of the channels against the plain tree, from which it is then removed too. */
static const char *compare_cuts(const json_t *tree, const struct document_scan *scan,
                                struct arena *arena, struct scan_check_counts *counts)
{
    json_t *channels = json_object_get(tree, "channels");
    const char *difference = NULL;
    for (size_t i = 0; i < LIMIT_CHANNELS && difference == NULL; i++) {
        const struct scanned_channel *scanned = document_scan_channel(scan, i);
        json_t *channel = json_array_get(channels, i);
        json_t *array = json_object_get(channel, "samples");
        json_t *data = json_object_get(channel, "data");
        if (scanned->has_samples) {
            difference = compare_samples(array, &scanned->samples, arena);
            json_array_clear(array);
            counts->arrays++;
            counts->numbers += scanned->samples.count;
            counts->doubles += scanned->samples.encoding == SAMPLES_FLOAT64 ? 1 : 0;
        }
        if (scanned->data != NULL) {
            if (json_string_length(data) != scanned->data_length ||
                memcmp(json_string_value(data), scanned->data, scanned->data_length) != 0) {
                return "a data string";
            }
            json_string_set(data, "");
            counts->strings++;
        }
    }
    return difference;
}

static const char *compare_channels(const struct reading *plain, const struct reading *scanned)
{
    if (plain->channel_count != scanned->channel_count) {
        return "number of channels";
    }
    for (size_t i = 0; i < plain->channel_count; i++) {
        if (!samples_equal(&plain->channels[i].samples, &scanned->channels[i].samples)) {
            return "samples of a channel";
        }
    }
    return NULL;
}

static const char *compare_readings(const struct reading *plain, const struct reading *scanned,
                                    struct arena *arena, struct scan_check_counts *counts)
{
    if ((plain->tree == NULL) != (scanned->tree == NULL)) {
        return "verdict";
    }
    const char *difference = compare_faults(&plain->faults, &scanned->faults);
    if (difference != NULL) {
        return difference;
    }
    if (plain->tree == NULL) {
        counts->malformed++;
        counts->malformed_after_cut += scanned->scan.cut_count > 0 ? 1 : 0;
        return NULL;
    }
    if (plain->faults.count == 0) {
        counts->sound++;
        difference = compare_channels(plain, scanned);
    } else {
        counts->faulty++;
    }
    if (difference == NULL) {
        difference = compare_cuts(plain->tree, &scanned->scan, arena, counts);
    }
    return difference != NULL || json_equal(plain->tree, scanned->tree) ? difference : "tree";
}

const char *scan_check(const char *body, size_t length, struct scan_check_counts *counts)
{
    struct arena *arena = arena_new();
    struct reading plain;
    struct reading scanned;
    document_scan_nothing(&plain.scan, body, length);
    document_scan_run(&scanned.scan, arena, body, length);
    read_text(&plain, arena);
    read_text(&scanned, arena);
    const char *difference = compare_with_jansson(&plain, body, length);
    if (difference == NULL) {
        difference = compare_readings(&plain, &scanned, arena, counts);
    }
    json_decref(plain.tree);
    json_decref(scanned.tree);
    arena_free(arena);
    return difference;
}
