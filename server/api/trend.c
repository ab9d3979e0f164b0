#include "api/api.h"
#include "api/handlers.h"
#include "api/patient_access.h"
#include "report/trend_json.h"
#include "store/store_patient.h"

enum { TREND_LIMIT_BYTES = 16 * 1024 * 1024 };

void trend_get(void *opaque, struct http_request *request, struct http_response *response)
{
    struct api_context *context = opaque;
    const char *id = api_path_id(request, response, 0);
    struct fault_list faults;
    struct patient patient = {0};
    struct trend_summary summary = {.patient_id = id};
    struct trend_row *rows = NULL;
    struct error error = {0};
    if (id == NULL) {
        return;
    }
    fault_list_init(&faults, request->arena);
    http_request_check_query(request, (const char *const[]){"limit", NULL}, &faults);
    int limit = api_query_integer(request, "limit", 1, API_PAGE_MAX, API_PAGE_DEFAULT, &faults);
    if (api_reject(request, response, &faults)) {
        return;
    }
    if (!patient_get(context->store, request->arena, id, &patient, &error) ||
        !trend_list(context->store, request->arena, id, limit, &rows, &summary.row_count,
                    &summary.truncated, &error)) {
        patient_fail(context, request, response, id, &error);
        return;
    }
    summary.rows = rows;
    struct text body;
    text_init(&body, request->arena, TREND_LIMIT_BYTES);
    trend_json_write(&summary, request->arena, &body);
    api_respond_json(request, response, 200, &body);
    if (response->status == 200) {
        api_set_content_etag(request, response);
    }
}
