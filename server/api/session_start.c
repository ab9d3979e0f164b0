#include "api/session_start.h"

#include "auth/secret.h"

#include <sodium.h>

/* However busy a session is, it ends with the working day. */
static const int64_t SESSION_LIFE_S = (int64_t)12 * 3600;

void session_set_cookie(const struct http_request *request, struct http_response *response,
                        const struct api_settings *settings, const char *value, int64_t max_age_s)
{
    http_response_header(response, "Set-Cookie",
                         arena_printf(request->arena,
                                      "%s=%s; Path=/; Max-Age=%lld; HttpOnly; SameSite=Strict%s",
                                      API_SESSION_COOKIE, value, (long long)max_age_s,
                                      settings->secure_cookies ? "; Secure" : ""));
}

static bool store_session(struct api_context *context, const struct principal *principal,
                          const char *secret, int64_t *ret_expires_at_us, struct error *reterr)
{
    unsigned char hash[SECRET_HASH_BYTES];
    secret_hash(secret, hash);
    return store_begin(context->store, principal->clinic_id, principal->id, reterr) &&
           session_create(context->store, principal->id, hash, SESSION_LIFE_S, ret_expires_at_us,
                          reterr) &&
           store_commit(context->store, reterr);
}

bool session_start(struct api_context *context, const struct http_request *request,
                   struct http_response *response, const struct principal *principal,
                   int64_t *ret_expires_at_us)
{
    struct error error = {0};
    char secret[SECRET_TEXT_SIZE];
    secret_new("", secret);
    bool started = store_session(context, principal, secret, ret_expires_at_us, &error);
    if (started) {
        session_set_cookie(request, response, context->settings, secret, SESSION_LIFE_S);
    } else {
        api_fail(request, response, &error);
    }
    sodium_memzero(secret, sizeof secret);
    return started;
}
