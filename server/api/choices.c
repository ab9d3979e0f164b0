#include "api/api.h"
#include "api/handlers.h"
#include "formats/choices_json.h"
#include "store/store_choices.h"

static void respond_choices(const struct http_request *request, struct http_response *response,
                            const struct clinic_choices *choices)
{
    struct text body;
    text_init(&body, request->arena, LIMIT_SMALL_BODY_BYTES);
    text_printf(&body, "{\"version\":%d,\"items\":", choices->version);
    choices_json_describe(&choices->chosen, &body);
    text_append_char(&body, '}');
    api_respond_row(request, response, 200, &body, choices->version, NULL, NULL);
}

void choices_get_all(void *opaque, struct http_request *request, struct http_response *response)
{
    struct api_context *context = opaque;
    struct clinic_choices choices;
    struct error error = {0};
    if (!clinic_choices_load(context->store, request->arena, &choices, &error)) {
        api_fail(request, response, &error);
        return;
    }
    respond_choices(request, response, &choices);
}

void choices_put_all(void *opaque, struct http_request *request, struct http_response *response)
{
    struct api_context *context = opaque;
    struct json_reader reader;
    struct fault_list faults;
    struct clinic_choices stored;
    struct clinic_choices changed;
    struct error error = {0};
    if (!api_read_object(request, response, &reader, &faults)) {
        return;
    }
    if (!clinic_choices_load(context->store, request->arena, &stored, &error)) {
        api_fail(request, response, &error);
        return;
    }
    choices_json_take(&reader, &changed.chosen);
    json_reader_close(&reader);
    if (api_reject(request, response, &faults) || !api_matches(request, response, stored.version)) {
        return;
    }
    if (!clinic_choices_replace(context->store, request->arena, stored.version, &changed.chosen,
                                &error)) {
        api_fail(request, response, &error);
        return;
    }
    changed.version = stored.version + 1;
    respond_choices(request, response, &changed);
}
