#include "api/upload.h"

#include "base/clock.h"
#include "base/uuid.h"
#include "formats/csv_read.h"
#include "formats/edf_read.h"

#include <string.h>

enum { LABELS_MAX = 256, REPORT_LIMIT = 1024 * 1024 };

/* ---- what the query says of a file ---- */

static enum recording_type read_type(const struct http_request *request, struct fault_list *faults)
{
    const char *name = http_request_query(request, "type");
    enum recording_type type = name == NULL ? RECORDING_TYPE_COUNT : recording_type_from_name(name);
    if (type == RECORDING_TYPE_COUNT) {
        struct text names;
        text_init(&names, request->arena, LIMIT_SMALL_BODY_BYTES);
        for (int i = 0; i < RECORDING_TYPE_COUNT; i++) {
            text_printf(&names, "%s%s", i == 0 ? "" : ", ",
                        recording_type_name((enum recording_type)i));
        }
        fault_add(faults, "?type", "Required, one of: %s.", names.data);
    }
    return type;
}

/* 0 when absent or faulty. */
static int64_t read_start(const struct http_request *request, bool required,
                          struct fault_list *faults)
{
    const char *text = http_request_query(request, "started_at");
    int64_t time_us = 0;
    if (text == NULL) {
        if (required) {
            fault_add(faults, "?started_at", "Required: when the recording began.");
        }
        return 0;
    }
    if (!clock_parse(text, &time_us) || time_us < LIMIT_START_EARLIEST_US ||
        time_us >= LIMIT_START_LATEST_US) {
        fault_add(faults, "?started_at",
                  "Must be an RFC 3339 date and time with its offset, from 1990 to 2100, such as "
                  "2026-03-02T09:31:05+01:00 (in a query + is %%2B).");
        return 0;
    }
    return time_us;
}

static void read_query(const struct http_request *request, struct recording_document *document,
                       struct fault_list *faults)
{
    const char *conditions = http_request_query(request, "conditions");
    document->type = read_type(request, faults);
    document->id = http_request_query(request, "id");
    if (document->id != NULL && !uuid_is_valid(document->id)) {
        fault_add(faults, "?id", "Must be a UUID in lower case.");
    }
    conditions_json_read_query(request->arena, conditions == NULL ? "{}" : conditions, faults,
                               &document->conditions);
}

/* ---- EDF ---- */

static enum signal_kind read_label_signal(const char *name, struct fault_list *faults)
{
    enum signal_kind signal = signal_from_name(name);
    if (signal == SIGNAL_NONE && strcmp(name, "-") != 0) {
        fault_add(faults, "?labels", "Names %s, which is no signal; - means: not wanted.", name);
    }
    return signal;
}

/* "LABEL:SIGNAL;LABEL:SIGNAL": the signal stands behind the last colon. */
static size_t read_labels(const struct http_request *request, struct edf_label *labels,
                          struct fault_list *faults)
{
    const char *at = http_request_query(request, "labels");
    size_t count = 0;
    while (at != NULL && *at != '\0' && count < LABELS_MAX) {
        char *pair = arena_strndup(request->arena, at, strcspn(at, ";"));
        char *colon = strrchr(pair, ':');
        at += strlen(pair);
        at += *at == ';' ? 1 : 0;
        if (colon == NULL) {
            fault_add(faults, "?labels", "Must be pairs LABEL:SIGNAL with ; between them.");
            continue;
        }
        *colon = '\0';
        labels[count++] =
            (struct edf_label){.label = pair, .signal = read_label_signal(colon + 1, faults)};
    }
    if (at != NULL && *at != '\0') {
        fault_add(faults, "?labels", "Must be at most %d pairs.", LABELS_MAX);
    }
    return count;
}

static void append_signal(struct text *out, const struct edf_report_signal *signal)
{
    text_append_char(out, '{');
    api_append_string(out, "label", signal->label);
    text_append(out, ",\"signal\":");
    text_append_json_string(out, signal->is_wanted ? signal_name(signal->signal) : NULL);
    text_append_char(out, ',');
    api_append_string(out, "dimension", signal->dimension);
    if (signal->is_wanted) {
        text_append(out, ",\"unit\":");
        text_append_json_string(out, signal->unit);
        text_append(out, ",\"rate_hz\":");
        text_append_number(out, signal->rate_hz);
        text_append(out, ",\"scale\":");
        text_append_number(out, signal->scale);
        text_append(out, ",\"offset\":");
        text_append_number(out, signal->offset);
        text_printf(out, ",\"sample_count\":%zu,\"out_of_range\":%zu,\"in_gaps\":%zu",
                    signal->sample_count, signal->out_of_range, signal->in_gaps);
    }
    text_append_char(out, '}');
}

