#include "api/api.h"
#include "api/handlers.h"
#include "auth/access.h"
#include "base/embedded.h"

#include <string.h>

struct media_type_row {
    const char *suffix;
    const char *media_type;
};

static const struct media_type_row MEDIA_TYPES[] = {
    {".html", "text/html; charset=utf-8"}, {".js", "text/javascript; charset=utf-8"},
    {".css", "text/css; charset=utf-8"},   {".svg", "image/svg+xml"},
    {".txt", "text/plain; charset=utf-8"}, {".woff2", "font/woff2"},
    {".json", "application/json"},
};

/* What the sign-in page itself needs; everything else wants a session. */
static const char *const PUBLIC_ASSETS[] = {"sign-in.js", "penstock.css", "favicon.svg",
                                            "licences.txt", NULL};

static const struct embedded_file *find_file(const char *name)
{
    for (const struct embedded_file *file = web_files; file->name != NULL; file++) {
        if (strcmp(file->name, name) == 0) {
            return file;
        }
    }
    return NULL;
}

static const char *media_type_of(const char *name)
{
    size_t length = strlen(name);
    for (size_t i = 0; i < sizeof MEDIA_TYPES / sizeof MEDIA_TYPES[0]; i++) {
        size_t suffix_length = strlen(MEDIA_TYPES[i].suffix);
        if (length > suffix_length &&
            strcmp(name + length - suffix_length, MEDIA_TYPES[i].suffix) == 0) {
            return MEDIA_TYPES[i].media_type;
        }
    }
    return "application/octet-stream";
}

static void send_file(const struct http_request *request, struct http_response *response,
                      const char *name)
{
    const struct embedded_file *file = find_file(name);
    if (file == NULL) {
        http_problem(request, response, 404, "There is no such page or file.");
        return;
    }
    http_respond(response, 200, media_type_of(name), file->data, file->length);
    response->shared_static = true;
    response->cacheable = true;
    api_set_content_etag(request, response);
    http_response_header(response, "Cache-Control", "no-cache");
}

void pages_sign_in(void *opaque, struct http_request *request, struct http_response *response)
{
    (void)opaque;
    send_file(request, response, "sign-in.html");
}

void pages_today(void *opaque, struct http_request *request, struct http_response *response)
{
    (void)opaque;
    send_file(request, response, "today.html");
}

void pages_letters(void *opaque, struct http_request *request, struct http_response *response)
{
    (void)opaque;
    send_file(request, response, "letters.html");
}

/* Whoever reads summaries only has a page of those. */
void pages_study(void *opaque, struct http_request *request, struct http_response *response)
{
    const struct api_context *context = opaque;
    const char *id = api_path_id(request, response, 0);
    if (id == NULL) {
        return;
    }
    const struct principal *principal = &context->principal;
    if (principal->owes == 0 && !access_allowed(principal, ACCESS_STUDIES, ACCESS_READ) &&
        access_allowed(principal, ACCESS_SUMMARIES, ACCESS_READ)) {
        http_respond(response, 303, NULL, NULL, 0);
        http_response_header(response, "Location",
                             arena_printf(request->arena, "/referred/%s", id));
        return;
    }
    send_file(request, response, "study.html");
}

void pages_audit(void *opaque, struct http_request *request, struct http_response *response)
{
    (void)opaque;
    send_file(request, response, "audit.html");
}

void pages_account(void *opaque, struct http_request *request, struct http_response *response)
{
    (void)opaque;
    send_file(request, response, "account.html");
}

void pages_public_asset(void *opaque, struct http_request *request, struct http_response *response)
{
    (void)opaque;
    const char *name = strrchr(request->path, '/') + 1;
    for (size_t i = 0; PUBLIC_ASSETS[i] != NULL; i++) {
        if (strcmp(PUBLIC_ASSETS[i], name) == 0) {
            send_file(request, response, name);
            return;
        }
    }
    http_problem(request, response, 404, "There is no such page or file.");
}

void pages_asset(void *opaque, struct http_request *request, struct http_response *response)
{
    (void)opaque;
    send_file(request, response, request->parameters[0]);
}
