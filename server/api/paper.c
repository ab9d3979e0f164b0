/* From paper back to the study: the code on a report, letter or label, and where it leads.
 *
 * The code holds an id and no secret. Whoever has the paper and no account gets to the sign-in; for
 * everybody else the table of who may do what decides, as for any other page. */
#include "api/api.h"
#include "api/handlers.h"
#include "api/plain_page.h"
#include "api/public_address.h"
#include "auth/access.h"
#include "base/clock.h"
#include "report/code_label.h"
#include "store/store_link.h"
#include "store/store_study.h"

#include <string.h>

/* ---- /r/{id} ---- */

static void respond_unknown(const struct http_request *request, struct http_response *response)
{
    api_respond_page(request, response, 404, "This code leads nowhere",
                     "There is no study behind it that your account may see. Check that you are "
                     "signed in at the clinic that the paper is from.");
}

/* A link's id or a study's own. ERROR_NOT_FOUND when the transaction reaches neither, and for what
 * is no id. */
static bool find_study(struct api_context *context, struct arena *arena, const char *id,
                       const char **ret_study_id, struct error *reterr)
{
    struct study_link link = {0};
    struct study study = {0};
    if (link_get(context->store, arena, id, &link, reterr)) {
        *ret_study_id = link.study_id;
        return true;
    }
    if (reterr->kind != ERROR_NOT_FOUND || !study_get(context->store, arena, id, &study, reterr)) {
        return false;
    }
    *ret_study_id = study.id;
    return true;
}

static void go_to(const struct http_request *request, struct http_response *response,
                  const char *page, const char *id)
{
    http_respond(response, 303, NULL, NULL, 0);
    http_response_header(response, "Location", arena_printf(request->arena, "%s%s", page, id));
}

void paper_follow(void *opaque, struct http_request *request, struct http_response *response)
{
    struct api_context *context = opaque;
    const char *id = request->parameters[0];
    const char *study_id = NULL;
    struct error error = {0};
    if (context->principal.owes != 0) {
        go_to(request, response, "/account", "");
    } else if (find_study(context, request->arena, id, &study_id, &error)) {
        bool sees_study = access_allowed(&context->principal, ACCESS_STUDIES, ACCESS_READ);
        go_to(request, response, sees_study ? "/studies/" : "/referred/", study_id);
    } else if (error.kind == ERROR_NOT_FOUND) {
        respond_unknown(request, response);
    } else {
        api_fail(request, response, &error);
    }
}

/* ---- the label ---- */

static enum canvas_form form_of(const char *media_type)
{
    if (strcmp(media_type, "image/png") == 0) {
        return CANVAS_PNG;
    }
    return strcmp(media_type, "application/pdf") == 0 ? CANVAS_PDF : CANVAS_SVG;
}

static void respond_label(const struct http_request *request, struct http_response *response,
                          const struct code_label *label)
{
    const unsigned char *bytes = NULL;
    size_t length = 0;
    struct error error = {0};
    if (code_label_write(label, form_of(request->accepted), request->arena, &bytes, &length,
                         &error)) {
        http_respond(response, 200, request->accepted, bytes, length);
    } else {
        api_fail(request, response, &error);
    }
}

void links_get_code(void *opaque, struct http_request *request, struct http_response *response)
{
    struct api_context *context = opaque;
    const char *id = api_path_id(request, response, 0);
    struct study_link link = {0};
    struct study study = {0};
    struct error error = {0};
    if (id == NULL) {
        return;
    }
    if (!link_get(context->store, request->arena, id, &link, &error) ||
        !study_get(context->store, request->arena, link.study_id, &study, &error)) {
        api_fail(request, response, &error);
        return;
    }
    const char *address =
        api_public_address(context, request, arena_printf(request->arena, "/r/%s", id));
    if (address == NULL) {
        http_problem(request, response, 400,
                     "The code needs this server's address: send the header field Host.");
        return;
    }
    char date[CLOCK_TEXT_SIZE];
    clock_format(study.started_at_us, date);
    date[CLOCK_DATE_SIZE - 1] = '\0';
    const struct code_label label = {
        .address = address,
        .clinic_name = context->principal.clinic_name,
        .date = date,
        .short_id = api_short_id(request->arena, id),
    };
    respond_label(request, response, &label);
}
