#include "formats/traces_json.h"

#include "formats/traces_heading.h"

#include <math.h>

static void append_array(struct text *out, const char *name, const struct traces_array *array,
                         size_t count)
{
    text_printf(out, ",\"%s\":[", name);
    for (size_t i = 0; i < count; i++) {
        double value = array->floats != NULL ? (double)array->floats[i] : array->doubles[i];
        if (i > 0) {
            text_append_char(out, ',');
        }
        if (isnan(value)) {
            text_append(out, "null");
        } else {
            text_append_number(out, value);
        }
    }
    text_append_char(out, ']');
}

static void append_channel(struct text *out, const struct traces_channel *channel)
{
    traces_heading_append_channel(out, channel);
    if (channel->bin_s > 0.0) {
        text_append(out, ",\"bin_s\":");
        text_append_number(out, channel->bin_s);
        append_array(out, "min", &channel->least, channel->count);
        append_array(out, "max", &channel->greatest, channel->count);
    } else {
        append_array(out, "samples", &channel->samples, channel->count);
    }
    text_append_char(out, '}');
}

void traces_json_write(const struct traces_span *span, const struct traces_channel *channels,
                       size_t channel_count, struct text *out)
{
    traces_heading_append(out, span);
    for (size_t i = 0; i < channel_count; i++) {
        text_append(out, i == 0 ? "" : ",");
        append_channel(out, &channels[i]);
    }
    text_append(out, "]}");
}
