#include "api/compute.h"
#include "api/handlers.h"
#include "api/recording_access.h"

static void respond_events(struct api_context *context, const struct http_request *request,
                           struct http_response *response, const char *id)
{
    const char *events = NULL;
    int revision = 0;
    struct error error = {0};
    if (!recording_events(context->store, request->arena, id, 0, &events, &revision, &error)) {
        api_fail(request, response, &error);
        return;
    }
    struct text body;
    text_init(&body, request->arena, LIMIT_BODY_BYTES);
    text_printf(&body, "{\"revision\":%d,\"events\":", revision);
    text_append(&body, events);
    text_append_char(&body, '}');
    api_respond_json(request, response, 200, &body);
    api_set_etag(request, response, revision);
}

void events_get(void *opaque, struct http_request *request, struct http_response *response)
{
    struct api_context *context = opaque;
    struct recording_row row = {0};
    if (recording_find(context, request, response, RECORDING_ANALYSED, &row)) {
        respond_events(context, request, response, row.id);
    }
}

static bool read_events(const struct http_request *request, struct http_response *response,
                        double latest_s, struct document_event **ret_events, size_t *ret_count)
{
    struct fault_list faults;
    fault_list_init(&faults, request->arena);
    enum json_read_outcome outcome =
        events_json_read(request->arena, request->body, request->body_length, latest_s, ret_events,
                         ret_count, &faults);
    return api_was_read(request, response, outcome, &faults);
}

void events_put(void *opaque, struct http_request *request, struct http_response *response)
{
    struct api_context *context = opaque;
    struct recording_row row = {0};
    struct document_event *events = NULL;
    size_t count = 0;
    struct error error = {0};
    if (!recording_find(context, request, response, RECORDING_ANALYSED, &row)) {
        return;
    }
    /* Pieces may have brought events from behind the last sample: they must not be in the way of
     * every later change. */
    double latest_s = row.opening == NULL ? row.duration_s : LIMIT_DURATION_S;
    if (!read_events(request, response, latest_s, &events, &count) ||
        !api_matches(request, response, row.revision)) {
        return;
    }
    const struct revision_cause cause = {
        .changes_events = true, .events = events, .event_count = count, .reason = ""};
    if (!compute_revision(context->store, request->arena, row.id, row.revision, &cause, &error)) {
        recording_fail(request, response, &error);
        return;
    }
    respond_events(context, request, response, row.id);
}
