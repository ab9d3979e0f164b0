/* An administrator's view of somebody's sessions. */
#include "api/api.h"
#include "api/handlers.h"
#include "api/sessions_json.h"

/* The account that the path names, if the clinic has it; else it has answered. */
static const char *find_account(struct api_context *context, const struct http_request *request,
                                struct http_response *response)
{
    const char *id = api_path_id(request, response, 0);
    struct account account = {0};
    struct error error = {0};
    if (id != NULL && !account_get(context->store, request->arena, id, &account, &error)) {
        api_fail(request, response, &error);
        return NULL;
    }
    return id;
}

void user_sessions_list(void *opaque, struct http_request *request, struct http_response *response)
{
    struct api_context *context = opaque;
    const char *id = find_account(context, request, response);
    if (id != NULL) {
        sessions_respond_list(context, request, response, id);
    }
}

void user_sessions_delete(void *opaque, struct http_request *request,
                          struct http_response *response)
{
    struct api_context *context = opaque;
    struct error error = {0};
    if (!api_is_person(context, request, response)) {
        return;
    }
    const char *id = find_account(context, request, response);
    if (id == NULL) {
        return;
    }
    if (!session_end_all(context->store, id, NULL, &error)) {
        api_fail(request, response, &error);
        return;
    }
    http_respond(response, 204, NULL, NULL, 0);
}
