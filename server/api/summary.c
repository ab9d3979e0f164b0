/* The report of a study in the form that was asked for. */
#include "api/api.h"
#include "api/handlers.h"
#include "api/public_address.h"
#include "api/report_load.h"
#include "base/clock.h"
#include "store/store_signature.h"

#include <string.h>

/* A name without anything of the patient: files lie about in folders for downloads. */
static void name_file(const struct http_request *request, struct http_response *response,
                      const struct report *report)
{
    const char *subtype = strchr(request->accepted, '/') + 1;
    char stamp[CLOCK_TEXT_SIZE];
    clock_format(report->study->started_at_us, stamp);
    http_response_header(response, "Content-Disposition",
                         arena_printf(request->arena,
                                      "inline; filename=\"urodynamic-report-%.10s.%s\"", stamp,
                                      strcmp(subtype, "plain") == 0 ? "txt" : subtype));
}

static void respond_text(const struct http_request *request, struct http_response *response,
                         const struct report *report)
{
    struct text body;
    bool html = strcmp(request->accepted, "text/html") == 0;
    const struct document *document = report_document(report, request->arena);
    text_init(&body, request->arena, REPORT_LIMIT);
    if (html) {
        document_write_html(document, &body);
        api_respond_text(request, response, 200, "text/html; charset=utf-8", &body);
    } else {
        document_write_text(document, &body);
        api_respond_text(request, response, 200, "text/plain; charset=utf-8", &body);
    }
}

/* What was signed is given as it was signed, byte by byte; what is not signed is made anew. */
static bool get_pdf(struct api_context *context, const struct http_request *request,
                    const struct report *report, const unsigned char **ret_bytes,
                    size_t *ret_length, struct error *reterr)
{
    struct signed_report stored;
    if (report->signature_count == 0) {
        const struct report_subject subject = {
            .study_id = report->study->id,
            .clinic_name = report->clinic_name,
            .code = report->code,
        };
        return report_make_pdf(context->store, request->arena, &subject, ret_bytes, ret_length,
                               reterr);
    }
    if (!signature_report_get(context->store, request->arena, report->study->id, 0, &stored,
                              reterr)) {
        return false;
    }
    *ret_bytes = stored.bytes;
    *ret_length = stored.length;
    return true;
}

static void respond_pdf(struct api_context *context, const struct http_request *request,
                        struct http_response *response, const struct report *report)
{
    const unsigned char *bytes = NULL;
    size_t length = 0;
    struct error error = {0};
    if (!get_pdf(context, request, report, &bytes, &length, &error)) {
        api_fail(request, response, &error);
        return;
    }
    http_respond(response, 200, "application/pdf", bytes, length);
}

static void respond_report(struct api_context *context, const struct http_request *request,
                           struct http_response *response, const struct report *report)
{
    if (strcmp(request->accepted, "application/json") == 0) {
        struct text body;
        text_init(&body, request->arena, REPORT_LIMIT);
        report_json_write(report, &body);
        api_respond_json(request, response, 200, &body);
    } else if (strcmp(request->accepted, "application/pdf") == 0) {
        respond_pdf(context, request, response, report);
    } else {
        respond_text(request, response, report);
    }
}

void summary_get(void *opaque, struct http_request *request, struct http_response *response)
{
    struct api_context *context = opaque;
    const char *id = api_path_id(request, response, 0);
    bool has_figures = strncmp(request->accepted, "text/", strlen("text/")) == 0;
    struct report report;
    struct error error = {0};
    if (id == NULL) {
        return;
    }
    const struct report_subject subject = {
        .study_id = id,
        .clinic_name = context->principal.clinic_name,
        .code = api_study_code(context, request->arena, id),
    };
    if (!report_load(context->store, request->arena, &subject,
                     has_figures ? REPORT_PEOPLE : REPORT_NUMBERS, &report, &error)) {
        api_fail(request, response, &error);
        return;
    }
    respond_report(context, request, response, &report);
    /* It changes with its study, its patient and any recording: only the content names it. */
    if (response->status == 200) {
        name_file(request, response, &report);
        api_set_content_etag(request, response);
    }
}
