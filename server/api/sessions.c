#include "api/api.h"
#include "api/handlers.h"
#include "api/roles_json.h"
#include "api/session_start.h"
#include "auth/password.h"
#include "auth/secret.h"

#include <string.h>

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
    text_append(&body, "},\"clinic\":{");
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

/* A wrong name and a wrong password get the same answer, after the same time. */
static bool check_password(struct api_context *context, const struct http_request *request,
                           const char *username, const char *password,
                           struct principal *ret_principal, struct error *reterr)
{
    const char *hash = NULL;
    if (!account_for_sign_in(context->store, request->arena, username, ret_principal, &hash,
                             reterr) &&
        reterr->kind != ERROR_NOT_FOUND) {
        return false;
    }
    bool right = false;
    return password_verify(password, hash, &right, reterr) &&
           (right || error_set(reterr, ERROR_NOT_FOUND, "wrong username or password"));
}

/* A page elsewhere must not sign its visitor in here; other programs send no such fields. */
static bool is_from_elsewhere(const struct http_request *request)
{
    const char *site = http_request_header(request, "Sec-Fetch-Site");
    return site != NULL && strcmp(site, "same-origin") != 0 && strcmp(site, "none") != 0;
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
    const char *username = json_reader_string(&reader, "username", JSON_REQUIRED, LIMIT_NAME_BYTES);
    const char *password =
        json_reader_string(&reader, "password", JSON_REQUIRED, PASSWORD_MAX_LENGTH);
    json_reader_close(&reader);
    if (api_reject(request, response, &faults)) {
        return;
    }
    struct principal principal = {0};
    struct error error = {0};
    if (!check_password(context, request, username, password, &principal, &error)) {
        if (error.kind == ERROR_NOT_FOUND) {
            http_problem(request, response, 401, "The username or the password is wrong.");
        } else {
            api_fail(request, response, &error);
        }
        return;
    }
    int64_t expires_at_us = 0;
    if (!session_start(context, request, response, &principal, &expires_at_us)) {
        return;
    }
    respond_principal(request, response, 201, &principal, expires_at_us);
    http_response_header(response, "Location", "/v1/sessions/current");
}

void sessions_get_current(void *opaque, struct http_request *request,
                          struct http_response *response)
{
    struct api_context *context = opaque;
    respond_principal(request, response, 200, &context->principal, 0);
}

void sessions_delete_current(void *opaque, struct http_request *request,
                             struct http_response *response)
{
    struct api_context *context = opaque;
    const char *secret = http_request_cookie(request, API_SESSION_COOKIE);
    if (context->principal.is_token || secret == NULL) {
        http_problem(request, response, 409,
                     "A bearer token has no session; revoke the token instead.");
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
