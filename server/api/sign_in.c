#include "api/sign_in.h"

#include "api/session_start.h"
#include "auth/one_time_code.h"
#include "auth/password.h"
#include "auth/sealing.h"
#include "auth/throttle.h"
#include "base/log.h"
#include "store/store_second_factor.h"

#include <sodium.h>
#include <stdio.h>
#include <string.h>

/* How the second factor stands. */
enum factor_state { FACTOR_NONE, FACTOR_RIGHT, FACTOR_MISSING, FACTOR_WRONG, FACTOR_WAIT };

static void refuse_for_now(const struct http_request *request, struct http_response *response,
                           int wait_s)
{
    http_problem(request, response, 429,
                 "There were too many failed attempts. Try again later, or from a browser in which "
                 "you have signed in before.");
    api_retry_after(request, response, wait_s);
}

void sign_in_seal_context(const char *clinic_id, const char *account_id,
                          char text[SIGN_IN_SEAL_SIZE])
{
    (void)snprintf(text, SIGN_IN_SEAL_SIZE, "second factor %s %s", clinic_id, account_id);
}

/* ---- the second factor ---- */

static bool take_authenticator_code(struct api_context *context, const char *account_id,
                                    const char *clinic_id, const struct second_factor *factor,
                                    const char *code, bool *ret_right, struct error *reterr)
{
    unsigned char secret[SECOND_FACTOR_SEALED_MAX];
    char bound_to[SIGN_IN_SEAL_SIZE];
    const struct sealing_key *key = context->settings->sealing_key;
    sign_in_seal_context(clinic_id, account_id, bound_to);
    if (key == NULL || !unseal(key, bound_to, factor->sealed, factor->sealed_length, secret)) {
        return error_set(reterr, ERROR_INTERNAL,
                         "a second factor cannot be decrypted: PENSTOCK_KEY_FILE is not set, or is "
                         "not the key that it was made with");
    }
    int64_t step =
        one_time_code_step(secret, factor->sealed_length - SEALING_OVERHEAD, factor->now_us, code);
    sodium_memzero(secret, sizeof secret);
    *ret_right = false;
    return step < 0 || second_factor_use_step(context->store, account_id, step, ret_right, reterr);
}

bool sign_in_take_code(struct api_context *context, const char *account_id, const char *clinic_id,
                       const struct second_factor *factor, const char *code, bool *ret_right,
                       struct error *reterr)
{
    unsigned char hash[SECRET_HASH_BYTES];
    if (recovery_code_hash(code, hash)) {
        return second_factor_use_recovery_code(context->store, account_id, hash, ret_right, reterr);
    }
    return take_authenticator_code(context, account_id, clinic_id, factor, code, ret_right, reterr);
}

/* Within a transaction, which the caller commits when the code was right. */
static bool judge_code(struct api_context *context, const struct principal *principal,
                       const char *code, struct throttle *throttle, enum factor_state *ret_state,
                       int *ret_wait_s, struct error *reterr)
{
    struct second_factor factor = {0};
    bool right = false;
    *ret_state = FACTOR_NONE;
    if (!second_factor_get(context->store, principal->id, &factor, reterr)) {
        return reterr->kind == ERROR_NOT_FOUND;
    }
    if (factor.confirmed_at_us == 0) {
        return true;
    }
    if (code == NULL) {
        *ret_state = FACTOR_MISSING;
        return true;
    }
    store_rollback(context->store); /* counting is a transaction of its own */
    if (!throttle_code(throttle, ret_wait_s, reterr)) {
        return false;
    }
    if (*ret_wait_s > 0) {
        *ret_state = FACTOR_WAIT;
        return true;
    }
    if (!store_begin(context->store, principal->clinic_id, principal->id, reterr) ||
        !sign_in_take_code(context, principal->id, principal->clinic_id, &factor, code, &right,
                           reterr)) {
        return false;
    }
    *ret_state = right ? FACTOR_RIGHT : FACTOR_WRONG;
    return true;
}

static bool check_code(struct api_context *context, const struct principal *principal,
                       const char *code, struct throttle *throttle, enum factor_state *ret_state,
                       int *ret_wait_s, struct error *reterr)
{
    bool judged = store_begin(context->store, principal->clinic_id, principal->id, reterr) &&
                  judge_code(context, principal, code, throttle, ret_state, ret_wait_s, reterr) &&
                  (*ret_state != FACTOR_RIGHT || store_commit(context->store, reterr));
    store_rollback(context->store);
    return judged && (*ret_state != FACTOR_RIGHT || throttle_code_return(throttle, reterr));
}

