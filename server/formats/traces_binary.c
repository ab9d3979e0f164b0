#include "formats/traces_binary.h"

#include <math.h>
#include <stdint.h>
#include <string.h>

enum { WORD = 4, PORTION = 256, HEADING_LIMIT = 64 * 1024 };

/* One quiet NaN for every missing sample, so that equal traces are equal bytes. */
static const uint32_t missing_bits = 0x7FC00000;

static void put_word(uint8_t bytes[WORD], uint32_t word)
{
    for (size_t i = 0; i < WORD; i++) {
        bytes[i] = (uint8_t)(word >> (8 * i));
    }
}

static uint32_t bits_at(const struct traces_array *array, size_t index)
{
    float value = array->floats != NULL ? array->floats[index] : (float)array->doubles[index];
    uint32_t bits = missing_bits;
    if (!isnan(value)) {
        memcpy(&bits, &value, sizeof bits);
    }
    return bits;
}

static void append_array(const struct traces_array *array, size_t count, struct text *out)
{
    uint8_t bytes[PORTION * WORD];
    for (size_t first = 0; first < count; first += PORTION) {
        size_t left = count - first;
        size_t portion = left < PORTION ? left : PORTION;
        for (size_t i = 0; i < portion; i++) {
            put_word(bytes + i * WORD, bits_at(array, first + i));
        }
        text_append_bytes(out, bytes, portion * WORD);
    }
}

/* Appends the member and moves *at behind the array. */
static void append_place(struct text *heading, const char *member, size_t count, size_t *at)
{
    text_printf(heading, ",\"%s\":%zu", member, *at);
    *at += count * WORD;
}

static void append_channel(struct text *heading, const struct traces_channel *channel, size_t *at)
{
    text_printf(heading, "{\"signal\":\"%s\",\"unit\":", signal_name(channel->signal));
    text_append_json_string(heading, channel->unit);
    text_append(heading, ",\"rate_hz\":");
    text_append_number(heading, channel->rate_hz);
    text_append(heading, ",\"start_s\":");
    text_append_number(heading, channel->start_s);
    text_printf(heading, ",\"sample_count\":%zu%s,\"count\":%zu", channel->sample_count,
                channel->is_derived ? ",\"derived\":true" : "", channel->count);
    if (channel->bin_s > 0.0) {
        text_append(heading, ",\"bin_s\":");
        text_append_number(heading, channel->bin_s);
        append_place(heading, "min_at", channel->count, at);
        append_place(heading, "max_at", channel->count, at);
    } else {
        append_place(heading, "samples_at", channel->count, at);
    }
    text_append_char(heading, '}');
}

/* Padded with spaces, which JSON allows behind a value, to whole words. */
static void write_heading(const struct traces_span *span, const struct traces_channel *channels,
                          size_t channel_count, struct text *heading)
{
    size_t at = 0;
    text_append(heading, "{\"recording_id\":");
    text_append_json_string(heading, span->recording_id);
    text_append(heading, ",\"from_s\":");
    text_append_number(heading, span->from_s);
    text_append(heading, ",\"to_s\":");
    text_append_number(heading, span->to_s);
    text_append(heading, ",\"traces\":[");
    for (size_t i = 0; i < channel_count; i++) {
        text_append(heading, i == 0 ? "" : ",");
        append_channel(heading, &channels[i], &at);
    }
    text_append(heading, "]}");
    while (heading->length % WORD != 0) {
        text_append_char(heading, ' ');
    }
}

void traces_binary_write(const struct traces_span *span, const struct traces_channel *channels,
                         size_t channel_count, struct text *out)
{
    struct text heading;
    text_init(&heading, out->arena, HEADING_LIMIT);
    write_heading(span, channels, channel_count, &heading);
    uint8_t length[WORD];
    put_word(length, (uint32_t)heading.length);
    text_append_bytes(out, length, WORD);
    text_append_bytes(out, heading.data, heading.length);
    for (size_t i = 0; i < channel_count; i++) {
        const struct traces_channel *channel = &channels[i];
        if (channel->bin_s > 0.0) {
            append_array(&channel->least, channel->count, out);
            append_array(&channel->greatest, channel->count, out);
        } else {
            append_array(&channel->samples, channel->count, out);
        }
    }
}
