/* The brief of a study for a referrer who has signed in: what a link shows, without one. */
#include "api/api.h"
#include "api/brief_page.h"
#include "api/handlers.h"
#include "api/plain_page.h"
#include "base/uuid.h"

static void respond_none(const struct http_request *request, struct http_response *response)
{
    api_respond_page(request, response, 404, "There is no such study",
                     "Or it is not signed, or not of a patient whom you have referred.");
}

typedef bool referred_show(struct api_context *context, struct http_request *request,
                           struct http_response *response, const struct brief_place *place,
                           struct error *reterr);

/* These are pages, which leave no entry in the audit unless they name what they show. */
static void show(struct api_context *context, struct http_request *request,
                 struct http_response *response, referred_show *respond)
{
    const char *id = request->parameters[0];
    if (context->principal.owes != 0) {
        http_respond(response, 303, NULL, NULL, 0);
        http_response_header(response, "Location", "/account");
        return;
    }
    if (!uuid_is_valid(id)) {
        respond_none(request, response);
        return;
    }
    const struct brief_place place = {
        .study_id = id,
        .clinic_name = context->principal.clinic_name,
        .path = arena_printf(request->arena, "/referred/%s", id),
    };
    struct error error = {0};
    api_audit_object(context, "studies", id);
    if (respond(context, request, response, &place, &error)) {
        return;
    }
    if (error.kind == ERROR_NOT_FOUND) {
        respond_none(request, response);
    } else {
        api_fail(request, response, &error);
    }
}

void referred_page(void *opaque, struct http_request *request, struct http_response *response)
{
    show(opaque, request, response, brief_page_respond);
}

void referred_report(void *opaque, struct http_request *request, struct http_response *response)
{
    show(opaque, request, response, brief_report_respond);
}

void referred_letter(void *opaque, struct http_request *request, struct http_response *response)
{
    show(opaque, request, response, brief_letter_respond);
}