/* ---- signing in ---- */

static bool is_ascii(const char *text)
{
    for (; *text != '\0'; text++) {
        if ((unsigned char)*text >= 0x80U) {
            return false;
        }
    }
    return true;
}

/* A wrong name and a wrong password get the same answer, after the same time. A name that is not
 * ASCII is nobody's: looked up, the database could fold it to a name that is counted as another. */
static bool check_password(struct api_context *context, const struct http_request *request,
                           const struct sign_in_proof *proof, struct principal *ret_principal,
                           struct credential *ret_credential, bool *ret_right, struct error *reterr)
{
    struct error unknown = {0};
    if (is_ascii(proof->username) &&
        !account_for_sign_in(context->store, request->arena, proof->username, ret_principal,
                             ret_credential, &unknown) &&
        unknown.kind != ERROR_NOT_FOUND) {
        *reterr = unknown;
        return false;
    }
    return password_verify(proof->password, ret_credential->password_hash, ret_right, reterr);
}

void sign_in_remember(const struct http_request *request, struct http_response *response,
                      const struct api_settings *settings, const char *browser)
{
    http_response_header(
        response, "Set-Cookie",
        arena_printf(request->arena,
                     "%s=%s; Path=/v1/sessions; Max-Age=%d; HttpOnly; SameSite=Strict%s",
                     SIGN_IN_BROWSER_COOKIE, browser, THROTTLE_BROWSER_LIFE_S,
                     session_cookies_are_secure(request, settings) ? "; Secure" : ""));
}

/* Nobody fails to sign in because this does. */
static void renew_hash(struct api_context *context, const struct http_request *request,
                       const struct principal *principal, const struct credential *credential,
                       const char *password)
{
    const char *hash = NULL;
    struct error error = {0};
    if (!password_hash_is_outdated(credential->password_hash)) {
        return;
    }
    if (!password_hash(request->arena, password, &hash, &error) ||
        !store_begin(context->store, principal->clinic_id, principal->id, &error) ||
        !account_renew_hash(context->store, principal->id, credential->version, hash, &error) ||
        !store_commit(context->store, &error)) {
        store_rollback(context->store);
        log_message(LOG_LEVEL_WARNING, "password_hash_not_renewed", "%s", error.detail);
    }
}

/* The attempt stays counted only where something was wrong. */
static bool answer_factor(const struct http_request *request, struct http_response *response,
                          const struct throttle *throttle, enum factor_state state, int wait_s,
                          struct error *reterr)
{
    switch (state) {
    case FACTOR_NONE:
    case FACTOR_RIGHT:
        return true;
    case FACTOR_MISSING:
        if (throttle_return(throttle, reterr)) {
            http_problem_of_type(request, response, 401, API_PROBLEM_SECOND_FACTOR,
                                 "Send the code of your authenticator, or a recovery code, too.");
        }
        return false;
    case FACTOR_WRONG:
        http_problem_of_type(request, response, 401, API_PROBLEM_SECOND_FACTOR_WRONG,
                             "The code is wrong, over, or was used before.");
        return false;
    case FACTOR_WAIT:
        if (throttle_return(throttle, reterr)) {
            refuse_for_now(request, response, wait_s);
        }
        return false;
    }
    return false;
}

/* False without an error: it has answered. */
static bool check_counted(struct api_context *context, const struct http_request *request,
                          struct http_response *response, const struct sign_in_proof *proof,
                          struct throttle *throttle, struct principal *ret_principal,
                          struct error *reterr)
{
    struct credential credential = {0};
    bool right = false;
    enum factor_state state = FACTOR_NONE;
    int wait_s = 0;
    if (!check_password(context, request, proof, ret_principal, &credential, &right, reterr)) {
        struct error second = {0};
        if (!throttle_return(throttle, &second)) { /* nobody learned anything */
            log_message(LOG_LEVEL_WARNING, "attempt_not_returned", "%s", second.detail);
        }
        return false;
    }
    if (!right) {
        http_problem(request, response, 401, SESSION_WRONG_PASSWORD);
        return false;
    }
    if (!check_code(context, ret_principal, proof->code, throttle, &state, &wait_s, reterr) ||
        !answer_factor(request, response, throttle, state, wait_s, reterr)) {
        return false;
    }
    renew_hash(context, request, ret_principal, &credential, proof->password);
    return true;
}

