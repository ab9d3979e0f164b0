#include "api/api.h"
#include "api/handlers.h"
#include "formats/parameters_json.h"

void parameters_get(void *opaque, struct http_request *request, struct http_response *response)
{
    (void)opaque;
    struct text body;
    text_init(&body, request->arena, LIMIT_SMALL_BODY_BYTES);
    parameters_json_write(&body);
    api_respond_json(request, response, 200, &body);
    if (response->status == 200) {
        api_set_content_etag(request, response);
        response->cacheable = true;
        http_response_header(response, "Cache-Control", "private, no-cache");
    }
}
