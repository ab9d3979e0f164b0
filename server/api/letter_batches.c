/* Batches of letters. Whoever makes one asks for its next letters until none waits: every step is a
 * transaction of its own, so that one that was lost is simply asked for again. */
#include "api/api.h"
#include "api/handlers.h"
#include "api/letter_load.h"
#include "api/letter_parts.h"
#include "base/uuid.h"
#include "drawing/pdf_join.h"

#include <string.h>

enum { STEP_DEFAULT = 5, STEP_MOST = 20 };

/* ---- making one ---- */

static const char *read_ids(struct json_reader *reader)
{
    struct arena *arena = reader->faults->arena;
    const json_t *value = json_reader_take(reader, "study_ids", JSON_REQUIRED);
    const char *pointer = json_reader_pointer(reader, "study_ids");
    struct text ids;
    text_init(&ids, arena, LIMIT_SMALL_BODY_BYTES);
    if (value == NULL) {
        return "[]";
    }
    size_t count = json_array_size(value);
    if (count < 1 || count > LETTER_BATCH_ITEMS_MAX) {
        fault_add(reader->faults, pointer, "Must be an array of 1 to %d ids of studies.",
                  LETTER_BATCH_ITEMS_MAX);
        return "[]";
    }
    text_append_char(&ids, '[');
    for (size_t i = 0; i < count; i++) {
        const char *id = json_string_value(json_array_get(value, i));
        if (id == NULL || !uuid_is_valid(id)) {
            fault_add(reader->faults, fault_pointer_index(arena, pointer, i),
                      "Must be a UUID in lower-case text.");
            continue;
        }
        text_append(&ids, ids.length > 1 ? "," : "");
        text_append_json_string(&ids, id);
    }
    text_append_char(&ids, ']');
    return ids.data;
}

static void append_failed(struct text *out, const struct letter_batch_item *item)
{
    text_append_char(out, '{');
    api_append_string(out, "study_id", item->study_id);
    text_append_char(out, ',');
    api_append_string(out, "patient_name", item->patient_name);
    text_append_char(out, ',');
    api_append_string(out, "reason", item->reason);
    text_append_char(out, '}');
}

static void append_sent(struct text *out, const struct letter_batch_item *item)
{
    text_append_char(out, '{');
    api_append_string(out, "study_id", item->study_id);
    text_append_char(out, ',');
    api_append_string(out, "dispatch_id", item->dispatch_id);
    text_append_char(out, '}');
}

/* {"id", "way", "created_at", "done", "of", "sent": [...], "failed": [...]} */
static void append_batch(struct text *out, const struct letter_batch *batch,
                         const struct letter_batch_item *items, size_t count)
{
    text_append_char(out, '{');
    api_append_string(out, "id", batch->id);
    text_append_char(out, ',');
    api_append_string(out, "way", batch->way);
    text_append_char(out, ',');
    api_append_time(out, "created_at", batch->created_at_us);
    text_printf(out, ",\"done\":%d,\"of\":%d,\"sent\":[", batch->count - batch->waiting_count,
                batch->count);
    const char *separator = "";
    for (size_t i = 0; i < count; i++) {
        if (items[i].dispatch_id != NULL) {
            text_append(out, separator);
            append_sent(out, &items[i]);
            separator = ",";
        }
    }
    text_append(out, "],\"failed\":[");
    separator = "";
    for (size_t i = 0; i < count; i++) {
        if (strcmp(items[i].state, "failed") == 0) {
            text_append(out, separator);
            append_failed(out, &items[i]);
            separator = ",";
        }
    }
    text_append(out, "]}");
}

static void respond_batch(struct api_context *context, const struct http_request *request,
                          struct http_response *response, int status, const char *id)
{
    struct letter_batch batch = {0};
    struct letter_batch_item *items = NULL;
    size_t count = 0;
    struct error error = {0};
    if (!letter_batch_get(context->store, request->arena, id, &batch, &error) ||
        !letter_batch_list(context->store, request->arena, id, &items, &count, &error)) {
        api_fail(request, response, &error);
        return;
    }
    for (size_t i = 0; i < count; i++) {
        api_audit_patient(context, items[i].patient_id);
    }
    struct text body;
    text_init(&body, request->arena, LIMIT_BODY_BYTES);
    append_batch(&body, &batch, items, count);
    api_respond_json(request, response, status, &body);
    if (status == 201) {
        http_response_header(response, "Location",
                             arena_printf(request->arena, "/v1/letter-batches/%s", id));
    }
}

