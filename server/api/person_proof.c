#include "api/person_proof.h"

#include "api/sign_in.h"
#include "auth/password.h"
#include "store/store_second_factor.h"

void person_proof_take(struct json_reader *reader, struct person_proof *ret_proof)
{
    ret_proof->password =
        json_reader_string(reader, "current_password", JSON_OPTIONAL, PASSWORD_MAX_BYTES);
    ret_proof->code = json_reader_string(reader, "code", JSON_OPTIONAL, LIMIT_NAME_BYTES);
}

/* What the account has, from a transaction of its own. */
static bool ask(struct api_context *context, bool *ret_factor, bool *ret_fresh,
                struct error *reterr)
{
    const struct principal *principal = &context->principal;
    struct second_factor factor = {0};
    bool asked = store_begin(context->store, principal->clinic_id, principal->id, reterr) &&
                 (!principal->by_provider ||
                  session_is_fresh(context->store, principal->id, principal->session_id,
                                   PERSON_PROOF_FRESH_S, ret_fresh, reterr));
    if (asked && !second_factor_get(context->store, principal->id, &factor, reterr)) {
        asked = reterr->kind == ERROR_NOT_FOUND;
        *reterr = (struct error){0};
    }
    *ret_factor = factor.confirmed_at_us != 0;
    store_rollback(context->store);
    return asked;
}

static void refuse_missing(const struct http_request *request, struct http_response *response,
                           const struct person_proof *proof, bool wants_code)
{
    struct fault_list faults;
    fault_list_init(&faults, request->arena);
    if (proof->password == NULL) {
        fault_add(&faults, "/current_password", "Required.");
    }
    if (wants_code && proof->code == NULL) {
        fault_add(&faults, "/code", "Required: this account has a second factor.");
    }
    http_problem_faults(request, response, 422, &faults);
}

bool person_proof_check(struct api_context *context, const struct http_request *request,
                        struct http_response *response, const struct person_proof *proof)
{
    struct error error = {0};
    bool has_factor = false;
    bool is_fresh = false;
    if (!ask(context, &has_factor, &is_fresh, &error)) {
        api_fail(request, response, &error);
        return false;
    }
    if (context->principal.by_provider && proof->password == NULL) {
        if (!is_fresh) {
            http_problem_of_type(request, response, 403, API_PROBLEM_FRESH_SIGN_IN,
                                 "Sign in again with your provider, by /sign-in/single?fresh=true: "
                                 "it has to have asked you within the last ten minutes.");
        }
        return is_fresh;
    }
    if (proof->password == NULL || (has_factor && proof->code == NULL)) {
        refuse_missing(request, response, proof, has_factor);
        return false;
    }
    return sign_in_confirm(context, request, response, proof->password, proof->code, has_factor);
}

bool person_proof_begin(struct api_context *context, struct error *reterr)
{
    const struct principal *principal = &context->principal;
    if (!store_begin(context->store, principal->clinic_id, principal->id, reterr)) {
        return false;
    }
    store_narrow(context->store, context->reach);
    return account_hold(context->store, principal->id, principal->session_epoch, reterr);
}
