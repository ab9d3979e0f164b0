#include "formats/traces_heading.h"

void traces_heading_append(struct text *out, const struct traces_span *span)
{
    text_append(out, "{\"recording_id\":");
    text_append_json_string(out, span->recording_id);
    text_append(out, ",\"from_s\":");
    text_append_number(out, span->from_s);
    text_append(out, ",\"to_s\":");
    text_append_number(out, span->to_s);
    text_append(out, ",\"traces\":[");
}

void traces_heading_append_channel(struct text *out, const struct traces_channel *channel)
{
    text_printf(out, "{\"signal\":\"%s\",\"unit\":", signal_name(channel->signal));
    text_append_json_string(out, channel->unit);
    text_append(out, ",\"rate_hz\":");
    text_append_number(out, channel->rate_hz);
    text_append(out, ",\"start_s\":");
    text_append_number(out, channel->start_s);
    text_printf(out, ",\"sample_count\":%zu%s", channel->sample_count,
                channel->is_derived ? ",\"derived\":true" : "");
}
