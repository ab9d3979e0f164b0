#include "api/dispatch.h"

#include "api/plain_page.h"
#include "auth/access.h"
#include "auth/secret.h"
#include "base/log.h"
#include "http/router.h"
#include "store/store_idempotency.h"

#include <sodium.h>
#include <stdlib.h>
#include <string.h>
#include <strings.h>

struct dispatch_worker {
    const struct dispatch_options *options;
    struct store *store;
};

enum { TRIES = 2 };

void *dispatch_worker_start(void *context)
{
    struct dispatch_worker *worker = calloc(1, sizeof *worker);
    if (worker == NULL) {
        abort();
    }
    worker->options = context;
    worker->store = store_new(worker->options->database);
    return worker;
}

void dispatch_worker_stop(void *worker)
{
    struct dispatch_worker *self = worker;
    store_free(self->store);
    free(self);
}

static const char *bearer_token(const struct http_request *request)
{
    const char *field = http_request_header(request, "Authorization");
    if (field == NULL || strncasecmp(field, "Bearer ", 7) != 0) {
        return NULL;
    }
    return field + 7 + strspn(field + 7, " ");
}

bool dispatch_has_credential(const struct http_request *request)
{
    return bearer_token(request) != NULL ||
           http_request_cookie(request, API_SESSION_COOKIE) != NULL;
}

static bool is_safe(enum http_method method)
{
    return method == HTTP_GET || method == HTTP_HEAD || method == HTTP_OPTIONS;
}

bool dispatch_comes_from_own_pages(const struct http_request *request)
{
    const char *site = http_request_header(request, "Sec-Fetch-Site");
    if (site != NULL) {
        return strcmp(site, "same-origin") == 0;
    }
    const char *origin = http_request_header(request, "Origin");
    const char *authority = origin == NULL ? NULL : strstr(origin, "://");
    return authority != NULL && request->host != NULL &&
           (!request->secure || strncasecmp(origin, "https://", 8) == 0) &&
           strcasecmp(authority + 3, request->host) == 0;
}

static void refuse_caller(const struct http_request *request, struct http_response *response)
{
    if (request->route->flags & API_ROUTE_PAGE) {
        struct text location;
        text_init(&location, request->arena, LIMIT_SMALL_BODY_BYTES);
        text_append(&location, "/sign-in?next=");
        api_append_query_value(&location, request->path);
        if (request->query[0] != '\0') {
            api_append_query_value(&location, "?");
            api_append_query_value(&location, request->query);
        }
        http_respond(response, 303, NULL, NULL, 0);
        http_response_header(response, "Location", location.data);
        return;
    }
    http_problem(request, response, 401, "Sign in, or send a valid bearer token.");
    http_response_header(response, "WWW-Authenticate", "Bearer");
}

static void refuse_role(const struct http_request *request, struct http_response *response)
{
    if (request->route->flags & API_ROUTE_PAGE) {
        api_respond_page(request, response, 403, "Your account may not see this page",
                         "Ask the administrator of your clinic if you need it.");
    } else {
        http_problem(request, response, 403, "Your role does not allow this.");
    }
}

/* In the spirit of RFC 8705, section 3: a token that is bound to a certificate is worth nothing on
 * a connection that has not shown it. */
static bool has_its_certificate(const struct http_request *request,
                                const struct principal *principal)
{
    const char *wanted = principal->certificate_sha256;
    const char *shown = request->client_certificate;
    return wanted == NULL || (shown != NULL && strlen(shown) == strlen(wanted) &&
                              sodium_memcmp(shown, wanted, strlen(wanted)) == 0);
}

static bool find_by_token(const struct http_request *request, const char *token,
                          struct api_context *context, struct error *reterr)
{
    unsigned char hash[SECRET_HASH_BYTES];
    secret_hash(token, hash);
    api_audit_credential(context, "token", hash);
    if (!secret_is_well_formed(SECRET_TOKEN_MARK, token)) {
        return error_set(reterr, ERROR_NOT_FOUND, "no token of this server");
    }
    struct principal principal = {0};
    if (!token_principal(context->store, request->arena, hash, request->client_address, &principal,
                         reterr)) {
        return false;
    }
    if (!has_its_certificate(request, &principal)) {
        return error_set(reterr, ERROR_NOT_FOUND, "the token needs its certificate");
    }
    context->principal = principal;
    return true;
}

