#include "api/devices_json.h"

#include "api/api.h"
#include "formats/json_writer.h"

static void append_time(struct text *out, const char *name, int64_t time_us)
{
    json_writer_comma(out);
    api_append_time(out, name, time_us);
}

const char *device_state_name(const struct device *device)
{
    if (device->last == NULL) {
        return "not_verified";
    }
    return device->passed && device->overdue ? "overdue"
                                             : equipment_verdict_name(device->last->verdict);
}

static void append_short(struct text *out, const struct device_verification *verification)
{
    text_append_char(out, '{');
    json_writer_string(out, "id", verification->id);
    append_time(out, "verified_at", verification->verified_at_us);
    json_writer_string(out, "verified_by", verification->verified_by);
    json_writer_string(out, "verdict", equipment_verdict_name(verification->verdict));
    json_writer_string(out, "text", verification->words);
    text_append_char(out, '}');
}

static void append_signals(struct text *out, const struct device *device)
{
    json_writer_name(out, "signals");
    text_append_char(out, '[');
    for (int i = 0; i < SIGNAL_COUNT; i++) {
        if (device->signals[i]) {
            json_writer_comma(out);
            text_append_json_string(out, signal_name((enum signal_kind)i));
        }
    }
    text_append_char(out, ']');
}

void device_json_append(struct text *out, const struct device *device)
{
    text_append_char(out, '{');
    json_writer_string(out, "id", device->id);
    json_writer_string(out, "kind", equipment_kind_name(device->kind));
    json_writer_string(out, "name", device->name);
    json_writer_string(out, "maker", device->maker);
    json_writer_string(out, "serial", device->serial);
    append_signals(out, device);
    json_writer_name(out, "limits");
    text_append(out, device->limits_json);
    json_writer_string(out, "room", device->room);
    json_writer_flag(out, "in_use", device->in_use);
    append_time(out, "since", device->since_us);
    if (device->due_every_days > 0) {
        json_writer_number(out, "due_every_days", device->due_every_days);
    }
    json_writer_string(out, "state", device_state_name(device));
    json_writer_flag(out, "overdue", device->overdue);
    if (device->due_at_us != 0) {
        append_time(out, "due_at", device->due_at_us);
    }
    json_writer_name(out, "last_verification");
    if (device->last == NULL) {
        text_append(out, "null");
    } else {
        append_short(out, device->last);
    }
    json_writer_number(out, "version", device->version);
    text_append_char(out, '}');
}

void device_verification_json_append(struct text *out,
                                     const struct device_verification *verification)
{
    text_append_char(out, '{');
    json_writer_string(out, "id", verification->id);
    json_writer_string(out, "device_id", verification->device_id);
    append_time(out, "verified_at", verification->verified_at_us);
    append_time(out, "recorded_at", verification->recorded_at_us);
    json_writer_string(out, "verified_by", verification->verified_by);
    json_writer_string(out, "method", verification->method);
    json_writer_string(out, "remarks", verification->remarks);
    json_writer_string(out, "verdict", equipment_verdict_name(verification->verdict));
    json_writer_string(out, "text", verification->words);
    json_writer_name(out, "judgement");
    text_append(out, verification->judgement_json);
    text_append_char(out, '}');
}
