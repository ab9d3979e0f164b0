/* Who signed a study, and the reports as they were signed. */
#include "api/api.h"
#include "api/handlers.h"
#include "api/resources_json.h"
#include "api/signatures_json.h"
#include "store/store_study.h"

#include <stdlib.h>
#include <string.h>

enum { NUMBER_DIGITS = 6 };

void signature_json_append(struct text *out, const struct signature_row *row)
{
    text_printf(out, "{\"number\":%d,", row->number);
    api_append_string(out, "meaning", row->meaning);
    text_append_char(out, ',');
    api_append_time(out, "signed_at", row->signed_at_us);
    text_append_char(out, ',');
    author_json_append(out, "signed_by", row->signed_by, row->signer_name);
    text_append_char(out, ',');
    api_append_string(out, "role", row->signer_role);
    text_append_char(out, ',');
    api_append_string(out, "reason", row->reason);
    text_printf(out, ",\"interpretation_revision\":%d,\"recordings\":%s,",
                row->interpretation_revision, row->recordings);
    api_append_string(out, "software", row->software);
    text_append_char(out, ',');
    api_append_string(out, "analysis_version", row->analysis_version);
    text_append(out, ",\"report\":{");
    api_append_string(out, "sha256", row->report_sha256);
    text_printf(out, ",\"length\":%lld,\"has_detached_signature\":%s}}",
                (long long)row->report_length, row->report_is_sealed ? "true" : "false");
}

void signatures_list(void *opaque, struct http_request *request, struct http_response *response)
{
    struct api_context *context = opaque;
    const char *id = api_path_id(request, response, 0);
    struct study study = {0};
    struct signature_row *rows = NULL;
    size_t count = 0;
    struct error error = {0};
    if (id == NULL) {
        return;
    }
    if (!study_get(context->store, request->arena, id, &study, &error) ||
        !signature_list(context->store, request->arena, id, &rows, &count, &error)) {
        api_fail(request, response, &error);
        return;
    }
    struct text items;
    text_init(&items, request->arena, LIMIT_BODY_BYTES);
    for (size_t i = 0; i < count; i++) {
        text_append(&items, i == 0 ? "" : ",");
        signature_json_append(&items, &rows[i]);
    }
    api_respond_list(request, response, &items, NULL);
}

/* The number of the path, or 0. */
static int path_number(const struct http_request *request)
{
    const char *text = request->parameters[1];
    size_t length = strlen(text);
    bool is_number = length >= 1 && length <= NUMBER_DIGITS &&
                     strspn(text, "0123456789") == length && text[0] != '0';
    return is_number ? (int)strtol(text, NULL, 10) : 0;
}

/* False after it has answered. */
static bool find(struct api_context *context, const struct http_request *request,
                 struct http_response *response, struct signed_report *ret_report)
{
    const char *id = api_path_id(request, response, 0);
    int number = path_number(request);
    struct error error = {0};
    if (id == NULL) {
        return false;
    }
    if (number == 0) {
        error_set(&error, ERROR_NOT_FOUND, "no number of a signature");
    } else if (signature_report_get(context->store, request->arena, id, number, ret_report,
                                    &error)) {
        return true;
    }
    api_fail(request, response, &error);
    return false;
}

void signatures_report(void *opaque, struct http_request *request, struct http_response *response)
{
    struct signed_report report = {0};
    if (!find(opaque, request, response, &report)) {
        return;
    }
    http_respond(response, 200, report.media_type, report.bytes, report.length);
    response->etag = arena_printf(request->arena, "\"%s\"", report.sha256_text);
}

void signatures_seal(void *opaque, struct http_request *request, struct http_response *response)
{
    struct signed_report report = {0};
    if (!find(opaque, request, response, &report)) {
        return;
    }
    if (report.seal == NULL) {
        http_problem(request, response, 404,
                     "This report has no detached signature: the clinic's server had no key when "
                     "it was signed.");
        return;
    }
    http_respond(response, 200, "application/pkcs7-signature", report.seal, report.seal_length);
    response->etag = arena_printf(request->arena, "\"%s-cms\"", report.sha256_text);
}