/* A bearer token wins over a cookie, and then the cookie counts for nothing. */
static bool find_principal(const struct http_request *request, struct api_context *context,
                           struct error *reterr)
{
    const char *token = bearer_token(request);
    if (token != NULL) {
        return find_by_token(request, token, context, reterr);
    }
    const char *session = http_request_cookie(request, API_SESSION_COOKIE);
    if (session == NULL) {
        return error_set(reterr, ERROR_NOT_FOUND, "no credential");
    }
    unsigned char hash[SECRET_HASH_BYTES];
    secret_hash(session, hash);
    api_audit_credential(context, "session", hash);
    bool counts = http_request_header(request, "Penstock-Background") == NULL;
    return session_principal(context->store, request->arena, hash, counts, &context->principal,
                             reterr);
}

/* Whoever must change the password or set up a second factor first may do nothing else. */
static bool refuse_while_owing(const struct http_request *request, struct http_response *response,
                               const struct principal *principal)
{
    unsigned flags = request->route->flags;
    if (principal->owes == 0 || (flags & (API_ROUTE_WHILE_OWING | API_ROUTE_PAGE)) != 0) {
        return false;
    }
    if ((principal->owes & OWES_PASSWORD) != 0) {
        http_problem_of_type(request, response, 403, API_PROBLEM_PASSWORD_CHANGE,
                             "Somebody else has chosen this account's password: change it first "
                             "(POST /v1/sessions/current/password).");
        return true;
    }
    if ((flags & API_ROUTE_WHILE_OWING_FACTOR) != 0) {
        return false;
    }
    http_problem_of_type(request, response, 403, API_PROBLEM_SECOND_FACTOR_SETUP,
                         "The clinic wants a second factor of this role: set one up first "
                         "(POST /v1/sessions/current/second-factor).");
    return true;
}

static bool authorise(const struct http_request *request, struct http_response *response,
                      struct api_context *context)
{
    struct error error = {0};
    if (!find_principal(request, context, &error)) {
        if (error.kind == ERROR_NOT_FOUND) {
            refuse_caller(request, response);
        } else {
            api_fail(request, response, &error);
        }
        return false;
    }
    if (!context->principal.is_token && !is_safe(request->method) &&
        !dispatch_comes_from_own_pages(request)) {
        http_problem(request, response, 403,
                     "A change made with a browser session must come from this server's own pages "
                     "(Origin or Sec-Fetch-Site).");
        return false;
    }
    const struct http_route *route = request->route;
    if (refuse_while_owing(request, response, &context->principal)) {
        return false;
    }
    if (!access_allowed(&context->principal, route->resource, route->action)) {
        refuse_role(request, response);
        return false;
    }
    context->reach = access_reach(&context->principal, route->resource, route->action);
    return true;
}

/* With the NUL behind it, so that what stands in one part is not taken for the next. */
static void digest_part(crypto_generichash_state *state, const char *part)
{
    crypto_generichash_update(state, (const unsigned char *)part, strlen(part) + 1);
}

/* BLAKE2b-256 of all that decides what a request does: uploads may have parameters in the query.
 * The body counts as decoded, so that it may be sent again with another compression. */
static void request_digest(const struct http_request *request,
                           unsigned char digest[IDEMPOTENCY_DIGEST_BYTES])
{
    crypto_generichash_state state;
    crypto_generichash_init(&state, NULL, 0, IDEMPOTENCY_DIGEST_BYTES);
    digest_part(&state, router_method_name(request->method));
    digest_part(&state, request->path);
    digest_part(&state, request->query);
    digest_part(&state, request->media_type == NULL ? "" : request->media_type);
    crypto_generichash_update(&state, (const unsigned char *)request->body, request->body_length);
    crypto_generichash_final(&state, digest, IDEMPOTENCY_DIGEST_BYTES);
}

static bool idempotency_key_is_valid(const char *key)
{
    size_t length = strlen(key);
    return length >= 1 && length <= IDEMPOTENCY_KEY_LIMIT &&
           strspn(key, "ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789-_.:\"") ==
               length;
}

static void repeat_answer(struct http_response *response, const struct remembered_answer *answer)
{
    http_respond(response, answer->status, answer->media_type, answer->body, answer->body_length);
    response->etag = answer->etag;
    if (answer->location != NULL) {
        http_response_header(response, "Location", answer->location);
    }
    http_response_header(response, "Idempotent-Replayed", "true");
}

static bool remember_answer(struct api_context *context, const char *key,
                            const struct http_response *response, struct error *reterr)
{
    struct remembered_answer answer = {
        .status = response->status,
        .media_type = response->media_type,
        .etag = response->etag,
        .location = http_response_field(response, "Location"),
        .body = response->body,
        .body_length = response->body_length,
    };
    return idempotency_remember(context->store, context->principal.id, key, &answer, reterr);
}

