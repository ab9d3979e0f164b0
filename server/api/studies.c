#include "api/api.h"
#include "api/handlers.h"
#include "api/resources_json.h"
#include "base/clock.h"
#include "base/uuid.h"
#include "store/store_study.h"

#include <string.h>

static const char *const STATUSES[] = {"registered", "preliminary", "final",
                                       "amended",    "cancelled",   NULL};

static void respond_study(struct api_context *context, const struct http_request *request,
                          struct http_response *response, int status, const char *id)
{
    struct study study = {0};
    struct error error = {0};
    if (!study_get(context->store, request->arena, id, &study, &error)) {
        api_fail(request, response, &error);
        return;
    }
    struct text body;
    text_init(&body, request->arena, LIMIT_SMALL_BODY_BYTES);
    study_json_append(&body, &study);
    api_audit_object(context, "studies", id);
    api_audit_patient(context, study.patient_id);
    api_respond_row(request, response, status, &body, study.version, "/v1/studies", id);
}

static void filter_words(struct study_filter *filter, struct fault_list *faults)
{
    if (filter->patient_id != NULL && !uuid_is_valid(filter->patient_id)) {
        fault_add(faults, "?patient_id", "Must be a UUID in lower-case text.");
    }
    if (filter->status == NULL) {
        return;
    }
    for (size_t i = 0; STATUSES[i] != NULL; i++) {
        if (strcmp(STATUSES[i], filter->status) == 0) {
            return;
        }
    }
    fault_add(faults, "?status",
              "Must be one of registered, preliminary, final, amended, cancelled.");
}

void studies_list(void *opaque, struct http_request *request, struct http_response *response)
{
    struct api_context *context = opaque;
    struct fault_list faults;
    fault_list_init(&faults, request->arena);
    http_request_check_query(request,
                             (const char *const[]){"limit", "cursor", "from", "to", "date", "room",
                                                   "patient_id", "status", NULL},
                             &faults);
    struct store_page page = api_page(request, &faults);
    struct study_filter filter = {
        .patient_id = http_request_query(request, "patient_id"),
        .room = http_request_query(request, "room"),
        .status = http_request_query(request, "status"),
    };
    api_query_span(request, &filter.from_us, &filter.to_us, &faults);
    filter_words(&filter, &faults);
    if (api_reject(request, response, &faults)) {
        return;
    }
    struct study *studies = NULL;
    size_t count = 0;
    const char *next = NULL;
    struct error error = {0};
    if (!study_list(context->store, request->arena, &filter, &page, &studies, &count, &next,
                    &error)) {
        api_fail_list(request, response, &error);
        return;
    }
    struct text items;
    text_init(&items, request->arena, LIMIT_BODY_BYTES);
    for (size_t i = 0; i < count; i++) {
        text_append(&items, i == 0 ? "" : ",");
        study_json_append(&items, &studies[i]);
        api_audit_patient(context, studies[i].patient_id);
    }
    api_respond_list(request, response, &items, next);
}

/* What a report needs as context, as the clinic writes it. What is not named keeps what `current`
 * holds, null removes it (RFC 7396). */
static const char *read_history(struct json_reader *reader, const char *current)
{
    static const char *const MEMBERS[] = {
        "question",    "symptoms",   "symptom_score",    "diary",
        "pad_test",    "medication", "previous_surgery", "neurological_state",
        "examination", "urine_test", "allergies"};
    struct arena *arena = reader->faults->arena;
    const json_t *value = json_reader_take(reader, "history", JSON_OPTIONAL);
    if (value == NULL) {
        return json_reader_is_null(reader, "history") ? "{}" : current;
    }
    const json_t *stored = json_reader_parse(arena, current, strlen(current), reader->faults);
    struct json_reader history;
    struct text out;
    const char *separator = "";
    json_reader_open(&history, value, json_reader_pointer(reader, "history"), reader->faults);
    text_init(&out, arena, LIMIT_SMALL_BODY_BYTES);
    text_append_char(&out, '{');
    for (size_t i = 0; i < sizeof MEMBERS / sizeof MEMBERS[0]; i++) {
        const char *before = json_string_value(json_object_get(stored, MEMBERS[i]));
        const char *entry =
            api_patch_string(&history, MEMBERS[i], LIMIT_NOTE_BYTES, before == NULL ? "" : before);
        if (entry[0] != '\0') {
            text_append(&out, separator);
            api_append_string(&out, MEMBERS[i], entry);
            separator = ",";
        }
    }
    text_append_char(&out, '}');
    json_reader_close(&history);
    return out.data;
}

