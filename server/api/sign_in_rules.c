/* What a clinic asks of those who sign in. */
#include "api/api.h"
#include "api/handlers.h"
#include "api/roles_json.h"

static void respond(struct api_context *context, const struct http_request *request,
                    struct http_response *response)
{
    unsigned roles = 0;
    struct error error = {0};
    if (!clinic_second_factor_roles(context->store, &roles, &error)) {
        api_fail(request, response, &error);
        return;
    }
    struct text body;
    text_init(&body, request->arena, LIMIT_SMALL_BODY_BYTES);
    text_append(&body, "{\"second_factor\":{");
    roles_json_append(&body, roles);
    text_append(&body, "}}");
    api_respond_json(request, response, 200, &body);
    api_set_content_etag(request, response);
}

void sign_in_rules_get(void *opaque, struct http_request *request, struct http_response *response)
{
    respond(opaque, request, response);
}

/* The roles whose holders must have one; there may be none. */
static unsigned read_roles(struct json_reader *reader)
{
    struct json_reader factor;
    const json_t *value = json_reader_take(reader, "second_factor", JSON_REQUIRED);
    json_reader_open(&factor, value, json_reader_pointer(reader, "second_factor"), reader->faults);
    const json_t *roles = factor.object == NULL ? NULL : json_object_get(factor.object, "roles");
    unsigned bits = 0;
    if (json_is_array(roles) && json_array_size(roles) == 0) {
        (void)json_reader_take(&factor, "roles", JSON_OPTIONAL);
    } else {
        bits = roles_json_read(&factor, JSON_REQUIRED);
    }
    json_reader_close(&factor);
    return bits;
}

void sign_in_rules_put(void *opaque, struct http_request *request, struct http_response *response)
{
    struct api_context *context = opaque;
    struct json_reader reader;
    struct fault_list faults;
    if (!api_read_object(request, response, &reader, &faults)) {
        return;
    }
    unsigned roles = read_roles(&reader);
    json_reader_close(&reader);
    if (api_reject(request, response, &faults)) {
        return;
    }
    if (roles != 0 && context->settings->sealing_key == NULL) {
        http_problem_of_type(request, response, 409, API_PROBLEM_NO_KEY,
                             "This server has no key to keep second factors under, so that nobody "
                             "could set one up: set PENSTOCK_KEY_FILE first.");
        return;
    }
    struct error error = {0};
    if (!clinic_set_second_factor_roles(context->store, roles, &error)) {
        api_fail(request, response, &error);
        return;
    }
    respond(context, request, response);
}
