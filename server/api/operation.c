#include "api/api.h"
#include "api/handlers.h"
#include "base/embedded.h"
#include "base/log.h"

#include <string.h>

void operation_health(void *opaque, struct http_request *request, struct http_response *response)
{
    (void)opaque;
    (void)request;
    static const char BODY[] = "{\"status\":\"ok\"}";
    http_respond(response, 200, "application/json", BODY, sizeof BODY - 1);
    response->shared_static = true;
}

void operation_ready(void *opaque, struct http_request *request, struct http_response *response)
{
    struct api_context *context = opaque;
    struct error error = {0};
    if (!store_ready(context->store, &error)) {
        log_message(LOG_LEVEL_WARNING, "not_ready", "%s", error.detail);
        http_problem(request, response, 503, "The database does not answer, or needs migrating.");
        http_response_header(response, "Retry-After", "2");
        return;
    }
    static const char BODY[] = "{\"status\":\"ready\"}";
    http_respond(response, 200, "application/json", BODY, sizeof BODY - 1);
    response->shared_static = true;
}

void operation_openapi(void *opaque, struct http_request *request, struct http_response *response)
{
    (void)opaque;
    (void)request;
    http_respond(response, 200, "application/json", openapi_files[0].data, openapi_files[0].length);
    response->shared_static = true;
}