/* Members that may be given at any time; absent ones keep what `study` holds. */
static void read_changeable(struct json_reader *reader, struct study *study)
{
    study->operator_name =
        api_patch_string(reader, "operator", LIMIT_NAME_BYTES, study->operator_name);
    study->position = api_patch_string(reader, "position", LIMIT_NAME_BYTES, study->position);
    study->catheters = api_patch_string(reader, "catheters", LIMIT_NOTE_BYTES, study->catheters);
    study->history = read_history(reader, study->history);
}

static void fail_to_create(const struct http_request *request, struct http_response *response,
                           struct fault_list *faults, const struct error *error)
{
    if (error->kind == ERROR_INVALID) {
        fault_add(faults, "/patient_id", "There is no such patient in this clinic.");
        http_problem_faults(request, response, 422, faults);
    } else if (error->kind == ERROR_CONFLICT) {
        http_problem(request, response, 409, "A study with this id exists already.");
    } else {
        api_fail(request, response, error);
    }
}

void studies_create(void *opaque, struct http_request *request, struct http_response *response)
{
    struct api_context *context = opaque;
    struct json_reader reader;
    struct fault_list faults;
    if (!api_read_object(request, response, &reader, &faults)) {
        return;
    }
    struct study study = {
        .operator_name = "",
        .position = "",
        .catheters = "",
        .history = "{}",
        .status = "registered",
    };
    study.id = api_read_id(&reader);
    study.patient_id = json_reader_string(&reader, "patient_id", JSON_REQUIRED, UUID_TEXT_SIZE);
    if (study.patient_id != NULL && !uuid_is_valid(study.patient_id)) {
        fault_add(&faults, "/patient_id", "Must be a UUID in lower-case text.");
    }
    study.room = json_reader_string(&reader, "room", JSON_REQUIRED, LIMIT_NAME_BYTES);
    study.started_at_us = api_read_time(&reader, "started_at", JSON_REQUIRED);
    read_changeable(&reader, &study);
    json_reader_close(&reader);
    if (api_reject(request, response, &faults)) {
        return;
    }
    const char *id = NULL;
    struct error error = {0};
    if (!study_create(context->store, request->arena, &study, &id, &error)) {
        fail_to_create(request, response, &faults, &error);
        return;
    }
    respond_study(context, request, response, 201, id);
}

void studies_get(void *opaque, struct http_request *request, struct http_response *response)
{
    struct api_context *context = opaque;
    const char *id = api_path_id(request, response, 0);
    if (id != NULL) {
        respond_study(context, request, response, 200, id);
    }
}

static void read_patch(struct json_reader *reader, struct study *study)
{
    study->room = api_patch_required_string(reader, "room", LIMIT_NAME_BYTES, study->room);
    int64_t started_at_us = api_read_time(reader, "started_at", JSON_OPTIONAL);
    api_refuse_null(reader, "started_at");
    study->started_at_us = started_at_us == 0 ? study->started_at_us : started_at_us;
    read_changeable(reader, study);
    /* Every other status follows from what is done to the study, not from being set. */
    const char *status =
        json_reader_word(reader, "status", JSON_OPTIONAL, (const char *const[]){"cancelled", NULL});
    study->status = status == NULL ? study->status : status;
}

void studies_patch(void *opaque, struct http_request *request, struct http_response *response)
{
    struct api_context *context = opaque;
    const char *id = api_path_id(request, response, 0);
    struct json_reader reader;
    struct fault_list faults;
    struct study study = {0};
    struct error error = {0};
    if (id == NULL || !api_read_object(request, response, &reader, &faults)) {
        return;
    }
    if (!study_get(context->store, request->arena, id, &study, &error)) {
        api_fail(request, response, &error);
        return;
    }
    const char *stored_status = study.status;
    read_patch(&reader, &study);
    json_reader_close(&reader);
    if (api_reject(request, response, &faults) || !api_matches(request, response, study.version)) {
        return;
    }
    if (study_status_is_signed(stored_status)) {
        http_problem(request, response, 409, "The study is signed and cannot be changed.");
        return;
    }
    if (strcmp(study.status, "cancelled") == 0 && study.open_recording_count > 0) {
        http_problem(request, response, 409,
                     "A recording of this study is still running: complete or withdraw it first.");
        return;
    }
    if (!study_update(context->store, &study, &error)) {
        api_fail(request, response, &error);
        return;
    }
    respond_study(context, request, response, 200, id);
}
