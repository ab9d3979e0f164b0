/* Signing in with the hospital's own provider: away to it, and back. */
#include "api/api.h"
#include "api/handlers.h"
#include "api/session_start.h"
#include "auth/openid.h"
#include "auth/secret.h"
#include "auth/throttle.h"
#include "base/log.h"
#include "store/store_single_sign_on.h"

#include <sodium.h>
#include <string.h>

#define ATTEMPT_COOKIE "penstock_sign_in"
#define ATTEMPT_PATH   "/sign-in"
#define FIRST_PAGE     "/today"

enum { ATTEMPT_LIFE_S = 600, AGAIN_S = 5, NEXT_MOST_BYTES = 1000, PAGE_MOST_BYTES = 16 * 1024 };

/* ---- pages ---- */

struct page {
    int status;
    const char *title;
    const char *text;
    const char *link; /* where its link leads */
    const char *link_text;
    bool goes_on; /* by itself */
    int wait_s;   /* when to try again; 0: not said */
};

/* Plain pages, without script. A redirect in their place would be part of the chain that began at
 * the provider's site, and the browser would not send the session's strict cookie along it. */
static void respond_page(const struct http_request *request, struct http_response *response,
                         const struct page *page)
{
    struct text body;
    text_init(&body, request->arena, PAGE_MOST_BYTES);
    text_append(&body, "<!doctype html>\n<html lang=\"en\">\n<head>\n<meta charset=\"utf-8\">\n"
                       "<meta name=\"viewport\" content=\"width=device-width, initial-scale=1\">\n"
                       "<meta name=\"color-scheme\" content=\"light dark\">\n");
    if (page->goes_on) {
        text_append(&body, "<meta http-equiv=\"refresh\" content=\"0; url=");
        text_append_html(&body, page->link);
        text_append(&body, "\">\n");
    }
    text_append(&body, "<title>");
    text_append_html(&body, page->title);
    text_append(&body, " – Penstock</title>\n"
                       "<link rel=\"icon\" href=\"/assets/favicon.svg\" type=\"image/svg+xml\">\n"
                       "<link rel=\"stylesheet\" href=\"/assets/penstock.css\">\n</head>\n"
                       "<body class=\"page-sign-in\">\n<main id=\"content\" class=\"sign-in\">\n"
                       "<p class=\"brand\">Penstock</p>\n<h1>");
    text_append_html(&body, page->title);
    text_append(&body, "</h1>\n<p class=\"lead\">");
    text_append_html(&body, page->text);
    text_append(&body, "</p>\n<p><a class=\"button button-main\" href=\"");
    text_append_html(&body, page->link);
    text_append(&body, "\">");
    text_append_html(&body, page->link_text);
    text_append(&body, "</a></p>\n</main>\n</body>\n</html>\n");
    api_respond_text(request, response, page->status, "text/html; charset=utf-8", &body);
    if (page->wait_s > 0) {
        api_retry_after(request, response, page->wait_s);
    }
}

static void respond_failure(const struct http_request *request, struct http_response *response,
                            int status, const char *text, int wait_s)
{
    const struct page page = {
        .status = status,
        .wait_s = wait_s,
        .title = "Not signed in",
        .text = text,
        .link = ATTEMPT_PATH,
        .link_text = "Back to signing in",
    };
    respond_page(request, response, &page);
}

#define NOT_CONFIRMED "The sign-in service did not confirm this sign-in. Please begin again."

/* Logs what failed, and answers with what that means to a person.
 * not_found  what ERROR_NOT_FOUND means here */
static void fail(const struct http_request *request, struct http_response *response,
                 const struct error *error, const char *not_found)
{
    const struct log_field fields[] = {
        {.name = "request_id", .text = request->id},
        {.name = "detail", .text = error->detail},
    };
    log_event(LOG_LEVEL_WARNING, "single_sign_on_failed", fields, sizeof fields / sizeof fields[0]);
    switch (error->kind) {
    case ERROR_UNAVAILABLE:
        respond_failure(request, response, 503,
                        "The sign-in service does not answer. Wait a moment, then try again.",
                        AGAIN_S);
        return;
    case ERROR_INVALID:
        respond_failure(request, response, 502,
                        "The sign-in service gave an answer that cannot be trusted. Tell whoever "
                        "looks after Penstock.",
                        0);
        return;
    case ERROR_NOT_FOUND:
        respond_failure(request, response, 403, not_found, 0);
        return;
    case ERROR_NONE:
    case ERROR_CONFLICT:
    case ERROR_STALE:
    case ERROR_INTERNAL:
        break;
    }
    respond_failure(request, response, 500, "The server failed. Please try again.", 0);
}

