/* Erasing a patient: asked for by one person, decided by another, carried out by a command; and the
 * legal hold that forbids it. */
#include "api/api.h"
#include "api/handlers.h"
#include "api/patient_access.h"
#include "formats/json_writer.h"
#include "store/store_erasure.h"

#include <string.h>

enum { REASON_LIMIT = 1000 };

static const char *const STATES[] = {"requested", "approved",    "refused",
                                     "withdrawn", "carried_out", NULL};
static const char *const DECISIONS[] = {"approved", "refused", NULL};

static void append_time(struct text *out, const char *name, int64_t time_us)
{
    if (time_us != 0) {
        text_append_char(out, ',');
        api_append_time(out, name, time_us);
    }
}

/* A member that is JSON text already, where there is one. */
static void append_raw(struct text *out, const char *name, const char *json)
{
    if (json != NULL) {
        json_writer_name(out, name);
        text_append(out, json);
    }
}

static void append_known(struct text *out, const char *name, const char *value)
{
    if (value != NULL) {
        json_writer_string(out, name, value);
    }
}

static void append_erasure(struct text *out, const struct erasure *erasure)
{
    text_append_char(out, '{');
    json_writer_string(out, "id", erasure->id);
    json_writer_string(out, "patient_id", erasure->patient_id);
    json_writer_string(out, "state", erasure->state);
    append_known(out, "reason", erasure->reason);
    append_time(out, "requested_at", erasure->requested_at_us);
    append_raw(out, "requested_by", erasure->requested_by);
    append_time(out, "decided_at", erasure->decided_at_us);
    append_raw(out, "decided_by", erasure->decided_by);
    append_known(out, "decision_reason", erasure->decision_reason);
    json_writer_flag(out, "despite_retention", erasure->despite_retention);
    append_time(out, "due_at", erasure->due_at_us);
    append_known(out, "obstacle", erasure->obstacle);
    append_time(out, "ended_at", erasure->ended_at_us);
    append_raw(out, "ended_by", erasure->ended_by);
    json_writer_flag(out, "held", erasure->held);
    json_writer_name(out, "kept_studies");
    text_printf(out, "%d", erasure->kept_studies);
    append_raw(out, "counts", erasure->counts);
    text_printf(out, ",\"version\":%d}", erasure->version);
}

static void respond_erasure(struct api_context *context, const struct http_request *request,
                            struct http_response *response, int status, const char *id)
{
    struct erasure erasure = {0};
    struct error error = {0};
    if (!erasure_get(context->store, request->arena, id, &erasure, &error)) {
        api_fail(request, response, &error);
        return;
    }
    api_audit_object(context, "erasures", id);
    api_audit_patient(context, erasure.patient_id);
    struct text body;
    text_init(&body, request->arena, LIMIT_SMALL_BODY_BYTES);
    append_erasure(&body, &erasure);
    api_respond_row(request, response, status, &body, erasure.version, "/v1/erasures", id);
}

/* The body {"reason": …}. NULL: answered already. */
static const char *read_reason(struct api_context *context, const struct http_request *request,
                               struct http_response *response)
{
    struct json_reader reader;
    struct fault_list faults;
    if (!api_read_object(request, response, &reader, &faults)) {
        return NULL;
    }
    const char *reason = json_reader_string(&reader, "reason", JSON_REQUIRED, REASON_LIMIT);
    json_reader_close(&reader);
    api_audit_reason(context, reason);
    return api_reject(request, response, &faults) ? NULL : reason;
}

void erasures_create(void *opaque, struct http_request *request, struct http_response *response)
{
    struct api_context *context = opaque;
    const char *patient_id = api_path_id(request, response, 0);
    const char *id = NULL;
    struct error error = {0};
    if (patient_id == NULL || !api_is_person(context, request, response)) {
        return;
    }
    const char *reason = read_reason(context, request, response);
    if (reason == NULL) {
        return;
    }
    if (erasure_create(context->store, request->arena, patient_id, reason, &id, &error)) {
        respond_erasure(context, request, response, 201, id);
    } else if (error.kind == ERROR_CONFLICT) {
        http_problem(request, response, 409,
                     "An erasure of this patient is requested or approved already.");
    } else {
        patient_fail(context, request, response, patient_id, &error);
    }
}

