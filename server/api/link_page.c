/* What the reader of a link sees: the brief of one study, its report and letter, or a page that
 * says that there is none.
 *
 * A link that is over and one that never was are answered alike, so that an answer tells nothing of
 * what there has been. The secret is the path: it stands in no log, header or problem, and in no
 * other answer than the brief itself, whose ways to the report and the letter lead through it. */
#include "api/api.h"
#include "api/brief_page.h"
#include "api/handlers.h"
#include "api/plain_page.h"
#include "auth/secret.h"
#include "store/store_link.h"

#include <string.h>

static void respond_over(const struct http_request *request, struct http_response *response)
{
    api_respond_page(
        request, response, 404, "This link does not work",
        "It may have expired, have been used as often as it could be, have been taken "
        "back, or not be complete. The clinic that gave it to you can give you a new one.");
}

static void respond_wait(const struct http_request *request, struct http_response *response,
                         int wait_s)
{
    api_respond_page(request, response, 429, "Please try again later",
                     "Links were asked for too often from here.");
    api_retry_after(request, response, wait_s);
}

static void respond_error(const struct http_request *request, struct http_response *response,
                          const struct error *error)
{
    if (error->kind == ERROR_NOT_FOUND) {
        respond_over(request, response);
    } else {
        api_fail(request, response, error);
    }
}

/* A browser that fetches ahead of its user's click, or to show a preview (Fetch, "Sec-Purpose"; the
 * older fields from memory). It asks again when somebody really reads. */
static bool is_ahead_of_reader(const struct http_request *request)
{
    static const char *const FIELDS[] = {"Sec-Purpose", "Purpose", "X-Purpose", "X-Moz"};
    for (size_t i = 0; i < sizeof FIELDS / sizeof FIELDS[0]; i++) {
        const char *purpose = http_request_header(request, FIELDS[i]);
        if (purpose != NULL &&
            (strstr(purpose, "prefetch") != NULL || strstr(purpose, "preview") != NULL)) {
            return true;
        }
    }
    return false;
}

/* The link is who reads, and the audit says of which study. */
static void note_reader(struct api_context *context, const struct link_target *target)
{
    const struct principal link = {
        .id = target->id, .clinic_id = target->clinic_id, .name = "a link", .is_token = true};
    api_audit_actor(context, &link);
    api_audit_object(context, "studies", target->study_id);
}

/* Writes what is shown into `response`, within the transaction of the reading. */
typedef void link_show(struct api_context *context, struct http_request *request,
                       struct http_response *response, const struct link_target *target);

/* The read is counted, and stands in the audit, in the transaction that reads: an answer is only
 * given once that holds. */
static void read_through(struct api_context *context, struct http_request *request,
                         struct http_response *response, const struct link_target *target,
                         enum link_reading reading, link_show *show)
{
    struct error error = {0};
    int wait_s = 0;
    if (!link_begin_reading(context->store, target, reading, !request->is_head, &wait_s, &error)) {
        respond_error(request, response, &error);
        return;
    }
    if (wait_s > 0) {
        respond_wait(request, response, wait_s);
        return;
    }
    show(context, request, response, target);
    if (response->status == 200 && !api_audit_commit(context, request, response, &error)) {
        respond_error(request, response, &error);
    }
}

static void follow(struct api_context *context, struct http_request *request,
                   struct http_response *response, enum link_reading reading, link_show *show)
{
    unsigned char hash[SECRET_HASH_BYTES];
    struct link_target target = {0};
    struct error error = {0};
    int wait_s = 0;
    http_response_header(response, "X-Robots-Tag", "noindex, nofollow");
    if (is_ahead_of_reader(request)) {
        api_respond_page(request, response, 503, "Please open the link itself",
                         "It is not given to programs that fetch pages before somebody reads "
                         "them.");
        http_response_header(response, "Retry-After", "1");
        return;
    }
    secret_hash(request->parameters[0], hash);
    if (!link_look_up(context->store, request->arena, hash, request->client_address, &target,
                      &wait_s, &error)) {
        respond_error(request, response, &error);
    } else if (wait_s > 0) {
        respond_wait(request, response, wait_s);
    } else {
        note_reader(context, &target);
        read_through(context, request, response, &target, reading, show);
    }
}

/* ---- the brief, and the documents behind it ---- */

static void show_brief(struct api_context *context, struct http_request *request,
                       struct http_response *response, const struct link_target *target)
{
    const struct brief_place place = {
        .study_id = target->study_id,
        .clinic_name = target->clinic_name,
        .path = arena_printf(request->arena, "/l/%s", request->parameters[0]),
    };
    struct error error = {0};
    if (!brief_page_respond(context, request, response, &place, &error)) {
        respond_error(request, response, &error);
    }
}

static void show_report(struct api_context *context, struct http_request *request,
                        struct http_response *response, const struct link_target *target)
{
    const struct brief_place place = {.study_id = target->study_id,
                                      .clinic_name = target->clinic_name};
    struct error error = {0};
    if (!brief_report_respond(context, request, response, &place, &error)) {
        respond_error(request, response, &error);
    }
}

static void show_letter(struct api_context *context, struct http_request *request,
                        struct http_response *response, const struct link_target *target)
{
    const struct brief_place place = {.study_id = target->study_id,
                                      .clinic_name = target->clinic_name};
    struct error error = {0};
    if (!brief_letter_respond(context, request, response, &place, &error)) {
        respond_error(request, response, &error);
    }
}

void link_page_get(void *opaque, struct http_request *request, struct http_response *response)
{
    follow(opaque, request, response, LINK_PAGE, show_brief);
}

void link_report_get(void *opaque, struct http_request *request, struct http_response *response)
{
    follow(opaque, request, response, LINK_FILE, show_report);
}

void link_letter_get(void *opaque, struct http_request *request, struct http_response *response)
{
    follow(opaque, request, response, LINK_FILE, show_letter);
}
