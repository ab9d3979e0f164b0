#include "formats/document_parts.h"

#include "analysis/units.h"
#include "formats/limits.h"

#include <math.h>
#include <string.h>

/* UCUM codes that an upload may use; which of them fit a signal is units_factor()'s to say. */
static const char *const upload_units[] = {
    "cm[H2O]", "kPa", "mm[Hg]", "mL", "L",  "mL/s", "L/min", "mL/min", "s",
    "min",     "mm",  "cm",     "uV", "mV", "kg",   "%",     "1",
};

enum { UNIT_LIST_LIMIT = 400 };

struct channel_reader {
    struct json_reader json;
    struct arena *arena;
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

void document_signal_names(const char *names[SIGNAL_COUNT + 1])
{
    for (size_t i = 0; i < SIGNAL_COUNT; i++) {
        names[i] = signal_name((enum signal_kind)i);
    }
    names[SIGNAL_COUNT] = NULL;
}

static enum signal_kind read_signal(struct channel_reader *reader)
{
    const char *names[SIGNAL_COUNT + 1];
    document_signal_names(names);
    const char *name = json_reader_word(&reader->json, "signal", JSON_REQUIRED, names);
    return name == NULL ? SIGNAL_NONE : signal_from_name(name);
}

void document_unit_check(enum signal_kind signal, const char *unit, const char *pointer,
                         struct fault_list *faults, double *ret_to_canonical)
{
    if (units_factor(unit, signal_unit(signal), ret_to_canonical)) {
        return;
    }
    struct text accepted;
    text_init(&accepted, faults->arena, UNIT_LIST_LIMIT);
    for (size_t i = 0; i < sizeof upload_units / sizeof upload_units[0]; i++) {
        double factor = 0.0;
        if (units_factor(upload_units[i], signal_unit(signal), &factor)) {
            text_append(&accepted, accepted.length == 0 ? "" : ", ");
            text_append(&accepted, upload_units[i]);
        }
    }
    fault_add(faults, pointer, "Must be a UCUM unit that fits %s: %s.", signal_name(signal),
              accepted.data);
}

static void read_unit(struct channel_reader *reader, struct document_channel *channel)
{
    const char *unit = json_reader_string(&reader->json, "unit", JSON_REQUIRED, LIMIT_NAME_BYTES);
    channel->unit = document_text(reader->arena, unit);
    if (unit != NULL && channel->signal != SIGNAL_NONE) {
        document_unit_check(channel->signal, unit, json_reader_pointer(&reader->json, "unit"),
                            reader->json.faults, &channel->to_canonical);
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

static void read_channel(struct channel_reader *reader, const struct scanned_channel *scanned,
                         size_t *sample_total, struct document_channel *channel)
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
    if (scanned != NULL) {
        document_samples_read(&reader->json, scanned, reader->arena, sample_total,
                              &channel->samples);
    }
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

void document_channels_read(struct json_reader *reader, const struct document_scan *scan,
                            struct arena *arena, struct document_channel **ret_channels,
                            size_t *ret_count)
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
        struct channel_reader channel = {.arena = arena};
        json_reader_open(&channel.json, json_array_get(array, i),
                         document_item_pointer(reader->faults, pointer, i), reader->faults);
        read_channel(&channel, scan == NULL ? NULL : document_scan_channel(scan, i), &sample_total,
                     &channels[i]);
    }
    check_repeats(channels, count, pointer, reader->faults);
    *ret_channels = channels;
    *ret_count = count;
}
