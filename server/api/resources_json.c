#include "api/resources_json.h"

#include "api/api.h"

void patient_json_append(struct text *out, const struct patient *patient)
{
    text_append_char(out, '{');
    api_append_string(out, "id", patient->id);
    text_append_char(out, ',');
    api_append_string(out, "mrn", patient->mrn);
    text_append_char(out, ',');
    api_append_string(out, "family_name", patient->family_name);
    text_append_char(out, ',');
    api_append_string(out, "given_name", patient->given_name);
    text_append_char(out, ',');
    api_append_string(out, "birth_date", patient->birth_date);
    text_append_char(out, ',');
    api_append_string(out, "sex", patient->sex);
    if (patient->weight_kg.known) {
        text_append(out, ",\"weight_kg\":");
        text_append_number(out, patient->weight_kg.value);
    }
    text_printf(out, ",\"version\":%d}", patient->version);
}

void study_json_append(struct text *out, const struct study *study)
{
    text_append_char(out, '{');
    api_append_string(out, "id", study->id);
    text_append_char(out, ',');
    api_append_string(out, "patient_id", study->patient_id);
    if (study->patient_name != NULL) {
        text_append_char(out, ',');
        api_append_string(out, "patient_name", study->patient_name);
        text_append_char(out, ',');
        api_append_string(out, "patient_mrn", study->patient_mrn);
    }
    text_append_char(out, ',');
    api_append_string(out, "room", study->room);
    text_append_char(out, ',');
    api_append_time(out, "started_at", study->started_at_us);
    text_append_char(out, ',');
    api_append_string(out, "operator", study->operator_name);
    text_append_char(out, ',');
    api_append_string(out, "position", study->position);
    text_append_char(out, ',');
    api_append_string(out, "catheters", study->catheters);
    text_append(out, ",\"history\":");
    text_append(out, study->history);
    text_append_char(out, ',');
    api_append_string(out, "status", study->status);
    text_printf(out, ",\"recording_count\":%d,\"open_recording_count\":%d,\"version\":%d}",
                study->recording_count, study->open_recording_count, study->version);
}

static void append_channel(struct text *out, const struct recording_channel_row *channel)
{
    text_append_char(out, '{');
    api_append_string(out, "signal", signal_name(channel->signal));
    text_append_char(out, ',');
    api_append_string(out, "unit", channel->unit);
    text_append(out, ",\"rate_hz\":");
    text_append_number(out, channel->rate_hz);
    text_append(out, ",\"start_s\":");
    text_append_number(out, channel->start_s);
    text_printf(out, ",\"sample_count\":%zu,\"missing\":%zu,", channel->shape.count,
                channel->shape.missing);
    api_append_string(out, "encoding", sample_encoding_name(channel->shape.encoding));
    text_append_char(out, '}');
}

static void append_header(struct text *out, const struct recording_row *row)
{
    api_append_string(out, "id", row->id);
    text_append_char(out, ',');
    api_append_string(out, "study_id", row->study_id);
    text_append_char(out, ',');
    api_append_string(out, "type", recording_type_name(row->type));
    text_append_char(out, ',');
    api_append_time(out, "started_at", row->started_at_us);
    text_append_char(out, ',');
    api_append_time(out, "received_at", row->received_at_us);
    text_append(out, ",\"duration_s\":");
    text_append_number(out, row->duration_s);
    text_append_char(out, ',');
    api_append_string(out, "state", recording_state_name(row->state));
    text_printf(out, ",\"version\":%d,\"revision\":%d,\"conditions\":%s", row->version,
                row->revision, row->conditions_json);
}

static void append_channels(struct text *out, const struct recording_row *row)
{
    if (row->channel_count == 0) {
        return;
    }
    text_append(out, ",\"channels\":[");
    for (size_t i = 0; i < row->channel_count; i++) {
        text_append(out, i == 0 ? "" : ",");
        append_channel(out, &row->channels[i]);
    }
    text_append_char(out, ']');
}

void recording_json_append(struct text *out, const struct recording_row *row)
{
    text_append_char(out, '{');
    append_header(out, row);
    append_channels(out, row);
    text_append_char(out, '}');
}

static void append_announced(struct text *out, const struct recording_document *opening)
{
    text_append(out, ",\"announced\":[");
    for (size_t i = 0; i < opening->channel_count; i++) {
        const struct document_channel *channel = &opening->channels[i];
        text_append(out, i == 0 ? "{" : ",{");
        api_append_string(out, "signal", signal_name(channel->signal));
        text_append_char(out, ',');
        api_append_string(out, "unit", channel->unit);
        text_append(out, ",\"rate_hz\":");
        text_append_number(out, channel->rate_hz);
        text_append(out, ",\"start_s\":");
        text_append_number(out, channel->start_s);
        text_append_char(out, '}');
    }
    text_append_char(out, ']');
}

void recording_json_append_pieces(struct text *out, const struct recording_row *row,
                                  const struct recording_document *opening,
                                  const struct chunk_status *status)
{
    text_append_char(out, '{');
    append_header(out, row);
    append_channels(out, row);
    append_announced(out, opening);
    text_printf(out, ",\"chunks\":{\"count\":%d,\"received\":[", status->count);
    for (size_t i = 0; i < status->range_count; i++) {
        text_printf(out, "%s[%d,%d]", i == 0 ? "" : ",", status->ranges[i].first,
                    status->ranges[i].last);
    }
    text_append_char(out, ']');
    if (status->count > 0) {
        text_append_char(out, ',');
        api_append_time(out, "last_received_at", status->last_received_at_us);
    }
    text_append(out, "}}");
}

void author_json_append(struct text *out, const char *member, const char *id, const char *name)
{
    text_printf(out, "\"%s\":", member);
    if (id == NULL) {
        text_append(out, "null");
        return;
    }
    text_append_char(out, '{');
    api_append_string(out, "id", id);
    text_append_char(out, ',');
    api_append_string(out, "name", name);
    text_append_char(out, '}');
}