void letter_batches_create(void *opaque, struct http_request *request,
                           struct http_response *response)
{
    struct api_context *context = opaque;
    struct json_reader reader;
    struct fault_list faults;
    struct error error = {0};
    const char *id = NULL;
    if (!api_read_object(request, response, &reader, &faults)) {
        return;
    }
    const char *way = json_reader_word(&reader, "way", JSON_REQUIRED, LETTER_WAYS);
    const char *study_ids = read_ids(&reader);
    json_reader_close(&reader);
    if (api_reject(request, response, &faults)) {
        return;
    }
    if (letter_batch_create(context->store, request->arena, way, study_ids, &id, &error)) {
        respond_batch(context, request, response, 201, id);
    } else if (error.kind == ERROR_NOT_FOUND) {
        fault_add(&faults, "/study_ids", "One of these studies is not there, or not yours.");
        http_problem_faults(request, response, 422, &faults);
    } else {
        api_fail(request, response, &error);
    }
}

void letter_batches_get(void *opaque, struct http_request *request, struct http_response *response)
{
    struct api_context *context = opaque;
    const char *id = api_path_id(request, response, 0);
    if (id != NULL) {
        respond_batch(context, request, response, 200, id);
    }
}

/* ---- a step ---- */

static bool send_one(const struct api_context *context, struct arena *arena,
                     const struct letter_batch *batch, const char *study_id, struct error *reterr)
{
    struct letter_order order = {.study_id = study_id, .way = batch->way, .batch_id = batch->id};
    const char *dispatch_id = NULL;
    const char *refusal = NULL;
    return letter_send(context, arena, &order, &dispatch_id, &refusal, reterr) &&
           letter_batch_end(context->store, batch->id, study_id, dispatch_id, refusal, reterr);
}

void letter_batches_next(void *opaque, struct http_request *request, struct http_response *response)
{
    struct api_context *context = opaque;
    const char *id = api_path_id(request, response, 0);
    struct json_reader reader;
    struct fault_list faults;
    struct letter_batch batch = {0};
    const char **study_ids = NULL;
    size_t count = 0;
    struct error error = {0};
    if (id == NULL || !api_read_object(request, response, &reader, &faults)) {
        return;
    }
    int limit = api_read_whole(&reader, "limit", 1, STEP_MOST, STEP_DEFAULT);
    json_reader_close(&reader);
    if (api_reject(request, response, &faults)) {
        return;
    }
    bool good =
        letter_batch_get(context->store, request->arena, id, &batch, &error) &&
        letter_batch_claim(context->store, request->arena, id, limit, &study_ids, &count, &error);
    for (size_t i = 0; i < count && good; i++) {
        good = send_one(context, request->arena, &batch, study_ids[i], &error);
    }
    if (!good) {
        api_fail(request, response, &error);
        return;
    }
    respond_batch(context, request, response, 200, id);
}

/* ---- for the printer ---- */

void letter_batches_document(void *opaque, struct http_request *request,
                             struct http_response *response)
{
    struct api_context *context = opaque;
    const char *id = api_path_id(request, response, 0);
    struct letter_batch batch = {0};
    struct letter_batch_item *items = NULL;
    struct letter_file *files = NULL;
    size_t item_count = 0;
    size_t count = 0;
    struct error error = {0};
    const unsigned char *bytes = NULL;
    size_t length = 0;
    if (id == NULL) {
        return;
    }
    if (!letter_batch_get(context->store, request->arena, id, &batch, &error) ||
        !letter_batch_list(context->store, request->arena, id, &items, &item_count, &error) ||
        !letter_batch_files(context->store, request->arena, id, &files, &count, &error)) {
        api_fail(request, response, &error);
        return;
    }
    if (count == 0) {
        http_problem(request, response, 409, "No letter of this batch has been sent yet.");
        return;
    }
    struct pdf_part *parts = arena_array(request->arena, count, sizeof *parts);
    for (size_t i = 0; i < count; i++) {
        parts[i] = (struct pdf_part){files[i].bytes, files[i].length};
    }
    if (!pdf_join(request->arena, parts, count, &bytes, &length, &error)) {
        api_fail(request, response, &error);
        return;
    }
    for (size_t i = 0; i < item_count; i++) {
        if (items[i].dispatch_id != NULL) {
            api_audit_patient(context, items[i].patient_id);
        }
    }
    http_respond(response, 200, "application/pdf", bytes, length);
    api_set_content_etag(request, response);
}
