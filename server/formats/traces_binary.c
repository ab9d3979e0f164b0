#include "formats/traces_binary.h"

#include "formats/traces_heading.h"

#include <endian.h>
#include <math.h>
#include <stdint.h>
#include <string.h>

enum { WORD = 4, PORTION = 256, HEADING_LIMIT = 64 * 1024 };

/* One quiet NaN for every missing sample, so that equal traces are equal bytes. */
static const uint32_t missing_bits = 0x7FC00000;

static uint32_t bits_of(float value)
{
    uint32_t bits = missing_bits;
    if (!isnan(value)) {
        memcpy(&bits, &value, sizeof bits);
    }
    return bits;
}

static void append_array(const struct traces_array *array, size_t count, struct text *out)
{
    uint32_t words[PORTION];
    for (size_t first = 0; first < count; first += PORTION) {
        size_t left = count - first;
        size_t portion = left < PORTION ? left : PORTION;
        for (size_t i = 0; i < portion; i++) {
            float value =
                array->floats != NULL ? array->floats[first + i] : (float)array->doubles[first + i];
            words[i] = htole32(bits_of(value));
        }
        text_append_bytes(out, words, portion * WORD);
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
    traces_heading_append_channel(heading, channel);
    text_printf(heading, ",\"count\":%zu", channel->count);
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
    traces_heading_append(heading, span);
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
    uint32_t length = htole32((uint32_t)heading.length);
    text_append_bytes(out, &length, WORD);
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
