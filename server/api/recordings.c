#include "api/compute.h"
#include "api/handlers.h"
#include "api/recording_access.h"
#include "api/resources_json.h"
#include "api/upload.h"
#include "base/clock.h"

#include <string.h>

/* Where the page begins: after the recording that the cursor names. False when there is none. */
static bool find_page(const struct recording_row *rows, size_t count, const char *cursor,
                      size_t *ret_first)
{
    *ret_first = 0;
    if (cursor == NULL) {
        return true;
    }
    for (size_t i = 0; i < count; i++) {
        if (strcmp(rows[i].id, cursor) == 0) {
            *ret_first = i + 1;
            return true;
        }
    }
    return false;
}

/* Takes the withdrawn ones out of the rows, and gives how many are left. */
static size_t drop_withdrawn(struct recording_row *rows, size_t count)
{
    size_t kept = 0;
    for (size_t i = 0; i < count; i++) {
        if (rows[i].state != RECORDING_WITHDRAWN) {
            rows[kept++] = rows[i];
        }
    }
    return kept;
}

void recordings_list(void *opaque, struct http_request *request, struct http_response *response)
{
    struct api_context *context = opaque;
    const char *study_id = api_path_id(request, response, 0);
    struct study study = {0};
    struct recording_row *rows = NULL;
    size_t count = 0;
    struct error error = {0};
    if (study_id == NULL) {
        return;
    }
    struct fault_list faults;
    fault_list_init(&faults, request->arena);
    http_request_check_query(request, (const char *const[]){"limit", "cursor", "withdrawn", NULL},
                             &faults);
    struct store_page page = api_page(request, &faults);
    bool withdrawn_too = api_query_flag(request, "withdrawn", &faults);
    if (api_reject(request, response, &faults)) {
        return;
    }
    /* The recording that a cursor names may have been withdrawn since the page before. */
    bool all = withdrawn_too || page.cursor != NULL;
    if (!study_get(context->store, request->arena, study_id, &study, &error) ||
        !recording_list(context->store, request->arena, study_id, all, &rows, &count, &error)) {
        api_fail(request, response, &error);
        return;
    }
    size_t first = 0;
    if (!find_page(rows, count, page.cursor, &first)) {
        (void)error_set(&error, ERROR_INVALID, "cursor");
        api_fail_list(request, response, &error);
        return;
    }
    rows += first;
    size_t left = withdrawn_too ? count - first : drop_withdrawn(rows, count - first);
    size_t taken = left < (size_t)page.limit ? left : (size_t)page.limit;
    struct text items;
    text_init(&items, request->arena, LIMIT_BODY_BYTES);
    for (size_t i = 0; i < taken; i++) {
        text_append(&items, i == 0 ? "" : ",");
        recording_json_append(&items, &rows[i]);
    }
    api_respond_list(request, response, &items, taken < left ? rows[taken - 1].id : NULL);
}

void recordings_get(void *opaque, struct http_request *request, struct http_response *response)
{
    struct api_context *context = opaque;
    const char *id = api_path_id(request, response, 0);
    if (id != NULL) {
        recording_respond(context, request, response, 200, id);
    }
}

void recordings_create(void *opaque, struct http_request *request, struct http_response *response)
{
    struct api_context *context = opaque;
    const char *study_id = api_path_id(request, response, 0);
    struct study study = {0};
    struct patient patient = {0};
    struct error error = {0};
    if (study_id == NULL) {
        return;
    }
    if (!study_get(context->store, request->arena, study_id, &study, &error) ||
        !patient_get(context->store, request->arena, study.patient_id, &patient, &error)) {
        api_fail(request, response, &error);
        return;
    }
    double begun_s = clock_monotonic_s();
    struct upload upload;
    if (!upload_read(request, response, &upload)) {
        return;
    }
    double parsed_s = clock_monotonic_s();
    struct clinic_choices choices;
    if (!clinic_choices_load(context->store, request->arena, &choices, &error)) {
        api_fail(request, response, &error);
        return;
    }
    struct computation *computation =
        compute_begin(request->arena, upload.document, &patient, &choices.in_use);
    const struct pending_analysis analysis = {.finish = compute_finish, .context = computation};
    const char *id = NULL;
    bool existed = false;
    if (!recording_create_pending(context->store, request->arena, study_id, upload.document,
                                  &analysis, &id, &existed, &error)) {
        recording_fail(request, response, &error);
        return;
    }
    recording_respond_analysed(context, request, response, existed ? 200 : 201, id, upload.report);
    double answered_s = clock_monotonic_s();
    response->split_s[0] = parsed_s - begun_s;
    response->split_s[1] = compute_duration_s(computation);
    response->split_s[2] = answered_s - parsed_s;
}

void recordings_get_analysis(void *opaque, struct http_request *request,
                             struct http_response *response)
{
    struct api_context *context = opaque;
    struct recording_row row = {0};
    struct fault_list faults;
    fault_list_init(&faults, request->arena);
    if (!recording_find(context, request, response, RECORDING_ANALYSED, &row)) {
        return;
    }
    http_request_check_query(request, (const char *const[]){"revision", NULL}, &faults);
    int wanted = api_query_integer(request, "revision", 1, 1000000000, 0, &faults);
    if (api_reject(request, response, &faults)) {
        return;
    }
    const char *json = NULL;
    int revision = 0;
    struct error error = {0};
    if (!recording_analysis(context->store, request->arena, row.id, wanted, &json, &revision,
                            &error)) {
        api_fail(request, response, &error);
        return;
    }
    http_respond(response, 200, "application/json", json, strlen(json));
    api_set_etag(request, response, revision);
}
