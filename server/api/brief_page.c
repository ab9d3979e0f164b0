#include "api/brief_page.h"

#include "api/brief_load.h"
#include "api/handlers.h"
#include "api/plain_page.h"
#include "api/public_address.h"
#include "api/report_load.h"
#include "store/store_letter_dispatch.h"
#include "store/store_signature.h"

#include <string.h>

#define PDF "application/pdf"

/* A link in a browser has no Accept field of its own: the address says which form it leads to.
 * False after it has answered. */
static bool read_form(const struct http_request *request, struct http_response *response,
                      bool *ret_as_pdf)
{
    const char *form = http_request_query(request, "form");
    struct fault_list faults;
    fault_list_init(&faults, request->arena);
    http_request_check_query(request, (const char *const[]){"form", NULL}, &faults);
    if (form != NULL && strcmp(form, "pdf") != 0 && strcmp(form, "html") != 0) {
        fault_add(&faults, "?form", "Must be pdf or html.");
    }
    *ret_as_pdf = form == NULL ? strcmp(request->accepted, PDF) == 0 : strcmp(form, "pdf") == 0;
    return !api_reject(request, response, &faults);
}

static void note_document(struct api_context *context, const char *what, bool as_pdf)
{
    struct text detail;
    text_init(&detail, context->audit.arena, LIMIT_NAME_BYTES);
    text_printf(&detail, "%s.%s", what, as_pdf ? "pdf" : "html");
    api_audit_detail(context, detail.data);
}

static void respond_none(const struct http_request *request, struct http_response *response)
{
    api_respond_page(request, response, 404, "This document is not here",
                     "There may be none of this study, or not in this form. The page from which "
                     "you came has all that there is.");
}

/* ---- the brief ---- */

static const char *address_of(struct arena *arena, const struct brief_place *place,
                              const char *document, const char *form)
{
    return arena_printf(arena, "%s/%s?form=%s", place->path, document, form);
}

static bool add_documents(struct api_context *context, struct arena *arena,
                          const struct brief_place *place, struct brief *brief,
                          struct error *reterr)
{
    const char *letter_id = NULL;
    if (!letter_dispatch_find_shown(context->store, arena, place->study_id, &letter_id, reterr)) {
        return false;
    }
    brief->report.html_address = address_of(arena, place, "report", "html");
    if (brief->signature_count > 0) {
        brief->report.pdf_address = address_of(arena, place, "report", "pdf");
    }
    if (letter_id != NULL) {
        brief->letter = (struct brief_document){address_of(arena, place, "letter", "html"),
                                                address_of(arena, place, "letter", "pdf")};
    }
    return true;
}

bool brief_page_respond(struct api_context *context, struct http_request *request,
                        struct http_response *response, const struct brief_place *place,
                        struct error *reterr)
{
    struct brief brief = {.clinic_name = place->clinic_name};
    if (!brief_load(context->store, request->arena, place->study_id, &brief, reterr) ||
        !add_documents(context, request->arena, place, &brief, reterr)) {
        return false;
    }
    struct text body;
    text_init(&body, request->arena, BRIEF_LIMIT);
    brief_html_write(&brief, &body);
    api_respond_text(request, response, 200, API_HTML, &body);
    return true;
}

/* ---- report ---- */

static void send_pdf(const struct http_request *request, struct http_response *response,
                     const char *name, const void *bytes, size_t length)
{
    http_respond(response, 200, PDF, bytes, length);
    http_response_header(
        response, "Content-Disposition",
        arena_printf(request->arena, "inline; filename=\"urodynamic-study-%s.pdf\"", name));
}

static bool respond_signed_report(struct api_context *context, struct http_request *request,
                                  struct http_response *response, const struct brief_place *place,
                                  struct error *reterr)
{
    struct study study = {0};
    struct signed_report report = {0};
    if (!study_get(context->store, request->arena, place->study_id, &study, reterr)) {
        return false;
    }
    if (!signature_report_get(context->store, request->arena, place->study_id, 0, &report,
                              reterr)) {
        if (reterr->kind != ERROR_NOT_FOUND) {
            return false;
        }
        respond_none(request, response);
        return true;
    }
    send_pdf(request, response, "report", report.bytes, report.length);
    return true;
}

static bool respond_report_page(struct api_context *context, struct http_request *request,
                                struct http_response *response, const struct brief_place *place,
                                struct error *reterr)
{
    const struct report_subject subject = {
        .study_id = place->study_id,
        .clinic_name = place->clinic_name,
        .code = api_study_code(context, request->arena, place->study_id),
    };
    struct report report;
    if (!report_load(context->store, request->arena, &subject, REPORT_PEOPLE, &report, reterr)) {
        return false;
    }
    struct text body;
    text_init(&body, request->arena, REPORT_LIMIT);
    document_write_html(report_document(&report, request->arena), &body);
    api_respond_text(request, response, 200, API_HTML, &body);
    return true;
}

bool brief_report_respond(struct api_context *context, struct http_request *request,
                          struct http_response *response, const struct brief_place *place,
                          struct error *reterr)
{
    bool as_pdf = false;
    if (!read_form(request, response, &as_pdf)) {
        return true;
    }
    note_document(context, "report", as_pdf);
    return as_pdf ? respond_signed_report(context, request, response, place, reterr)
                  : respond_report_page(context, request, response, place, reterr);
}

/* ---- letter ---- */

static void send_letter(const struct http_request *request, struct http_response *response,
                        const struct stored_letter *letter, bool as_pdf)
{
    if (as_pdf) {
        send_pdf(request, response, "letter", letter->pdf, letter->pdf_length);
    } else {
        http_respond(response, 200, API_HTML, letter->html, strlen(letter->html));
    }
}

bool brief_letter_respond(struct api_context *context, struct http_request *request,
                          struct http_response *response, const struct brief_place *place,
                          struct error *reterr)
{
    struct study study = {0};
    struct stored_letter letter = {0};
    const char *id = NULL;
    bool as_pdf = false;
    if (!read_form(request, response, &as_pdf)) {
        return true;
    }
    note_document(context, "letter", as_pdf);
    if (!study_get(context->store, request->arena, place->study_id, &study, reterr) ||
        !letter_dispatch_find_shown(context->store, request->arena, place->study_id, &id, reterr)) {
        return false;
    }
    if (id == NULL) {
        respond_none(request, response);
        return true;
    }
    if (!letter_dispatch_get(context->store, request->arena, id, &letter, reterr)) {
        return false;
    }
    send_letter(request, response, &letter, as_pdf);
    return true;
}