static void call_handler(struct api_context *context, struct http_request *request,
                         struct http_response *response)
{
    request->route->handler(context, request, response);
}

/* With an Idempotency-Key the claim, the creation and the remembered answer are one transaction. */
static bool create_once(struct api_context *context, struct http_request *request,
                        struct http_response *response, struct error *reterr)
{
    const char *key = http_request_header(request, "Idempotency-Key");
    if (key == NULL) {
        call_handler(context, request, response);
        return true;
    }
    if (!idempotency_key_is_valid(key)) {
        http_problem(request, response, 400,
                     "Idempotency-Key has 1 to %d characters from A-Z a-z 0-9 - _ . : \".",
                     IDEMPOTENCY_KEY_LIMIT);
        return true;
    }
    unsigned char digest[IDEMPOTENCY_DIGEST_BYTES];
    request_digest(request, digest);
    enum idempotency_state state = IDEMPOTENCY_NEW;
    struct remembered_answer answer = {0};
    if (!idempotency_claim(context->store, request->arena, context->principal.id, key, digest,
                           &state, &answer, reterr)) {
        return false;
    }
    switch (state) {
    case IDEMPOTENCY_REPEATED:
        repeat_answer(response, &answer);
        return true;
    case IDEMPOTENCY_MISMATCH:
        http_problem(request, response, 422,
                     "This Idempotency-Key was used before with another request.");
        return true;
    case IDEMPOTENCY_NEW:
        break;
    }
    call_handler(context, request, response);
    return response->status >= 400 || remember_answer(context, key, response, reterr);
}

static bool run_reading(struct api_context *context, struct http_request *request,
                        struct http_response *response, struct error *reterr)
{
    if (!store_begin_reading(context->store, context->principal.clinic_id, context->principal.id,
                             reterr)) {
        return false;
    }
    store_narrow(context->store, context->reach);
    call_handler(context, request, response);
    store_end_reading(context->store);
    return true;
}

static bool run_writing(struct api_context *context, struct http_request *request,
                        struct http_response *response, struct error *reterr)
{
    if (!store_begin(context->store, context->principal.clinic_id, context->principal.id, reterr)) {
        return false;
    }
    store_narrow(context->store, context->reach);
    if (request->route->flags & HTTP_ROUTE_CREATES) {
        if (!create_once(context, request, response, reterr)) {
            store_rollback(context->store);
            return false;
        }
    } else {
        call_handler(context, request, response);
    }
    if (response->status >= 400) {
        store_rollback(context->store);
        return true;
    }
    if (!api_audit_change(context, request, response, reterr)) {
        store_rollback(context->store);
        return false;
    }
    return store_commit(context->store, reterr);
}

static void serve_in_transaction(struct api_context *context, struct http_request *request,
                                 struct http_response *response)
{
    const struct http_response fresh = *response;
    for (int attempt = 1;; attempt++) {
        struct error error = {0};
        api_audit_begin(context, request->arena);
        bool ran = is_safe(request->method) ? run_reading(context, request, response, &error)
                                            : run_writing(context, request, response, &error);
        bool lost = !ran || response->status == 503;
        if (lost && attempt < TRIES && store_may_retry(context->store)) {
            *response = fresh;
            continue;
        }
        if (!ran) {
            context->audit.written = false;
            *response = fresh;
            api_fail(request, response, &error);
        }
        return;
    }
}

static void serve(struct api_context *context, struct http_request *request,
                  struct http_response *response)
{
    unsigned flags = request->route->flags;
    bool wants_caller = !(flags & HTTP_ROUTE_PUBLIC) || (flags & API_ROUTE_CHECKS_CALLER) != 0;
    if (wants_caller && !authorise(request, response, context)) {
        return;
    }
    /* Only now: what a stranger sends is not worth decoding. */
    if (!http_request_load_body(request, response)) {
        return;
    }
    if (flags & API_ROUTE_OWN_TRANSACTION) {
        call_handler(context, request, response);
        store_rollback(context->store);
    } else {
        serve_in_transaction(context, request, response);
    }
}

void dispatch_serve(void *worker, struct http_request *request, struct http_response *response)
{
    struct dispatch_worker *self = worker;
    struct api_context context = {
        .settings = &self->options->settings,
        .store = self->store,
    };
    const struct http_response fresh = *response;
    api_audit_begin(&context, request->arena);
    serve(&context, request, response);
    api_audit_answer(&context, request, response, &fresh);
}

void dispatch_serve_inline(void *context, struct http_request *request,
                           struct http_response *response)
{
    const struct dispatch_options *options = context;
    struct api_context caller = {.settings = &options->settings};
    call_handler(&caller, request, response);
}