/* What the sender sees of how his file was understood. */
static const char *report_json(struct arena *arena, const struct edf_report *report)
{
    static const char *const kinds[] = {
        [EDF_KIND_PLAIN] = "EDF",
        [EDF_KIND_CONTINUOUS] = "EDF+C",
        [EDF_KIND_DISCONTINUOUS] = "EDF+D",
    };
    struct text out;
    text_init(&out, arena, REPORT_LIMIT);
    text_printf(&out, "{\"kind\":\"%s\",\"start_local\":", kinds[report->kind]);
    text_append_json_string(&out, report->start_local);
    text_printf(&out, ",\"patient_ignored\":%s,\"events\":%zu,\"signals\":[",
                report->has_patient ? "true" : "false", report->event_count);
    const char *separator = "";
    for (size_t i = 0; i < report->signal_count; i++) {
        if (!report->signals[i].is_annotations) {
            text_append(&out, separator);
            append_signal(&out, &report->signals[i]);
            separator = ",";
        }
    }
    text_append(&out, "]}");
    return out.data;
}

static int read_edf(const struct http_request *request, struct fault_list *faults,
                    struct upload *ret_upload)
{
    struct edf_label labels[LABELS_MAX];
    struct recording_document said = {0};
    http_request_check_query(request,
                             (const char *const[]){"type", "started_at", "utc_offset_min", "labels",
                                                   "conditions", "id", NULL},
                             faults);
    read_query(request, &said, faults);
    int64_t started_at_us = read_start(request, false, faults);
    struct edf_options options = {
        .type = said.type,
        .labels = labels,
        .label_count = read_labels(request, labels, faults),
        .has_start = started_at_us != 0,
        .started_at_us = started_at_us,
        .has_utc_offset = http_request_query(request, "utc_offset_min") != NULL,
        .utc_offset_min = api_query_integer(request, "utc_offset_min", -LIMIT_UTC_OFFSET_MIN,
                                            LIMIT_UTC_OFFSET_MIN, 0, faults),
    };
    const struct recording_document *read = NULL;
    const struct edf_report *report = NULL;
    enum edf_read_outcome outcome = edf_read(request->arena, request->body, request->body_length,
                                             &options, &read, &report, faults);
    if (outcome != EDF_READ_OK || faults->count > 0) {
        return outcome == EDF_READ_MALFORMED ? 400 : 422;
    }
    struct recording_document *document = arena_alloc(request->arena, sizeof *document);
    *document = *read;
    document->id = said.id;
    document->conditions = said.conditions;
    ret_upload->document = document;
    ret_upload->report = report_json(request->arena, report);
    return 200;
}

/* ---- CSV and JSON ---- */

static int read_csv(const struct http_request *request, struct fault_list *faults,
                    struct upload *ret_upload)
{
    struct recording_document *document = arena_alloc(request->arena, sizeof *document);
    http_request_check_query(
        request, (const char *const[]){"type", "started_at", "conditions", "id", NULL}, faults);
    read_query(request, document, faults);
    document->started_at_us = read_start(request, true, faults);
    enum csv_read_outcome outcome =
        csv_read(request->arena, request->body, request->body_length, document, faults);
    ret_upload->document = document;
    if (outcome != CSV_READ_OK || faults->count > 0) {
        return outcome == CSV_READ_MALFORMED ? 400 : 422;
    }
    return 200;
}

static int read_json(const struct http_request *request, struct fault_list *faults,
                     struct upload *ret_upload)
{
    enum json_read_outcome outcome =
        recording_json_read(request->arena, request->body, request->body_length,
                            RECORDING_JSON_STORE, &ret_upload->document, faults);
    if (outcome == JSON_READ_MALFORMED) {
        return 400;
    }
    return faults->count > 0 ? 422 : 200;
}

bool upload_read(const struct http_request *request, struct http_response *response,
                 struct upload *ret_upload)
{
    struct fault_list faults;
    fault_list_init(&faults, request->arena);
    *ret_upload = (struct upload){NULL, NULL};
    if (request->media_type == NULL) { /* nobody asks for one where there is no body */
        http_problem(request, response, 400, "There is no recording: the body is empty.");
        return false;
    }
    int status = 0;
    if (strcmp(request->media_type, "application/edf") == 0) {
        status = read_edf(request, &faults, ret_upload);
    } else if (strcmp(request->media_type, "text/csv") == 0) {
        status = read_csv(request, &faults, ret_upload);
    } else {
        status = read_json(request, &faults, ret_upload);
    }
    if (status != 200) {
        http_problem_faults(request, response, status, &faults);
    }
    return status == 200;
}