static bool is_state(const char *state)
{
    for (size_t i = 0; STATES[i] != NULL; i++) {
        if (strcmp(STATES[i], state) == 0) {
            return true;
        }
    }
    return false;
}

void erasures_list(void *opaque, struct http_request *request, struct http_response *response)
{
    struct api_context *context = opaque;
    struct fault_list faults;
    fault_list_init(&faults, request->arena);
    http_request_check_query(request, (const char *const[]){"limit", "cursor", "status", NULL},
                             &faults);
    struct store_page page = api_page(request, &faults);
    const char *state = http_request_query(request, "status");
    if (state != NULL && !is_state(state)) {
        json_reader_fault_word(&faults, "?status", STATES);
    }
    if (api_reject(request, response, &faults)) {
        return;
    }
    struct erasure *erasures = NULL;
    size_t count = 0;
    const char *next = NULL;
    struct error error = {0};
    if (!erasure_list(context->store, request->arena, state, &page, &erasures, &count, &next,
                      &error)) {
        api_fail_list(request, response, &error);
        return;
    }
    struct text items;
    text_init(&items, request->arena, LIMIT_BODY_BYTES);
    for (size_t i = 0; i < count; i++) {
        text_append(&items, i == 0 ? "" : ",");
        append_erasure(&items, &erasures[i]);
        api_audit_patient(context, erasures[i].patient_id);
    }
    api_respond_list(request, response, &items, next);
}

void erasures_get(void *opaque, struct http_request *request, struct http_response *response)
{
    const char *id = api_path_id(request, response, 0);
    if (id != NULL) {
        respond_erasure(opaque, request, response, 200, id);
    }
}

static bool read_decision(const struct http_request *request, struct http_response *response,
                          struct erasure_decision *ret_decision)
{
    struct json_reader reader;
    struct fault_list faults;
    if (!api_read_object(request, response, &reader, &faults)) {
        return false;
    }
    const char *state = json_reader_word(&reader, "state", JSON_REQUIRED, DECISIONS);
    enum patient_answer despite = json_reader_answer(&reader, "despite_retention", JSON_OPTIONAL);
    *ret_decision = (struct erasure_decision){
        .approved = state != NULL && strcmp(state, "approved") == 0,
        .reason = json_reader_string(&reader, "reason", JSON_REQUIRED, REASON_LIMIT),
        .despite_retention = despite == ANSWER_YES,
    };
    if (state != NULL && !ret_decision->approved && ret_decision->despite_retention) {
        fault_add(&faults, "/despite_retention", "Has no meaning where it is refused.");
    }
    json_reader_close(&reader);
    return !api_reject(request, response, &faults);
}

/* Answers 409 with what forbids the decision. The database asks the same once more. */
static bool may_decide(const struct api_context *context, const struct http_request *request,
                       struct http_response *response, const struct erasure *erasure,
                       const struct erasure_decision *decision)
{
    if (strcmp(erasure->state, "requested") != 0) {
        http_problem(request, response, 409, "This is %s already.", erasure->state);
        return false;
    }
    if (strstr(erasure->requested_by, context->principal.id) != NULL) {
        http_problem(request, response, 409,
                     "You asked for this yourself: another person has to decide.");
        return false;
    }
    if (decision->approved && erasure->held) {
        http_problem(request, response, 409,
                     "The patient is on legal hold: nothing may be erased until it is lifted.");
        return false;
    }
    if (decision->approved && erasure->kept_studies > 0 && !decision->despite_retention) {
        http_problem(request, response, 409,
                     "The clinic has decided to keep %d of the patient's studies for longer (GET "
                     "/v1/retention; without a rule, for ever). If they are to go all the same, "
                     "say \"despite_retention\": true, and why.",
                     erasure->kept_studies);
        return false;
    }
    return true;
}