bool sign_in_check(struct api_context *context, const struct http_request *request,
                   struct http_response *response, const struct sign_in_proof *proof,
                   struct principal *ret_principal, const char **ret_browser)
{
    struct throttle throttle;
    struct error error = {0};
    int wait_s = 0;
    char secret[SECRET_TEXT_SIZE];
    const char *browser = http_request_cookie(request, SIGN_IN_BROWSER_COOKIE);
    if (!throttle_begin(&throttle, context->store, proof->username, request->client_address,
                        browser, &wait_s, &error)) {
        api_fail(request, response, &error);
        return false;
    }
    if (wait_s > 0) {
        refuse_for_now(request, response, wait_s);
        return false;
    }
    if (!check_counted(context, request, response, proof, &throttle, ret_principal, &error)) {
        if (error.kind != ERROR_NONE) {
            api_fail(request, response, &error);
        }
        return false;
    }
    if (!throttle_succeed(&throttle, browser, secret, &error)) {
        api_fail(request, response, &error);
        return false;
    }
    *ret_browser = arena_strdup(request->arena, secret);
    sodium_memzero(secret, sizeof secret);
    return true;
}

/* ---- once more, while signed in ---- */

static void reject_at(const struct http_request *request, struct http_response *response,
                      const char *pointer, const char *text)
{
    struct fault_list faults;
    fault_list_init(&faults, request->arena);
    fault_add(&faults, pointer, "%s", text);
    http_problem_faults(request, response, 422, &faults);
}

/* False without an error: it has answered. */
static bool confirm_password(struct api_context *context, const struct http_request *request,
                             struct http_response *response, const char *password,
                             struct error *reterr)
{
    struct principal principal = {0};
    struct credential credential = {0};
    const struct sign_in_proof proof = {.username = context->principal.name, .password = password};
    bool right = false;
    if (!check_password(context, request, &proof, &principal, &credential, &right, reterr)) {
        return false;
    }
    if (!right) {
        reject_at(request, response, "/current_password", "This is not your password.");
    }
    return right;
}

static bool confirm_code(struct api_context *context, const struct http_request *request,
                         struct http_response *response, const char *code, struct error *reterr)
{
    const struct principal *principal = &context->principal;
    struct second_factor factor = {0};
    bool right = false;
    bool judged = store_begin(context->store, principal->clinic_id, principal->id, reterr) &&
                  second_factor_get(context->store, principal->id, &factor, reterr) &&
                  sign_in_take_code(context, principal->id, principal->clinic_id, &factor, code,
                                    &right, reterr) &&
                  (!right || store_commit(context->store, reterr));
    store_rollback(context->store);
    if (judged && !right) {
        reject_at(request, response, "/code", "The code is wrong, over, or was used before.");
    }
    return judged && right;
}

bool sign_in_count_proof(struct api_context *context, const struct http_request *request,
                         struct http_response *response)
{
    struct error error = {0};
    int wait_s = 0;
    const struct attempt_count count = throttle_inside(context->principal.id);
    if (!attempt_claim(context->store, &count, 1, &wait_s, &error)) {
        api_fail(request, response, &error);
        return false;
    }
    if (wait_s > 0) {
        refuse_for_now(request, response, wait_s);
    }
    return wait_s == 0;
}

bool sign_in_return_proof(struct api_context *context, struct error *reterr)
{
    const struct attempt_count count = throttle_inside(context->principal.id);
    return attempt_return(context->store, &count, 1, reterr);
}

bool sign_in_confirm(struct api_context *context, const struct http_request *request,
                     struct http_response *response, const char *password, const char *code,
                     bool wants_code)
{
    struct error error = {0};
    if (!sign_in_count_proof(context, request, response)) {
        return false;
    }
    bool good = confirm_password(context, request, response, password, &error) &&
                (!wants_code || confirm_code(context, request, response, code, &error)) &&
                sign_in_return_proof(context, &error);
    if (!good && error.kind != ERROR_NONE) {
        api_fail(request, response, &error);
    }
    return good;
}

void sign_in_fail(const struct http_request *request, struct http_response *response,
                  const struct error *error)
{
    if (error->kind == ERROR_STALE) {
        http_problem(request, response, 409, "The account was changed meanwhile. Sign in again.");
    } else {
        api_fail(request, response, error);
    }
}
