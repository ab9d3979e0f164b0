/* Withdrawing a recording, restoring it, and everything that was done to it. */
#include "api/handlers.h"
#include "api/recording_access.h"
#include "api/resources_json.h"
#include "formats/events_difference.h"
#include "store/store_recording_state.h"

enum { REASON_LIMIT = 1000, HISTORY_ANSWER_LIMIT = 256 * 1024 * 1024 };

typedef bool state_change(struct store *store, const char *id, int version, const char *reason,
                          struct error *reterr);

static void change_state(struct api_context *context, const struct http_request *request,
                         struct http_response *response, state_change *change)
{
    struct recording_row row = {0};
    struct json_reader reader;
    struct fault_list faults;
    struct error error = {0};
    if (!recording_find(context, request, response, RECORDING_ANY, &row) ||
        !api_read_object(request, response, &reader, &faults)) {
        return;
    }
    const char *reason = json_reader_string(&reader, "reason", JSON_REQUIRED, REASON_LIMIT);
    json_reader_close(&reader);
    if (api_reject(request, response, &faults) || !api_matches(request, response, row.version)) {
        return;
    }
    api_audit_reason(context, reason);
    if (!change(context->store, row.id, row.version, reason, &error)) {
        recording_fail(request, response, &error);
        return;
    }
    recording_respond(context, request, response, 200, row.id);
}

void recording_state_withdraw(void *opaque, struct http_request *request,
                              struct http_response *response)
{
    change_state(opaque, request, response, recording_withdraw);
}

void recording_state_restore(void *opaque, struct http_request *request,
                             struct http_response *response)
{
    change_state(opaque, request, response, recording_restore);
}

/* ---- history ---- */

static void append_change(struct text *out, const struct recording_change_row *change)
{
    text_printf(out, "{\"version\":%d,", change->version);
    api_append_string(out, "change", change->change);
    text_append_char(out, ',');
    api_append_string(out, "reason", change->reason);
    text_append_char(out, ',');
    api_append_time(out, "created_at", change->created_at_us);
    text_append_char(out, ',');
    author_json_append(out, "created_by", change->created_by, change->created_by_name);
    text_append_char(out, '}');
}

/* Appends what `from` has and `other` has not. */
static void append_difference(struct text *out, struct arena *arena, const char *name,
                              const struct revision_row *from, const struct revision_row *other)
{
    size_t count = 0;
    const struct document_event *events = events_difference(
        arena, from->events, from->event_count, other->events, other->event_count, &count);
    text_printf(out, ",\"%s\":", name);
    events_json_write(events, count, out);
}

static void append_revision(struct text *out, struct arena *arena,
                            const struct revision_row *revision, const struct revision_row *before)
{
    text_printf(out, "{\"revision\":%d,", revision->revision);
    api_append_string(out, "reason", revision->reason);
    text_append_char(out, ',');
    api_append_string(out, "analysis_version", revision->analysis_version);
    text_append_char(out, ',');
    api_append_time(out, "created_at", revision->created_at_us);
    text_append_char(out, ',');
    author_json_append(out, "created_by", revision->created_by, revision->created_by_name);
    append_difference(out, arena, "events_added", revision, before);
    append_difference(out, arena, "events_removed", before, revision);
    text_append_char(out, '}');
}

void recording_state_history(void *opaque, struct http_request *request,
                             struct http_response *response)
{
    struct api_context *context = opaque;
    struct recording_row row = {0};
    struct recording_change_row *changes = NULL;
    struct revision_row *revisions = NULL;
    size_t change_count = 0;
    size_t revision_count = 0;
    struct error error = {0};
    if (!recording_find(context, request, response, RECORDING_ANY, &row)) {
        return;
    }
    if (!recording_changes(context->store, request->arena, row.id, &changes, &change_count,
                           &error) ||
        !recording_revisions(context->store, request->arena, row.id, &revisions, &revision_count,
                             &error)) {
        api_fail(request, response, &error);
        return;
    }
    const struct revision_row nothing = {0};
    struct text body;
    text_init(&body, request->arena, HISTORY_ANSWER_LIMIT);
    text_append(&body, "{\"changes\":[");
    for (size_t i = 0; i < change_count; i++) {
        text_append(&body, i == 0 ? "" : ",");
        append_change(&body, &changes[i]);
    }
    text_append(&body, "],\"revisions\":[");
    for (size_t i = 0; i < revision_count; i++) {
        text_append(&body, i == 0 ? "" : ",");
        append_revision(&body, request->arena, &revisions[i],
                        i == 0 ? &nothing : &revisions[i - 1]);
    }
    text_append(&body, "]}");
    api_respond_json(request, response, 200, &body);
}
