#include "api/session_start.h"

#include "auth/secret.h"

#include <sodium.h>

/* However busy a session is, it ends with the working day. */
static const int64_t SESSION_LIFE_S = (int64_t)12 * 3600;

bool session_cookies_are_secure(const struct http_request *request,
                                const struct api_settings *settings)
{
    return settings->secure_cookies || (settings->follow_cookies && request->secure);
}

void session_set_cookie(const struct http_request *request, struct http_response *response,
                        const struct api_settings *settings, const char *value, int64_t max_age_s)
{
    http_response_header(
        response, "Set-Cookie",
        arena_printf(request->arena, "%s=%s; Path=/; Max-Age=%lld; HttpOnly; SameSite=Strict%s",
                     API_SESSION_COOKIE, value, (long long)max_age_s,
                     session_cookies_are_secure(request, settings) ? "; Secure" : ""));
}

/* What may be shown of a field that anybody can fill with anything. */
static const char *printable(struct arena *arena, const char *field, size_t most)
{
    char *text = arena_alloc(arena, most + 1);
    for (size_t i = 0; field != NULL && field[i] != '\0' && i < most; i++) {
        text[i] = (char)(field[i] >= ' ' && field[i] <= '~' ? field[i] : '?');
    }
    return text;
}

static bool store_secret(struct api_context *context, const struct http_request *request,
                         const struct principal *principal, const char *secret,
                         int64_t *ret_expires_at_us, struct error *reterr)
{
    unsigned char hash[SECRET_HASH_BYTES];
    const struct session_origin origin = {
        .address = printable(request->arena, request->client_address, SESSION_ADDRESS_LENGTH),
        .user_agent = printable(request->arena, http_request_header(request, "User-Agent"),
                                SESSION_USER_AGENT_LENGTH),
        .by_provider = principal->by_provider,
        .authenticated_at_s = principal->authenticated_at_s,
    };
    secret_hash(secret, hash);
    return session_create(context->store, principal->id, hash, &origin, SESSION_LIFE_S,
                          ret_expires_at_us, reterr);
}

bool session_renew(struct api_context *context, const struct http_request *request,
                   struct http_response *response, int64_t *ret_expires_at_us, struct error *reterr)
{
    char secret[SECRET_TEXT_SIZE];
    secret_new("", secret);
    bool good =
        store_secret(context, request, &context->principal, secret, ret_expires_at_us, reterr);
    if (good) {
        session_set_cookie(request, response, context->settings, secret, SESSION_LIFE_S);
    }
    sodium_memzero(secret, sizeof secret);
    return good;
}

/* To somebody with a password that has just been changed it is a wrong one. */
static void refuse_outdated(const struct http_request *request, struct http_response *response,
                            const struct principal *principal)
{
    http_problem(request, response, 401, "%s",
                 principal->by_provider ? "The account was changed meanwhile. Sign in again."
                                        : SESSION_WRONG_PASSWORD);
}

bool session_start(struct api_context *context, const struct http_request *request,
                   struct http_response *response, const struct principal *principal,
                   int64_t *ret_expires_at_us)
{
    struct error error = {0};
    char secret[SECRET_TEXT_SIZE];
    secret_new("", secret);
    bool started = store_begin(context->store, principal->clinic_id, principal->id, &error) &&
                   account_hold(context->store, principal->id, principal->session_epoch, &error) &&
                   store_secret(context, request, principal, secret, ret_expires_at_us, &error) &&
                   store_commit(context->store, &error);
    if (started) {
        session_set_cookie(request, response, context->settings, secret, SESSION_LIFE_S);
    } else if (error.kind == ERROR_STALE) {
        refuse_outdated(request, response, principal);
    } else {
        api_fail(request, response, &error);
    }
    store_rollback(context->store);
    sodium_memzero(secret, sizeof secret);
    return started;
}
