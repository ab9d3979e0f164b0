/* A person's own second factor: enrolment, confirmation, recovery codes, removal. */
#include "store/store_second_factor.h"

#include "api/api.h"
#include "api/handlers.h"
#include "api/session_start.h"
#include "api/sessions_json.h"
#include "api/sign_in.h"
#include "auth/one_time_code.h"
#include "auth/password.h"
#include "auth/sealing.h"
#include "base/log.h"

#include <sodium.h>

/* What requests here say. */
struct proof {
    const char *password;
    const char *code;
};

enum wanted { WANTS_PASSWORD = 1, WANTS_CODE = 2 };

static bool read_proof(const struct api_context *context, const struct http_request *request,
                       struct http_response *response, unsigned wanted, struct proof *ret_proof)
{
    struct json_reader reader;
    struct fault_list faults;
    if (!sessions_has_session(context, request, response) ||
        !api_read_object(request, response, &reader, &faults)) {
        return false;
    }
    *ret_proof = (struct proof){0};
    if ((wanted & WANTS_PASSWORD) != 0) {
        ret_proof->password =
            json_reader_string(&reader, "current_password", JSON_REQUIRED, PASSWORD_MAX_BYTES);
    }
    if ((wanted & WANTS_CODE) != 0) {
        ret_proof->code = json_reader_string(&reader, "code", JSON_REQUIRED, LIMIT_NAME_BYTES);
    }
    json_reader_close(&reader);
    return !api_reject(request, response, &faults);
}

static bool begin(struct api_context *context, struct error *reterr)
{
    return store_begin(context->store, context->principal.clinic_id, context->principal.id, reterr);
}

/* The same to change something: not for a session that has just been ended. */
static bool begin_change(struct api_context *context, struct error *reterr)
{
    const struct principal *principal = &context->principal;
    return begin(context, reterr) &&
           account_hold(context->store, principal->id, principal->session_epoch, reterr);
}

static void refuse_none(const struct http_request *request, struct http_response *response)
{
    http_problem(request, response, 409, "This account has no second factor.");
}

/* The factor as it is, from a transaction of its own. */
static bool get_factor(struct api_context *context, struct second_factor *ret_factor,
                       struct error *reterr)
{
    bool found = begin(context, reterr) &&
                 second_factor_get(context->store, context->principal.id, ret_factor, reterr);
    store_rollback(context->store);
    return found;
}

/* Whether there is a confirmed one; otherwise it has answered. */
static bool has_factor(struct api_context *context, const struct http_request *request,
                       struct http_response *response)
{
    struct second_factor factor = {0};
    struct error error = {0};
    if (!get_factor(context, &factor, &error) && error.kind != ERROR_NOT_FOUND) {
        api_fail(request, response, &error);
        return false;
    }
    if (factor.confirmed_at_us == 0) {
        refuse_none(request, response);
    }
    return factor.confirmed_at_us != 0;
}

void second_factor_show(void *opaque, struct http_request *request, struct http_response *response)
{
    struct api_context *context = opaque;
    struct second_factor factor = {0};
    struct error error = {0};
    if (!sessions_has_session(context, request, response)) {
        return;
    }
    if (!second_factor_get(context->store, context->principal.id, &factor, &error) &&
        error.kind != ERROR_NOT_FOUND) {
        api_fail(request, response, &error);
        return;
    }
    struct text body;
    text_init(&body, request->arena, LIMIT_SMALL_BODY_BYTES);
    text_printf(&body, "{\"available\":%s,\"enabled\":%s,",
                context->settings->sealing_key != NULL ? "true" : "false",
                factor.confirmed_at_us != 0 ? "true" : "false");
    if (factor.confirmed_at_us != 0) {
        api_append_time(&body, "confirmed_at", factor.confirmed_at_us);
    } else {
        text_append(&body, "\"confirmed_at\":null");
    }
    text_printf(&body, ",\"recovery_codes_left\":%d}", factor.recovery_codes_left);
    api_respond_json(request, response, 200, &body);
}