static struct openid *openid_of(const struct api_context *context,
                                const struct http_request *request, struct http_response *response)
{
    struct openid *openid = context->settings->openid;
    if (openid == NULL) {
        http_problem(request, response, 404, "There is no such page or file.");
    }
    return openid;
}

/* ---- where to go on ---- */

/* A path of this server in plain ASCII. What browsers read as a way to another host begins with two
 * slashes, of either kind, or has them after dots that they drop. */
static bool is_own_path(const char *path)
{
    size_t length = strnlen(path, NEXT_MOST_BYTES + 1);
    for (size_t i = 0; i < length; i++) {
        if (path[i] <= ' ' || path[i] > '~' || path[i] == '\\') {
            return false;
        }
    }
    return length <= NEXT_MOST_BYTES && path[0] == '/' && strstr(path, "//") == NULL &&
           strncmp(path, ATTEMPT_PATH, strlen(ATTEMPT_PATH)) != 0;
}

static const char *page_after(const struct http_request *request)
{
    const char *next = http_request_query(request, "next");
    return next != NULL && is_own_path(next) ? next : FIRST_PAGE;
}

/* ---- away ---- */

/* Lax: it has to come along when the provider sends the browser back. */
static void set_attempt_cookie(const struct http_request *request, struct http_response *response,
                               const struct openid *openid, const char *value, int life_s)
{
    http_response_header(response, "Set-Cookie",
                         arena_printf(request->arena,
                                      "%s=%s; Path=%s; Max-Age=%d; HttpOnly; SameSite=Lax%s",
                                      ATTEMPT_COOKIE, value, ATTEMPT_PATH, life_s,
                                      openid_is_secure(openid) ? "; Secure" : ""));
}

static bool keep_attempt(struct api_context *context, const struct openid_attempt *attempt,
                         const char *browser, const char *next, struct error *reterr)
{
    unsigned char state_hash[SECRET_HASH_BYTES];
    unsigned char browser_hash[SECRET_HASH_BYTES];
    secret_hash(attempt->state, state_hash);
    secret_hash(browser, browser_hash);
    const struct sign_in_attempt kept = {attempt->nonce, attempt->code_verifier, next};
    return sign_in_attempt_begin(context->store, state_hash, browser_hash, &kept, ATTEMPT_LIFE_S,
                                 reterr);
}

/* Who is to sign a study has to be asked again, not only recognised. */
static bool wants_to_be_asked(const struct http_request *request)
{
    const char *fresh = http_request_query(request, "fresh");
    return fresh != NULL && strcmp(fresh, "true") == 0;
}

/* Whoever begins without end must not fill the table, nor hold the workers that ask the provider.
 */
static bool may_begin(struct api_context *context, const struct http_request *request,
                      struct http_response *response)
{
    struct error error = {0};
    int wait_s = 0;
    const struct attempt_count count = throttle_single_sign_on(request->client_address);
    if (!attempt_claim(context->store, &count, 1, &wait_s, &error)) {
        fail(request, response, &error, NOT_CONFIRMED);
        return false;
    }
    if (wait_s > 0) {
        respond_failure(request, response, 429,
                        "Too many sign-ins were begun here and not ended. Try again later, or with "
                        "a password.",
                        wait_s);
    }
    return wait_s == 0;
}

/* One that ends well was none too many. Nobody fails to sign in because this does. */
static void return_begun(struct api_context *context, const struct http_request *request)
{
    struct error error = {0};
    const struct attempt_count count = throttle_single_sign_on(request->client_address);
    if (!attempt_return(context->store, &count, 1, &error)) {
        log_message(LOG_LEVEL_WARNING, "attempt_not_returned", "%s", error.detail);
    }
}

void single_sign_on_begin(void *opaque, struct http_request *request,
                          struct http_response *response)
{
    struct api_context *context = opaque;
    struct openid *openid = openid_of(context, request, response);
    struct openid_attempt attempt;
    const char *address = NULL;
    struct error error = {0};
    if (openid == NULL || !may_begin(context, request, response)) {
        return;
    }
    char browser[SECRET_TEXT_SIZE];
    secret_new("", browser);
    if (!openid_begin(openid, request->arena, wants_to_be_asked(request), &attempt, &address,
                      &error) ||
        !keep_attempt(context, &attempt, browser, page_after(request), &error)) {
        fail(request, response, &error, NOT_CONFIRMED);
    } else {
        http_respond(response, 303, NULL, NULL, 0);
        http_response_header(response, "Location", address);
        set_attempt_cookie(request, response, openid, browser, ATTEMPT_LIFE_S);
    }
    sodium_memzero(browser, sizeof browser);
    sodium_memzero(&attempt, sizeof attempt);
}

