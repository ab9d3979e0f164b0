#include "api/api.h"
#include "api/compute.h"
#include "api/handlers.h"
#include "base/clock.h"

/* The caller's clinic decides on the limits; nothing else is read, and nothing stored. */
static bool load_choices(struct api_context *context, struct arena *arena,
                         struct clinic_choices *ret_choices, struct error *reterr)
{
    if (!store_begin(context->store, context->principal.clinic_id, context->principal.id, reterr)) {
        return false;
    }
    store_narrow(context->store, context->reach);
    return clinic_choices_load(context->store, arena, ret_choices, reterr) &&
           store_commit(context->store, reterr);
}

void analyses_create(void *opaque, struct http_request *request, struct http_response *response)
{
    struct api_context *context = opaque;
    struct fault_list faults;
    const struct recording_document *document = NULL;
    fault_list_init(&faults, request->arena);
    double begun_s = clock_monotonic_s();
    enum json_read_outcome outcome =
        recording_json_read(request->arena, request->body, request->body_length,
                            RECORDING_JSON_ANALYSE, &document, &faults);
    if (!api_was_read(request, response, outcome, &faults)) {
        return;
    }
    double parsed_s = clock_monotonic_s();
    struct clinic_choices choices;
    struct text analysis;
    struct error error = {0};
    if (!load_choices(context, request->arena, &choices, &error) ||
        !compute_analysis(request->arena, document, NULL, &choices.in_use, 1, &analysis, &error)) {
        api_fail(request, response, &error);
        return;
    }
    api_respond_json(request, response, 200, &analysis);
    response->split_s[0] = parsed_s - begun_s;
    response->split_s[1] = clock_monotonic_s() - parsed_s;
}