static void respond_secret(const struct api_context *context, const struct http_request *request,
                           struct http_response *response, const unsigned char *secret)
{
    const char *text = one_time_secret_text(request->arena, secret, ONE_TIME_SECRET_BYTES);
    struct text body;
    text_init(&body, request->arena, LIMIT_SMALL_BODY_BYTES);
    text_append_char(&body, '{');
    api_append_string(&body, "secret", text);
    text_append_char(&body, ',');
    api_append_string(&body, "uri",
                      one_time_uri(request->arena, text, context->principal.name,
                                   context->principal.clinic_name));
    text_append_char(&body, '}');
    api_respond_json(request, response, 201, &body);
}

static bool enrol(struct api_context *context, const struct http_request *request,
                  struct http_response *response, const unsigned char *secret, struct error *reterr)
{
    const struct principal *principal = &context->principal;
    unsigned char sealed[ONE_TIME_SECRET_BYTES + SEALING_OVERHEAD];
    char bound_to[SIGN_IN_SEAL_SIZE];
    sign_in_seal_context(principal->clinic_id, principal->id, bound_to);
    seal(context->settings->sealing_key, bound_to, secret, ONE_TIME_SECRET_BYTES, sealed);
    bool put = begin_change(context, reterr) &&
               second_factor_put(context->store, principal->id, sealed, sizeof sealed, reterr);
    if (put) {
        respond_secret(context, request, response, secret);
        put = api_audit_commit(context, request, response, reterr);
    }
    store_rollback(context->store);
    return put;
}

void second_factor_create(void *opaque, struct http_request *request,
                          struct http_response *response)
{
    struct api_context *context = opaque;
    struct proof proof;
    if (!read_proof(context, request, response, WANTS_PASSWORD, &proof)) {
        return;
    }
    if (context->settings->sealing_key == NULL) {
        http_problem_of_type(request, response, 409, API_PROBLEM_NO_KEY,
                             "This server has no key to keep second factors under. Whoever runs it "
                             "sets PENSTOCK_KEY_FILE to a file with 32 random bytes in base64 that "
                             "only the server's user may read.");
        return;
    }
    if (!sign_in_confirm(context, request, response, proof.password, NULL, false)) {
        return;
    }
    unsigned char secret[ONE_TIME_SECRET_BYTES];
    struct error error = {0};
    randombytes_buf(secret, sizeof secret);
    if (!enrol(context, request, response, secret, &error)) {
        if (error.kind == ERROR_CONFLICT) {
            http_problem(request, response, 409,
                         "This account has a second factor already: remove it first.");
        } else {
            sign_in_fail(request, response, &error);
        }
    }
    sodium_memzero(secret, sizeof secret);
}

/* New recovery codes within the open transaction, as a JSON array appended to `out`. */
static bool make_recovery_codes(struct api_context *context, struct text *out, struct error *reterr)
{
    unsigned char hashes[RECOVERY_CODE_COUNT][SECRET_HASH_BYTES];
    text_append(out, "{\"recovery_codes\":[");
    for (size_t i = 0; i < RECOVERY_CODE_COUNT; i++) {
        char code[RECOVERY_CODE_SIZE];
        recovery_code_new(code);
        if (!recovery_code_hash(code, hashes[i])) {
            return error_set(reterr, ERROR_INTERNAL, "a recovery code that is none");
        }
        text_printf(out, "%s\"%s\"", i == 0 ? "" : ",", code);
        sodium_memzero(code, sizeof code);
    }
    text_append(out, "]}");
    return second_factor_put_recovery_codes(context->store, context->principal.id, hashes, reterr);
}

/* Answers with the codes and ends the transaction, with its entry in the audit. */
static bool answer_codes(struct api_context *context, const struct http_request *request,
                         struct http_response *response, const struct text *codes,
                         struct error *reterr)
{
    api_respond_json(request, response, 200, codes);
    return api_audit_commit(context, request, response, reterr);
}

/* A right code confirms the factor, ends all sessions that began without it, and begins a new one.
 */
