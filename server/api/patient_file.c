/* Everything that is kept about one patient, as one document to give to the patient. */
#include "api/api.h"
#include "api/handlers.h"
#include "api/patient_access.h"
#include "base/clock.h"
#include "formats/json_writer.h"
#include "store/store_patient_file.h"
#include "store/store_recording.h"

#include <math.h>
#include <string.h>

#define FILE_ANSWER_LIMIT ((size_t)128 * 1024 * 1024)

/* What the answer may be made of, so that it fits its limit: a revision's text is copied as it is,
 * and a sample takes 20 bytes at most of those that no short decimal holds. */
enum { FILE_BYTES_MOST = 64 * 1024 * 1024, FILE_SAMPLES_MOST = 2 * 1000 * 1000 };

static void append_open_object(struct text *out, const char *json)
{
    text_append_bytes(out, json, strlen(json) - 1);
}

static void append_addresses(struct text *out, const char *recording_id)
{
    text_printf(out,
                ",\"samples\":{\"traces\":\"/v1/recordings/%s/traces\",\"media_types\":["
                "\"application/json\",\"application/octet-stream\",\"text/csv\","
                "\"application/edf\"]}",
                recording_id);
}

static void append_values(struct text *out, struct arena *arena, const struct samples *samples)
{
    const double *values = samples_all_values(samples, arena);
    text_append(out, ",\"values\":[");
    for (size_t i = 0; i < samples->count; i++) {
        text_append(out, i == 0 ? "" : ",");
        if (isnan(values[i])) {
            text_append(out, "null");
        } else {
            text_append_number(out, values[i]);
        }
    }
    text_append_char(out, ']');
}

static bool append_samples(struct api_context *context, struct arena *arena, const char *id,
                           struct text *out, struct error *reterr)
{
    struct recording_row row = {0};
    if (!recording_get(context->store, arena, id, &row, reterr)) {
        return false;
    }
    text_append(out, ",\"sample_values\":[");
    for (size_t i = 0; i < row.channel_count; i++) {
        const struct recording_channel_row *channel = &row.channels[i];
        struct samples samples;
        if (!recording_samples(context->store, arena, &row, channel, 0, channel->shape.count,
                               &samples, reterr)) {
            return false;
        }
        json_writer_comma(out);
        text_append_char(out, '{');
        json_writer_string(out, "signal", signal_name(channel->signal));
        append_values(out, arena, &samples);
        text_append_char(out, '}');
    }
    text_append_char(out, ']');
    return true;
}

/* The recordings of a study; each recording's samples are dropped before the next one's. */
static bool append_recordings(struct api_context *context, const struct patient_file *file,
                              const char *study_id, bool with_samples, struct text *out,
                              struct error *reterr)
{
    bool good = true;
    text_append(out, ",\"recordings\":[");
    for (size_t i = 0; good && i < file->recording_count; i++) {
        const struct patient_file_recording *recording = &file->recordings[i];
        if (strcmp(recording->study_id, study_id) != 0) {
            continue;
        }
        json_writer_comma(out);
        append_open_object(out, recording->json);
        append_addresses(out, recording->id);
        if (with_samples) {
            struct arena *arena = arena_new();
            good = append_samples(context, arena, recording->id, out, reterr);
            arena_free(arena);
        }
        text_append_char(out, '}');
    }
    text_append_char(out, ']');
    return good;
}

static bool append_file(struct api_context *context, const struct patient_file *file,
                        bool with_samples, struct text *out, struct error *reterr)
{
    bool good = true;
    text_append_char(out, '{');
    json_writer_string(out, "format", "penstock-patient-file/1");
    text_append_char(out, ',');
    api_append_time(out, "made_at", clock_now_us());
    json_writer_name(out, "clinic");
    text_append_char(out, '{');
    json_writer_string(out, "id", context->principal.clinic_id);
    json_writer_string(out, "name", context->principal.clinic_name);
    text_append(out, "},");
    append_open_object(out, file->json + 1);
    text_append(out, ",\"studies\":[");
    for (size_t i = 0; good && i < file->study_count; i++) {
        json_writer_comma(out);
        append_open_object(out, file->studies[i].json);
        good = append_recordings(context, file, file->studies[i].id, with_samples, out, reterr);
        text_append_char(out, '}');
    }
    text_append(out, "]}");
    return good;
}

static bool fits(const struct http_request *request, struct http_response *response,
                 const struct patient_file_size *size, bool with_samples)
{
    if (size->bytes > FILE_BYTES_MOST) {
        http_problem(request, response, 409,
                     "The events and analyses of this patient are too large for one answer (%lld "
                     "bytes). Read them recording by recording: GET /v1/studies?patient_id=…, "
                     "/v1/studies/{id}/recordings?withdrawn=true, /v1/recordings/{id}/history.",
                     (long long)size->bytes);
        return false;
    }
    if (with_samples && size->samples > FILE_SAMPLES_MOST) {
        http_problem(request, response, 409,
                     "The samples of this patient are too many for one answer (%lld; at most %d). "
                     "Leave samples=true out: the document then says where each recording's are.",
                     (long long)size->samples, FILE_SAMPLES_MOST);
        return false;
    }
    return true;
}

/* The date, because a name or number would stand in the list of a browser's downloads. */
static void attach(const struct http_request *request, struct http_response *response)
{
    char now[CLOCK_TEXT_SIZE];
    clock_format(clock_now_us(), now);
    http_response_header(
        response, "Content-Disposition",
        arena_printf(request->arena, "attachment; filename=\"patient-file-%.10s.json\"", now));
}

void patient_file_get(void *opaque, struct http_request *request, struct http_response *response)
{
    struct api_context *context = opaque;
    const char *id = api_path_id(request, response, 0);
    struct fault_list faults;
    struct patient_file_size size = {0};
    struct patient_file file = {0};
    struct error error = {0};
    if (id == NULL) {
        return;
    }
    fault_list_init(&faults, request->arena);
    http_request_check_query(request, (const char *const[]){"samples", NULL}, &faults);
    bool with_samples = api_query_flag(request, "samples", &faults);
    if (api_reject(request, response, &faults)) {
        return;
    }
    if (!patient_file_size(context->store, id, &size, &error)) {
        patient_fail(context, request, response, id, &error);
        return;
    }
    if (!fits(request, response, &size, with_samples)) {
        return;
    }
    struct text body;
    text_init(&body, request->arena, FILE_ANSWER_LIMIT);
    if (!patient_file_load(context->store, request->arena, id, &file, &error) ||
        !append_file(context, &file, with_samples, &body, &error)) {
        api_fail(request, response, &error);
        return;
    }
    api_respond_json(request, response, 200, &body);
    if (response->status == 200) {
        attach(request, response);
    }
}
