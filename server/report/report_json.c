#include "report/report.h"

#include "base/clock.h"
#include "formats/json_writer.h"

#include <stdlib.h>

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

static void write_recording(const struct report_recording *recording, struct text *out)
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

/* A member that may be empty is left out then. */
static void write_given(struct text *out, const char *name, const char *words)
{
    if (words != NULL && words[0] != '\0') {
        json_writer_string(out, name, words);
    }
}

static void write_interpretation(const json_t *interpretation, struct text *out)
{
    char *json = interpretation == NULL ? NULL : json_dumps(interpretation, JSON_COMPACT);
    write_raw(out, "interpretation", json, "null");
    free(json);
}

static void write_signature(const struct report_signature *signature, struct text *out)
{
    json_writer_comma(out);
    text_append_char(out, '{');
    json_writer_name(out, "number");
    text_printf(out, "%d", signature->number);
    write_given(out, "meaning", signature->meaning);
    write_time(out, "signed_at", signature->signed_at_us);
    write_given(out, "signer_name", signature->signer_name);
    write_given(out, "signer_role", signature->signer_role);
    write_given(out, "reason", signature->reason);
    text_append_char(out, '}');
}

static void write_device(const struct report_device *device, struct text *out)
{
    json_writer_comma(out);
    text_append_char(out, '{');
    write_given(out, "kind", device->kind);
    write_given(out, "name", device->name);
    write_given(out, "serial", device->serial);
    if (device->verified_at_us != 0) {
        write_time(out, "verified_at", device->verified_at_us);
    }
    write_given(out, "verdict", device->verdict);
    if (device->due_at_us != 0) {
        write_time(out, "due_at", device->due_at_us);
    }
    write_given(out, "words", device->words);
    text_append_char(out, '}');
}

static void write_signatures_and_equipment(const struct report *report, struct text *out)
{
    json_writer_name(out, "signatures");
    text_append_char(out, '[');
    for (size_t i = 0; i < report->signature_count; i++) {
        write_signature(&report->signatures[i], out);
    }
    text_append_char(out, ']');
    json_writer_name(out, "equipment");
    text_append_char(out, '[');
    for (size_t i = 0; i < report->device_count; i++) {
        write_device(&report->devices[i], out);
    }
    text_append_char(out, ']');
}

void report_json_write(const struct report *report, struct text *out)
{
    text_append(out, "{\"clinic\":{");
    json_writer_string(out, "name", report->clinic_name);
    text_append_char(out, '}');
    write_study(report->study, out);
    write_patient(report->patient, out);
    write_interpretation(report->interpretation, out);
    write_signatures_and_equipment(report, out);
    json_writer_name(out, "recordings");
    text_append_char(out, '[');
    for (size_t i = 0; i < report->recording_count; i++) {
        write_recording(&report->recordings[i], out);
    }
    text_append_char(out, ']');
    json_writer_string(out, "caution", REPORT_CAUTION);
    text_append_char(out, '}');
}
