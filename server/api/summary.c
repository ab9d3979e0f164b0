#include "api/api.h"
#include "api/handlers.h"
#include "api/summary_load.h"

#include <string.h>

void summary_get(void *opaque, struct http_request *request, struct http_response *response)
{
    struct api_context *context = opaque;
    struct arena *arena = request->arena;
    const char *id = api_path_id(request, response, 0);
    struct summary summary = {.clinic_name = context->principal.clinic_name};
    struct error error = {0};
    if (id == NULL) {
        return;
    }
    if (!summary_load(context->store, arena, id, &summary, &error)) {
        api_fail(request, response, &error);
        return;
    }
    struct text body;
    text_init(&body, arena, SUMMARY_LIMIT);
    if (strcmp(request->accepted, "text/html") == 0) {
        summary_html_write(&summary, arena, &body);
        api_respond_text(request, response, 200, "text/html; charset=utf-8", &body);
    } else {
        summary_json_write(&summary, &body);
        api_respond_json(request, response, 200, &body);
    }
    /* It changes with its study, its patient and any recording: only the content names it. */
    if (response->status == 200) {
        api_set_content_etag(request, response);
    }
}
