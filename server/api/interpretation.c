/* What a clinician makes of a study: the draft that follows from the analyses, and revisions. */
#include "formats/interpretation_json.h"

#include "api/api.h"
#include "api/handlers.h"
#include "api/interpretation_draft.h"
#include "api/resources_json.h"
#include "store/store_interpretation.h"
#include "store/store_study.h"

#include <string.h>

/* The document is at most as long as a body that was taken; a draft as long as its findings. */
#define ANSWER_LIMIT (8 * LIMIT_SMALL_BODY_BYTES)

static void append_author(struct text *out, const struct interpretation_row *row)
{
    text_printf(out, "\"revision\":%d,", row->revision);
    api_append_time(out, "created_at", row->created_at_us);
    text_append_char(out, ',');
    author_json_append(out, "created_by", row->created_by, row->created_by_name);
}

static void respond_row(const struct http_request *request, struct http_response *response,
                        const struct interpretation_row *row)
{
    struct text body;
    text_init(&body, request->arena, ANSWER_LIMIT);
    text_append_char(&body, '{');
    append_author(&body, row);
    text_append(&body, ",\"is_draft\":false,\"interpretation\":");
    text_append(&body, row->document);
    text_append_char(&body, '}');
    api_respond_json(request, response, 200, &body);
    api_set_etag(request, response, row->revision);
}

static void respond_draft(struct api_context *context, const struct http_request *request,
                          struct http_response *response, const char *study_id)
{
    struct interpretation draft = {0};
    struct error error = {0};
    if (!interpretation_draft(context->store, request->arena, study_id, &draft, &error)) {
        api_fail(request, response, &error);
        return;
    }
    struct text body;
    text_init(&body, request->arena, ANSWER_LIMIT);
    text_append(&body, "{\"revision\":0,\"created_at\":null,\"created_by\":null,\"is_draft\":true,"
                       "\"interpretation\":");
    interpretation_json_write(&draft, &body);
    text_append_char(&body, '}');
    api_respond_json(request, response, 200, &body);
    api_set_etag(request, response, 0);
}

void interpretation_show(void *opaque, struct http_request *request, struct http_response *response)
{
    struct api_context *context = opaque;
    const char *id = api_path_id(request, response, 0);
    struct study study = {0};
    struct interpretation_row row = {0};
    struct fault_list faults;
    struct error error = {0};
    if (id == NULL) {
        return;
    }
    fault_list_init(&faults, request->arena);
    http_request_check_query(request, (const char *const[]){"revision", NULL}, &faults);
    int revision = api_query_integer(request, "revision", 1, INT32_MAX, 0, &faults);
    if (api_reject(request, response, &faults)) {
        return;
    }
    if (!study_get(context->store, request->arena, id, &study, &error)) {
        api_fail(request, response, &error);
        return;
    }
    if (interpretation_get(context->store, request->arena, id, revision, &row, &error)) {
        respond_row(request, response, &row);
    } else if (error.kind == ERROR_NOT_FOUND && revision == 0) {
        respond_draft(context, request, response, id);
    } else {
        api_fail(request, response, &error);
    }
}

static void fail_to_put(const struct http_request *request, struct http_response *response,
                        const struct study *study, const struct error *error)
{
    if (error->kind == ERROR_CONFLICT) {
        http_problem(request, response, 409, "%s",
                     strcmp(study->status, "cancelled") == 0
                         ? "The study is cancelled."
                         : "The study is signed: what is to be said now is an amendment.");
    } else {
        api_fail(request, response, error);
    }
}

void interpretation_put(void *opaque, struct http_request *request, struct http_response *response)
{
    struct api_context *context = opaque;
    const char *id = api_path_id(request, response, 0);
    struct json_reader reader;
    struct fault_list faults;
    struct interpretation interpretation = {0};
    struct interpretation_row row = {0};
    struct study study = {0};
    struct error error = {0};
    if (id == NULL || !api_read_object(request, response, &reader, &faults)) {
        return;
    }
    interpretation_json_take(reader.object, "", &faults, &interpretation);
    if (api_reject(request, response, &faults)) {
        return;
    }
    if (!study_get(context->store, request->arena, id, &study, &error) ||
        (!interpretation_get(context->store, request->arena, id, 0, &row, &error) &&
         error.kind != ERROR_NOT_FOUND)) {
        api_fail(request, response, &error);
        return;
    }
    if (!api_matches(request, response, row.revision)) {
        return;
    }
    struct text document;
    text_init(&document, request->arena, ANSWER_LIMIT);
    interpretation_json_write(&interpretation, &document);
    error = (struct error){0};
    if (!interpretation_add(context->store, id, row.revision + 1, document.data, &error)) {
        fail_to_put(request, response, &study, &error);
        return;
    }
    if (!interpretation_get(context->store, request->arena, id, row.revision + 1, &row, &error)) {
        api_fail(request, response, &error);
        return;
    }
    respond_row(request, response, &row);
}

void interpretation_history(void *opaque, struct http_request *request,
                            struct http_response *response)
{
    struct api_context *context = opaque;
    const char *id = api_path_id(request, response, 0);
    struct study study = {0};
    struct interpretation_row *rows = NULL;
    size_t count = 0;
    struct error error = {0};
    if (id == NULL) {
        return;
    }
    if (!study_get(context->store, request->arena, id, &study, &error) ||
        !interpretation_list(context->store, request->arena, id, &rows, &count, &error)) {
        api_fail(request, response, &error);
        return;
    }
    struct text items;
    text_init(&items, request->arena, LIMIT_BODY_BYTES);
    for (size_t i = 0; i < count; i++) {
        text_append(&items, i == 0 ? "{" : ",{");
        append_author(&items, &rows[i]);
        text_append_char(&items, '}');
    }
    api_respond_list(request, response, &items, NULL);
}
