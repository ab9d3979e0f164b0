#include "report/summary_html.h"

#include "base/clock.h"
#include "formats/json_writer.h"

static void write_time(struct text *out, const char *name, int64_t time_us)
{
    char stamp[CLOCK_TEXT_SIZE];
    clock_format(time_us, stamp);
    json_writer_string(out, name, stamp);
}

/* A member whose value is JSON text already; `fallback` when there is none. */
static void write_raw(struct text *out, const char *name, const char *json, const char *fallback)
{
    json_writer_name(out, name);
    text_append(out, json == NULL || json[0] == '\0' ? fallback : json);
}

static void write_study(const struct study *study, struct text *out)
{
    json_writer_name(out, "study");
    text_append_char(out, '{');
    json_writer_string(out, "id", study->id);
    json_writer_string(out, "room", study->room);
    write_time(out, "started_at", study->started_at_us);
    json_writer_string(out, "operator", study->operator_name);
    json_writer_string(out, "position", study->position);
    json_writer_string(out, "catheters", study->catheters);
    write_raw(out, "history", study->history, "{}");
    json_writer_string(out, "status", study->status);
    json_writer_name(out, "open_recording_count");
    text_printf(out, "%d", study->open_recording_count);
    json_writer_name(out, "version");
    text_printf(out, "%d", study->version);
    text_append_char(out, '}');
}

static void write_patient(const struct patient *patient, struct text *out)
{
    json_writer_name(out, "patient");
    text_append_char(out, '{');
    json_writer_string(out, "id", patient->id);
    json_writer_string(out, "mrn", patient->mrn);
    json_writer_string(out, "family_name", patient->family_name);
    json_writer_string(out, "given_name", patient->given_name);
    json_writer_string(out, "birth_date", patient->birth_date);
    json_writer_string(out, "sex", patient->sex);
    if (patient->weight_kg.known) {
        json_writer_number(out, "weight_kg", patient->weight_kg.value);
    }
    text_append_char(out, '}');
}

static void write_recording(const struct summary_recording *recording, struct text *out)
{
    const struct recording_row *row = recording->row;
    json_writer_comma(out);
    text_append_char(out, '{');
    json_writer_string(out, "id", row->id);
    json_writer_string(out, "type", recording_type_name(row->type));
    write_time(out, "started_at", row->started_at_us);
    json_writer_number(out, "duration_s", row->duration_s);
    json_writer_name(out, "revision");
    text_printf(out, "%d", row->revision);
    write_raw(out, "analysis", recording->analysis_json, "null");
    text_append_char(out, '}');
}

void summary_json_write(const struct summary *summary, struct text *out)
{
    text_append(out, "{\"clinic\":{");
    json_writer_string(out, "name", summary->clinic_name);
    text_append_char(out, '}');
    write_study(summary->study, out);
    write_patient(summary->patient, out);
    json_writer_name(out, "recordings");
    text_append_char(out, '[');
    for (size_t i = 0; i < summary->recording_count; i++) {
        write_recording(&summary->recordings[i], out);
    }
    text_append_char(out, ']');
    json_writer_string(out, "caution", SUMMARY_CAUTION);
    text_append_char(out, '}');
}