void erasures_patch(void *opaque, struct http_request *request, struct http_response *response)
{
    struct api_context *context = opaque;
    const char *id = api_path_id(request, response, 0);
    struct erasure erasure = {0};
    struct erasure_decision decision;
    struct error error = {0};
    if (id == NULL || !api_is_person(context, request, response)) {
        return;
    }
    if (!erasure_get(context->store, request->arena, id, &erasure, &error)) {
        api_fail(request, response, &error);
        return;
    }
    if (!read_decision(request, response, &decision) ||
        !api_matches(request, response, erasure.version) ||
        !may_decide(context, request, response, &erasure, &decision)) {
        return;
    }
    api_audit_reason(context, decision.reason);
    if (!erasure_decide(context->store, id, erasure.version, &decision, &error)) {
        api_fail(request, response, &error);
        return;
    }
    respond_erasure(context, request, response, 200, id);
}

void erasures_withdraw(void *opaque, struct http_request *request, struct http_response *response)
{
    struct api_context *context = opaque;
    const char *id = api_path_id(request, response, 0);
    struct error error = {0};
    if (id == NULL) {
        return;
    }
    if (erasure_withdraw(context->store, id, &error)) {
        http_respond(response, 204, NULL, NULL, 0);
    } else if (error.kind == ERROR_CONFLICT) {
        http_problem(request, response, 409, "This was refused, withdrawn or carried out already.");
    } else {
        api_fail(request, response, &error);
    }
}

/* ---- legal hold ---- */

static void append_hold(struct text *out, const struct legal_hold *hold)
{
    text_append_char(out, '{');
    json_writer_string(out, "id", hold->id);
    json_writer_string(out, "reason", hold->reason);
    append_time(out, "placed_at", hold->placed_at_us);
    append_raw(out, "placed_by", hold->placed_by);
    append_time(out, "lifted_at", hold->lifted_at_us);
    append_raw(out, "lifted_by", hold->lifted_by);
    append_known(out, "lift_reason", hold->lift_reason);
    text_append_char(out, '}');
}

static void respond_holds(struct api_context *context, const struct http_request *request,
                          struct http_response *response, const char *patient_id)
{
    struct legal_hold *holds = NULL;
    size_t count = 0;
    struct error error = {0};
    if (!legal_hold_list(context->store, request->arena, patient_id, &holds, &count, &error)) {
        patient_fail(context, request, response, patient_id, &error);
        return;
    }
    bool held = false;
    struct text body;
    text_init(&body, request->arena, LIMIT_BODY_BYTES);
    text_append(&body, "{\"items\":[");
    for (size_t i = 0; i < count; i++) {
        json_writer_comma(&body);
        append_hold(&body, &holds[i]);
        held = held || holds[i].lifted_at_us == 0;
    }
    text_append_char(&body, ']');
    json_writer_flag(&body, "held", held);
    text_append_char(&body, '}');
    api_respond_json(request, response, 200, &body);
}

void holds_get(void *opaque, struct http_request *request, struct http_response *response)
{
    const char *patient_id = api_path_id(request, response, 0);
    if (patient_id != NULL) {
        respond_holds(opaque, request, response, patient_id);
    }
}

void holds_put(void *opaque, struct http_request *request, struct http_response *response)
{
    struct api_context *context = opaque;
    const char *patient_id = api_path_id(request, response, 0);
    const char *reason = patient_id == NULL ? NULL : read_reason(context, request, response);
    struct error error = {0};
    if (reason == NULL) {
        return;
    }
    if (!legal_hold_place(context->store, patient_id, reason, &error)) {
        patient_fail(context, request, response, patient_id, &error);
        return;
    }
    respond_holds(context, request, response, patient_id);
}

void holds_delete(void *opaque, struct http_request *request, struct http_response *response)
{
    struct api_context *context = opaque;
    const char *patient_id = api_path_id(request, response, 0);
    const char *reason = patient_id == NULL ? NULL : read_reason(context, request, response);
    struct error error = {0};
    if (reason == NULL) {
        return;
    }
    if (!legal_hold_lift(context->store, patient_id, reason, &error)) {
        patient_fail(context, request, response, patient_id, &error);
        return;
    }
    respond_holds(context, request, response, patient_id);
}
