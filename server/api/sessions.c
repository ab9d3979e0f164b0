#include "api/api.h"
#include "api/handlers.h"
#include "api/roles_json.h"
#include "auth/password.h"
#include "auth/secret.h"

#include <string.h>

/* However busy a session is, it ends with the working day. */
static const int64_t SESSION_LIFE_S = (int64_t)12 * 3600;

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

static void set_cookie(const struct http_request *request, struct http_response *response,
                       const struct api_settings *settings, const char *value, int64_t max_age_s)
{
    http_response_header(response, "Set-Cookie",
                         arena_printf(request->arena,
                                      "%s=%s; Path=/; Max-Age=%lld; HttpOnly; SameSite=Strict%s",
                                      API_SESSION_COOKIE, value, (long long)max_age_s,
                                      settings->secure_cookies ? "; Secure" : ""));
}

static bool start_session(struct api_context *context, const struct principal *principal,
                          const char *secret, int64_t *ret_expires_at_us, struct error *reterr)
{
    unsigned char hash[SECRET_HASH_BYTES];
    secret_hash(secret, hash);
    return store_begin(context->store, principal->clinic_id, principal->id, reterr) &&
           session_create(context->store, principal->id, hash, SESSION_LIFE_S, ret_expires_at_us,
                          reterr) &&
           store_commit(context->store, reterr);
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
    api_audit_username(context, username);
    if (!check_password(context, request, username, password, &principal, &error)) {
        if (error.kind == ERROR_NOT_FOUND) {
            http_problem(request, response, 401, "The username or the password is wrong.");
        } else {
            api_fail(request, response, &error);
        }
        return;
    }
    char secret[SECRET_TEXT_SIZE];
    secret_new("", secret);
    int64_t expires_at_us = 0;
    if (!start_session(context, &principal, secret, &expires_at_us, &error)) {
        api_fail(request, response, &error);
        return;
    }
    api_audit_actor(context, &principal);
    respond_principal(request, response, 201, &principal, expires_at_us);
    http_response_header(response, "Location", "/v1/sessions/current");
    set_cookie(request, response, context->settings, secret, SESSION_LIFE_S);
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
    set_cookie(request, response, context->settings, "", 0);
}
