#include "api/recording_access.h"

#include "api/resources_json.h"
#include "store/store_recording_state.h"

#include <string.h>

/* A recording with its analysis; conditions and channels are small. */
#define RECORDING_ANSWER_LIMIT (LIMIT_ANALYSIS_BYTES + LIMIT_BODY_BYTES)

static void respond_withdrawn(struct api_context *context, const struct http_request *request,
                              struct http_response *response, const struct recording_row *row)
{
    struct recording_change_row *changes = NULL;
    size_t count = 0;
    struct error error = {0};
    if (!recording_changes(context->store, request->arena, row->id, &changes, &count, &error) ||
        count == 0) {
        api_fail(request, response, &error);
        return;
    }
    http_problem(request, response, 410, "This recording was withdrawn: %s",
                 changes[count - 1].reason);
}

bool recording_is(struct api_context *context, const struct http_request *request,
                  struct http_response *response, enum recording_need need,
                  const struct recording_row *row)
{
    if (need != RECORDING_ANY && row->state == RECORDING_WITHDRAWN) {
        respond_withdrawn(context, request, response, row);
        return false;
    }
    if (need == RECORDING_IN_PIECES && row->opening == NULL) {
        http_problem(request, response, 409, "This recording came in one request.");
        return false;
    }
    if (need == RECORDING_ANALYSED && row->state == RECORDING_OPEN) {
        http_problem(request, response, 409,
                     "This recording is still open: see /v1/recordings/%s/live, or complete it.",
                     row->id);
        return false;
    }
    return true;
}

bool recording_find(struct api_context *context, const struct http_request *request,
                    struct http_response *response, enum recording_need need,
                    struct recording_row *ret_row)
{
    const char *id = api_path_id(request, response, 0);
    struct error error = {0};
    if (id == NULL) {
        return false;
    }
    if (!recording_get(context->store, request->arena, id, ret_row, &error)) {
        api_fail(request, response, &error);
        return false;
    }
    return recording_is(context, request, response, need, ret_row);
}

void recording_fail(const struct http_request *request, struct http_response *response,
                    const struct error *error)
{
    static const struct {
        const char *detail;
        const char *text;
    } conflicts[] = {
        {"id", "A recording with this id exists already: with other content, of another study, or "
               "withdrawn."},
        {"signed", "The study is signed or cancelled: its recordings stay as they are."},
        {"state", "The recording's state forbids this; GET it to see whether it is open, complete "
                  "or withdrawn."},
        {"digest", "Another piece came with this number before. A piece may be sent again only as "
                   "it was."},
        {"order", "The samples of this piece do not lie between those of the pieces with the "
                  "numbers before and after it."},
        {"events", "With this piece the recording had more events than it may have."},
    };

    for (size_t i = 0; error->kind == ERROR_CONFLICT && i < sizeof conflicts / sizeof conflicts[0];
         i++) {
        if (strcmp(error->detail, conflicts[i].detail) == 0) {
            http_problem(request, response, 409, "%s", conflicts[i].text);
            return;
        }
    }
    api_fail(request, response, error);
}

bool recording_read_opening(struct arena *arena, const struct recording_row *row,
                            const struct recording_document **ret_opening, struct error *reterr)
{
    struct fault_list *faults = arena_alloc(arena, sizeof *faults);
    fault_list_init(faults, arena);
    return recording_json_read(arena, row->opening, strlen(row->opening), RECORDING_JSON_OPEN,
                               ret_opening, faults) == JSON_READ_OK ||
           error_set(reterr, ERROR_INTERNAL, "recording %s: an opening that cannot be read back",
                     row->id);
}

/* Appends the recording, with what is known of its pieces. */
static bool append_recording(struct api_context *context, const struct http_request *request,
                             const struct recording_row *row, struct text *out,
                             struct error *reterr)
{
    if (row->opening == NULL) {
        recording_json_append(out, row);
        return true;
    }
    struct chunk_status status;
    const struct recording_document *opening = NULL;
    if (!recording_chunk_status(context->store, request->arena, row, &status, reterr) ||
        !recording_read_opening(request->arena, row, &opening, reterr)) {
        return false;
    }
    recording_json_append_pieces(out, row, opening, &status);
    return true;
}

void recording_respond(struct api_context *context, const struct http_request *request,
                       struct http_response *response, int status, const char *id)
{
    struct recording_row row = {0};
    struct text body;
    struct error error = {0};
    text_init(&body, request->arena, RECORDING_ANSWER_LIMIT);
    if (!recording_get(context->store, request->arena, id, &row, &error) ||
        !append_recording(context, request, &row, &body, &error)) {
        api_fail(request, response, &error);
        return;
    }
    api_audit_object(context, "recordings", id);
    api_respond_row(request, response, status, &body, row.version, "/v1/recordings", id);
}

void recording_respond_analysed(struct api_context *context, const struct http_request *request,
                                struct http_response *response, int status, const char *id,
                                const char *mapping)
{
    struct recording_row row = {0};
    const char *analysis = NULL;
    int revision = 0;
    struct error error = {0};
    struct text body;
    text_init(&body, request->arena, RECORDING_ANSWER_LIMIT);
    text_append(&body, "{\"recording\":");
    if (!recording_get(context->store, request->arena, id, &row, &error) ||
        !append_recording(context, request, &row, &body, &error) ||
        !recording_analysis(context->store, request->arena, id, 0, &analysis, &revision, &error)) {
        api_fail(request, response, &error);
        return;
    }
    text_append(&body, ",\"analysis\":");
    text_append(&body, analysis);
    if (mapping != NULL) {
        text_append(&body, ",\"mapping\":");
        text_append(&body, mapping);
    }
    text_append_char(&body, '}');
    api_audit_object(context, "recordings", id);
    api_respond_row(request, response, status, &body, row.version, "/v1/recordings", id);
}
