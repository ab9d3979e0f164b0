/* A person's change of their own password. */
#include "api/api.h"
#include "api/handlers.h"
#include "api/session_start.h"
#include "api/sessions_json.h"
#include "api/sign_in.h"
#include "auth/password.h"

#include <string.h>

static void check_new(const struct principal *principal, const char *current, const char *chosen,
                      struct fault_list *faults)
{
    const struct password_owner owner = {
        .username = principal->name,
        .display_name = principal->display_name,
        .clinic_name = principal->clinic_name,
    };
    const char *objection = password_objection(chosen, &owner);
    if (objection == NULL && current != NULL && strcmp(current, chosen) == 0) {
        objection = "This is the password that is to be changed.";
    }
    if (objection != NULL) {
        fault_add(faults, "/new_password", "%s", objection);
    }
}

static bool change(struct api_context *context, const struct http_request *request,
                   struct http_response *response, const char *hash, struct error *reterr)
{
    const struct principal *principal = &context->principal;
    int64_t expires_at_us = 0;
    bool changed = store_begin(context->store, principal->clinic_id, principal->id, reterr) &&
                   account_hold(context->store, principal->id, principal->session_epoch, reterr) &&
                   account_set_password(context->store, principal->id, hash, reterr) &&
                   session_renew(context, request, response, &expires_at_us, reterr);
    if (changed) {
        http_respond(response, 204, NULL, NULL, 0);
        changed = api_audit_commit(context, request, response, reterr);
    }
    store_rollback(context->store);
    return changed;
}

void own_password_change(void *opaque, struct http_request *request, struct http_response *response)
{
    struct api_context *context = opaque;
    struct json_reader reader;
    struct fault_list faults;
    if (!sessions_has_session(context, request, response) ||
        !api_read_object(request, response, &reader, &faults)) {
        return;
    }
    const char *current =
        json_reader_string(&reader, "current_password", JSON_REQUIRED, PASSWORD_MAX_BYTES);
    const char *chosen =
        json_reader_string(&reader, "new_password", JSON_REQUIRED, PASSWORD_MAX_BYTES);
    json_reader_close(&reader);
    if (chosen != NULL) {
        check_new(&context->principal, current, chosen, &faults);
    }
    if (api_reject(request, response, &faults) ||
        !sign_in_confirm(context, request, response, current, NULL, false)) {
        return;
    }
    const char *hash = NULL;
    struct error error = {0};
    if (!password_hash(request->arena, chosen, &hash, &error) ||
        !change(context, request, response, hash, &error)) {
        response->header_count = 0; /* the cookie of a session that was not stored */
        sign_in_fail(request, response, &error);
    }
}
