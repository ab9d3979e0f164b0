#include "api/api.h"
#include "api/dispatch.h"
#include "api/handlers.h"
#include "api/roles_json.h"
#include "api/session_start.h"
#include "api/sessions_json.h"
#include "api/sign_in.h"
#include "auth/password.h"
#include "auth/secret.h"

#include <string.h>

static void append_owes(struct text *out, unsigned owes)
{
    text_append(out, owes & OWES_PASSWORD ? "[\"password\"" : "[");
    if (owes & OWES_SECOND_FACTOR) {
        text_append(out, owes & OWES_PASSWORD ? ",\"second_factor\"" : "\"second_factor\"");
    }
    text_append_char(out, ']');
}

static void respond_principal(const struct http_request *request, struct http_response *response,
                              int status, const struct principal *principal, int64_t expires_at_us)
{
    struct text body;
    text_init(&body, request->arena, LIMIT_SMALL_BODY_BYTES);
    text_append(&body, "{\"user\":{");
    api_append_string(&body, "id", principal->id);
    text_append_char(&body, ',');
    api_append_string(&body, "username", principal->name);
    text_append_char(&body, ',');
    api_append_string(&body, "display_name", principal->display_name);
    text_append_char(&body, ',');
    roles_json_append(&body, principal->roles);
    text_append(&body, "},\"owes\":");
    append_owes(&body, principal->owes);
    text_append(&body, ",\"clinic\":{");
    api_append_string(&body, "id", principal->clinic_id);
    text_append_char(&body, ',');
    api_append_string(&body, "name", principal->clinic_name);
    text_append_char(&body, '}');
    if (expires_at_us != 0) {
        text_append_char(&body, ',');
        api_append_time(&body, "expires_at", expires_at_us);
    }
    text_append_char(&body, '}');
    api_respond_json(request, response, status, &body);
}

/* A page elsewhere must not sign its visitor in here; other programs send no such fields. */
static bool is_from_elsewhere(const struct http_request *request)
{
    const char *site = http_request_header(request, "Sec-Fetch-Site");
    if (site == NULL && http_request_header(request, "Origin") == NULL) {
        return false;
    }
    bool by_hand = site != NULL && strcmp(site, "none") == 0;
    return !by_hand && !dispatch_comes_from_own_pages(request);
}

void sessions_create(void *opaque, struct http_request *request, struct http_response *response)
{
    struct api_context *context = opaque;
    struct json_reader reader;
    struct fault_list faults;
    if (is_from_elsewhere(request)) {
        http_problem(request, response, 403, "Sign in from this server's own page.");
        return;
    }
    if (!api_read_object(request, response, &reader, &faults)) {
        return;
    }
    const struct sign_in_proof proof = {
        .username = json_reader_string(&reader, "username", JSON_REQUIRED, LIMIT_NAME_BYTES),
        .password = json_reader_string(&reader, "password", JSON_REQUIRED, PASSWORD_MAX_BYTES),
        .code = json_reader_string(&reader, "code", JSON_OPTIONAL, LIMIT_NAME_BYTES),
    };
    json_reader_close(&reader);
    struct principal principal = {0};
    const char *browser = NULL;
    if (api_reject(request, response, &faults)) {
        return;
    }
    api_audit_username(context, proof.username);
    if (!sign_in_check(context, request, response, &proof, &principal, &browser)) {
        return;
    }
    int64_t expires_at_us = 0;
    if (!session_start(context, request, response, &principal, &expires_at_us)) {
        return;
    }
    api_audit_actor(context, &principal);
    sign_in_remember(request, response, context->settings, browser);
    respond_principal(request, response, 201, &principal, expires_at_us);
    http_response_header(response, "Location", "/v1/sessions/current");
}

void sessions_get_current(void *opaque, struct http_request *request,
                          struct http_response *response)
{
    struct api_context *context = opaque;
    respond_principal(request, response, 200, &context->principal, 0);
}

