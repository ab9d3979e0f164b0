/* What the reader of a link sees: one summary, or a page that says that there is none.
 *
 * A link that is over and one that never was are answered alike, so that an answer tells nothing of
 * what there has been. The secret is the path: it is never repeated in an answer or a log. */
#include "api/api.h"
#include "api/handlers.h"
#include "api/report_load.h"
#include "auth/secret.h"
#include "store/store_link.h"

#include <string.h>

#define PAGE_TYPE "text/html; charset=utf-8"

static void respond_page(const struct http_request *request, struct http_response *response,
                         int status, const char *heading, const char *words)
{
    struct text page;
    text_init(&page, request->arena, LIMIT_SMALL_BODY_BYTES);
    text_printf(&page,
                "<!doctype html>\n<html lang=\"en\">\n<head>\n<meta charset=\"utf-8\">\n"
                "<meta name=\"viewport\" content=\"width=device-width, initial-scale=1\">\n"
                "<title>%s</title>\n"
                "<link rel=\"stylesheet\" href=\"/assets/penstock.css\">\n</head>\n"
                "<body class=\"document\">\n<main>\n<h1>%s</h1>\n<p>%s</p>\n</main>\n</body>\n"
                "</html>\n",
                heading, heading, words);
    api_respond_text(request, response, status, PAGE_TYPE, &page);
}

static void respond_over(const struct http_request *request, struct http_response *response)
{
    respond_page(
        request, response, 404, "This link does not work",
        "It may have expired, have been used as often as it could be, have been taken "
        "back, or not be complete. The clinic that gave it to you can give you a new one.");
}

static void respond_wait(const struct http_request *request, struct http_response *response,
                         int wait_s)
{
    respond_page(request, response, 429, "Please try again later",
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

/* The read is counted, and stands in the audit, in the transaction that reads: an answer is only
 * given once that holds. */
static void show_summary(struct api_context *context, struct http_request *request,
                         struct http_response *response, const struct link_target *target)
{
    struct report report;
    struct text body;
    struct error error = {0};
    int wait_s = 0;
    text_init(&body, request->arena, REPORT_LIMIT);
    if (!link_begin_reading(context->store, target, !request->is_head, &wait_s, &error)) {
        respond_error(request, response, &error);
        return;
    }
    if (wait_s > 0) {
        respond_wait(request, response, wait_s);
        return;
    }
    if (!report_load(context->store, request->arena, target->clinic_name, target->study_id,
                     REPORT_PEOPLE, &report, &error)) {
        respond_error(request, response, &error);
        return;
    }
    document_write_html(report_document(&report, request->arena), &body);
    api_respond_text(request, response, 200, PAGE_TYPE, &body);
    if (response->status == 200 && !api_audit_commit(context, request, response, &error)) {
        respond_error(request, response, &error);
    }
}

/* The link is who reads, and the audit says of which study. */
static void note_reader(struct api_context *context, const struct link_target *target)
{
    const struct principal link = {
        .id = target->id, .clinic_id = target->clinic_id, .name = "a link", .is_token = true};
    api_audit_actor(context, &link);
    api_audit_object(context, "studies", target->study_id);
}

void link_page_get(void *opaque, struct http_request *request, struct http_response *response)
{
    struct api_context *context = opaque;
    unsigned char hash[SECRET_HASH_BYTES];
    struct link_target target = {0};
    struct error error = {0};
    int wait_s = 0;
    http_response_header(response, "X-Robots-Tag", "noindex, nofollow");
    if (is_ahead_of_reader(request)) {
        respond_page(request, response, 503, "Please open the link itself",
                     "It is not given to programs that fetch pages before somebody reads them.");
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
        show_summary(context, request, response, &target);
    }
}