/* ---- and back ---- */

/* What this browser was sent away with: the state alone could be another person's, who would like
 * this browser to work in his name. */
static bool take_attempt(struct api_context *context, const struct http_request *request,
                         struct sign_in_attempt *ret_attempt, struct error *reterr)
{
    const char *state = http_request_query(request, "state");
    const char *browser = http_request_cookie(request, ATTEMPT_COOKIE);
    if (state == NULL || browser == NULL) {
        return error_set(reterr, ERROR_NOT_FOUND, "the return has no state or no cookie");
    }
    unsigned char state_hash[SECRET_HASH_BYTES];
    unsigned char browser_hash[SECRET_HASH_BYTES];
    secret_hash(state, state_hash);
    secret_hash(browser, browser_hash);
    return sign_in_attempt_take(context->store, request->arena, state_hash, browser_hash,
                                ret_attempt, reterr);
}

/* The code of the return, or NULL after an answer: people may say no at the provider. */
static const char *read_code(const struct http_request *request, struct http_response *response)
{
    const char *code = http_request_query(request, "code");
    struct error error = {0};
    if (http_request_query(request, "error") != NULL) {
        (void)error_set(&error, ERROR_NOT_FOUND, "the provider returned an error");
    } else if (code == NULL || code[0] == '\0' ||
               strnlen(code, OPENID_CODE_MOST_BYTES + 1) > OPENID_CODE_MOST_BYTES) {
        (void)error_set(&error, ERROR_NOT_FOUND, "the return has no code, or too long a one");
    } else {
        return code;
    }
    fail(request, response, &error, NOT_CONFIRMED);
    return NULL;
}

static void go_on(const struct http_request *request, struct http_response *response,
                  const char *next)
{
    const struct page page = {
        .status = 200,
        .title = "Signed in",
        .text = "The page that you wanted opens by itself.",
        .link = next,
        .link_text = "Open it now",
        .goes_on = true,
    };
    respond_page(request, response, &page);
}

static void enter(struct api_context *context, struct http_request *request,
                  struct http_response *response, const struct id_token_person *person,
                  const char *next)
{
    struct principal principal = {0};
    struct error error = {0};
    int64_t expires_at_us = 0;
    api_audit_username(context, "a provider's subject");
    if (account_for_subject(context->store, request->arena,
                            openid_issuer(context->settings->openid), person->subject, &principal,
                            &error)) {
        principal.authenticated_at_s = person->authenticated_at_s;
        if (session_start(context, request, response, &principal, &expires_at_us)) {
            return_begun(context, request);
            api_audit_actor(context, &principal);
            go_on(request, response, next);
        }
    } else {
        fail(request, response, &error,
             "The sign-in service knows you, but you have no account here. Ask the clinic's "
             "administrator for one.");
    }
}

void single_sign_on_return(void *opaque, struct http_request *request,
                           struct http_response *response)
{
    struct api_context *context = opaque;
    struct openid *openid = openid_of(context, request, response);
    struct sign_in_attempt attempt = {0};
    struct error error = {0};
    if (openid == NULL) {
        return;
    }
    if (!take_attempt(context, request, &attempt, &error)) {
        fail(request, response, &error,
             "This sign-in was not begun in this browser, was used before, or took longer than ten "
             "minutes. Please begin again.");
        return;
    }
    set_attempt_cookie(request, response, openid, "", 0);
    const char *code = read_code(request, response);
    if (code == NULL) {
        return;
    }
    const struct openid_return returned = {
        .code = code,
        .issuer = http_request_query(request, "iss"),
        .nonce = attempt.nonce,
        .code_verifier = attempt.code_verifier,
    };
    struct id_token_person person = {0};
    if (!openid_finish(openid, request->arena, &returned, &person, &error)) {
        fail(request, response, &error, NOT_CONFIRMED);
        return;
    }
    enter(context, request, response, &person, attempt.next);
}

/* ---- what is on offer ---- */

void sign_in_methods_get(void *opaque, struct http_request *request, struct http_response *response)
{
    struct api_context *context = opaque;
    const struct openid *openid = context->settings->openid;
    struct text body;
    text_init(&body, request->arena, LIMIT_SMALL_BODY_BYTES);
    text_append(&body, "{\"password\":true,\"single_sign_on\":");
    if (openid == NULL) {
        text_append(&body, "null}");
    } else {
        text_append_char(&body, '{');
        api_append_string(&body, "name", openid_name(openid));
        text_append(&body, ",\"href\":\"/sign-in/single\"}}");
    }
    api_respond_json(request, response, 200, &body);
}