bool sessions_has_session(const struct api_context *context, const struct http_request *request,
                          struct http_response *response)
{
    if (context->principal.is_token) {
        http_problem(request, response, 409,
                     "A bearer token has no session and no password; revoke the token instead.");
    }
    return !context->principal.is_token;
}

void sessions_delete_current(void *opaque, struct http_request *request,
                             struct http_response *response)
{
    struct api_context *context = opaque;
    const char *secret = http_request_cookie(request, API_SESSION_COOKIE);
    if (!sessions_has_session(context, request, response) || secret == NULL) {
        return;
    }
    unsigned char hash[SECRET_HASH_BYTES];
    secret_hash(secret, hash);
    struct error error = {0};
    if (!session_delete(context->store, hash, &error)) {
        api_fail(request, response, &error);
        return;
    }
    http_respond(response, 204, NULL, NULL, 0);
    session_set_cookie(request, response, context->settings, "", 0);
}

void sessions_respond_list(struct api_context *context, const struct http_request *request,
                           struct http_response *response, const char *account_id)
{
    struct session *sessions = NULL;
    size_t count = 0;
    struct error error = {0};
    if (!session_list(context->store, request->arena, account_id, &sessions, &count, &error)) {
        api_fail(request, response, &error);
        return;
    }
    struct text body;
    text_init(&body, request->arena, LIMIT_SMALL_BODY_BYTES);
    text_append(&body, "{\"items\":[");
    for (size_t i = 0; i < count; i++) {
        text_append(&body, i == 0 ? "{" : ",{");
        api_append_string(&body, "id", sessions[i].id);
        text_append_char(&body, ',');
        api_append_time(&body, "created_at", sessions[i].created_at_us);
        text_append_char(&body, ',');
        api_append_time(&body, "last_used_at", sessions[i].last_used_at_us);
        text_append_char(&body, ',');
        api_append_time(&body, "expires_at", sessions[i].expires_at_us);
        text_append_char(&body, ',');
        api_append_string(&body, "address", sessions[i].address);
        text_append_char(&body, ',');
        api_append_string(&body, "user_agent", sessions[i].user_agent);
        bool current = context->principal.session_id != NULL &&
                       strcmp(context->principal.session_id, sessions[i].id) == 0;
        text_append(&body, current ? ",\"current\":true}" : ",\"current\":false}");
    }
    text_append(&body, "]}");
    api_respond_json(request, response, 200, &body);
}

void sessions_list(void *opaque, struct http_request *request, struct http_response *response)
{
    struct api_context *context = opaque;
    if (sessions_has_session(context, request, response)) {
        sessions_respond_list(context, request, response, context->principal.id);
    }
}

void sessions_delete(void *opaque, struct http_request *request, struct http_response *response)
{
    struct api_context *context = opaque;
    const char *id = api_path_id(request, response, 0);
    struct error error = {0};
    if (id == NULL || !sessions_has_session(context, request, response)) {
        return;
    }
    if (!session_end(context->store, context->principal.id, id, &error)) {
        api_fail(request, response, &error);
        return;
    }
    http_respond(response, 204, NULL, NULL, 0);
}

/* The word has to be there: a DELETE of the collection might be meant for all of it. */
void sessions_delete_others(void *opaque, struct http_request *request,
                            struct http_response *response)
{
    struct api_context *context = opaque;
    struct fault_list faults;
    fault_list_init(&faults, request->arena);
    http_request_check_query(request, (const char *const[]){"others", NULL}, &faults);
    if (!api_query_flag(request, "others", &faults) && faults.count == 0) {
        fault_add(&faults, "?others",
                  "Must be true: one's own session is ended at "
                  "/v1/sessions/current.");
    }
    struct error error = {0};
    if (!sessions_has_session(context, request, response) ||
        api_reject(request, response, &faults)) {
        return;
    }
    if (!session_end_all(context->store, context->principal.id, context->principal.session_id,
                         &error)) {
        api_fail(request, response, &error);
        return;
    }
    http_respond(response, 204, NULL, NULL, 0);
}
