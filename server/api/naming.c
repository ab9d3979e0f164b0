#include "api/naming.h"

#include "auth/throttle.h"

static bool begin_anew(struct api_context *context, enum http_method method, struct error *reterr)
{
    const struct principal *principal = &context->principal;
    bool begun =
        method == HTTP_GET
            ? store_begin_reading(context->store, principal->clinic_id, principal->id, reterr)
            : store_begin(context->store, principal->clinic_id, principal->id, reterr);
    if (begun) {
        store_narrow(context->store, context->reach);
    }
    return begun;
}

bool naming_claim(struct api_context *context, const struct http_request *request,
                  struct http_response *response)
{
    const struct attempt_count count = throttle_naming(context->principal.id);
    struct error error = {0};
    int wait_s = 0;
    store_rollback(context->store); /* counting is a transaction of its own */
    if (!attempt_claim(context->store, &count, 1, &wait_s, &error) ||
        !begin_anew(context, request->method, &error)) {
        api_fail(request, response, &error);
        return false;
    }
    if (wait_s > 0) {
        http_problem(request, response, 429,
                     "Too many people were named whom nobody here knows. Try again later.");
        api_retry_after(request, response, wait_s);
        return false;
    }
    return true;
}

bool naming_return(struct api_context *context, const struct http_request *request,
                   struct http_response *response)
{
    const struct attempt_count count = throttle_naming(context->principal.id);
    struct error error = {0};
    store_end_reading(context->store);
    if (!attempt_return(context->store, &count, 1, &error)) {
        api_fail(request, response, &error);
        return false;
    }
    return true;
}