static bool confirm(struct api_context *context, const struct http_request *request,
                    struct http_response *response, const char *code, struct text *out,
                    bool *ret_right, struct error *reterr)
{
    const struct principal *principal = &context->principal;
    struct second_factor factor = {0};
    int64_t expires_at_us = 0;
    if (!begin_change(context, reterr) ||
        !second_factor_get(context->store, principal->id, &factor, reterr)) {
        return false;
    }
    if (factor.confirmed_at_us != 0) {
        return error_set(reterr, ERROR_CONFLICT, "confirmed already");
    }
    return sign_in_take_code(context, principal->id, principal->clinic_id, &factor, code, ret_right,
                             reterr) &&
           (!*ret_right || (make_recovery_codes(context, out, reterr) &&
                            session_end_all(context->store, principal->id, NULL, reterr) &&
                            session_renew(context, request, response, &expires_at_us, reterr) &&
                            answer_codes(context, request, response, out, reterr)));
}

/* Whoever was right is not told that this failed. */
static void return_count(struct api_context *context)
{
    struct error error = {0};
    if (!sign_in_return_proof(context, &error)) {
        log_message(LOG_LEVEL_WARNING, "attempt_not_returned", "%s", error.detail);
    }
}

void second_factor_confirm(void *opaque, struct http_request *request,
                           struct http_response *response)
{
    struct api_context *context = opaque;
    struct proof proof;
    if (!read_proof(context, request, response, WANTS_CODE, &proof) ||
        !sign_in_count_proof(context, request, response)) {
        return;
    }
    struct error error = {0};
    struct text body;
    bool right = false;
    text_init(&body, request->arena, LIMIT_SMALL_BODY_BYTES);
    bool done = confirm(context, request, response, proof.code, &body, &right, &error);
    store_rollback(context->store);
    if (!done || right) {
        return_count(context);
    }
    if (done && right) {
        return;
    }
    response->header_count = 0; /* the cookie of a session that was not stored */
    if (done) {
        struct fault_list faults;
        fault_list_init(&faults, request->arena);
        fault_add(&faults, "/code",
                  "Is not the code of now. Check the time of the device that made it.");
        http_problem_faults(request, response, 422, &faults);
    } else if (error.kind == ERROR_NOT_FOUND || error.kind == ERROR_CONFLICT) {
        http_problem(request, response, 409, "There is no second factor that waits for a code.");
    } else {
        sign_in_fail(request, response, &error);
    }
}

void second_factor_renew_codes(void *opaque, struct http_request *request,
                               struct http_response *response)
{
    struct api_context *context = opaque;
    struct proof proof;
    if (!read_proof(context, request, response, WANTS_PASSWORD | WANTS_CODE, &proof) ||
        !has_factor(context, request, response) ||
        !sign_in_confirm(context, request, response, proof.password, proof.code, true)) {
        return;
    }
    struct error error = {0};
    struct text body;
    text_init(&body, request->arena, LIMIT_SMALL_BODY_BYTES);
    bool made = begin_change(context, &error) && make_recovery_codes(context, &body, &error) &&
                answer_codes(context, request, response, &body, &error);
    store_rollback(context->store);
    if (!made) {
        sign_in_fail(request, response, &error);
    }
}

void second_factor_delete(void *opaque, struct http_request *request,
                          struct http_response *response)
{
    struct api_context *context = opaque;
    struct proof proof;
    if (!read_proof(context, request, response, WANTS_PASSWORD | WANTS_CODE, &proof) ||
        !has_factor(context, request, response) ||
        !sign_in_confirm(context, request, response, proof.password, proof.code, true)) {
        return;
    }
    struct error error = {0};
    bool removed = begin_change(context, &error) &&
                   second_factor_remove(context->store, context->principal.id, &error);
    if (removed) {
        http_respond(response, 204, NULL, NULL, 0);
        removed = api_audit_commit(context, request, response, &error);
    }
    store_rollback(context->store);
    if (!removed) {
        sign_in_fail(request, response, &error);
    }
}
