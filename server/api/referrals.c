/* Who referred a patient, and so may read the summaries; what such a reader finds; and access taken
 * in an emergency. */
#include "api/api.h"
#include "api/handlers.h"
#include "api/naming.h"
#include "api/resources_json.h"
#include "base/clock.h"
#include "base/log.h"
#include "base/utf8.h"
#include "base/uuid.h"
#include "store/store_referral.h"
#include "store/store_study.h"

enum { REASON_LEAST = 10, REASON_LIMIT = 1000 };

static void respond_referrers(const struct http_request *request, struct http_response *response,
                              const struct referrer *referrers, size_t count)
{
    struct text body;
    text_init(&body, request->arena, LIMIT_BODY_BYTES);
    text_append(&body, "{\"items\":[");
    for (size_t i = 0; i < count; i++) {
        text_append(&body, i == 0 ? "{" : ",{");
        api_append_string(&body, "id", referrers[i].id);
        text_append_char(&body, ',');
        api_append_string(&body, "display_name", referrers[i].display_name);
        if (referrers[i].since_us != 0) {
            text_append_char(&body, ',');
            api_append_time(&body, "since", referrers[i].since_us);
        }
        text_append_char(&body, '}');
    }
    text_append(&body, "]}");
    api_respond_json(request, response, 200, &body);
}

void referrers_list(void *opaque, struct http_request *request, struct http_response *response)
{
    struct api_context *context = opaque;
    struct referrer *referrers = NULL;
    size_t count = 0;
    struct error error = {0};
    if (!referrer_list(context->store, request->arena, &referrers, &count, &error)) {
        api_fail(request, response, &error);
        return;
    }
    respond_referrers(request, response, referrers, count);
}

void referrals_list(void *opaque, struct http_request *request, struct http_response *response)
{
    struct api_context *context = opaque;
    const char *id = api_path_id(request, response, 0);
    struct referrer *referrers = NULL;
    size_t count = 0;
    struct error error = {0};
    if (id == NULL) {
        return;
    }
    if (!referral_list(context->store, request->arena, id, &referrers, &count, &error)) {
        api_fail(request, response, &error);
        return;
    }
    respond_referrers(request, response, referrers, count);
}

void referrals_create(void *opaque, struct http_request *request, struct http_response *response)
{
    struct api_context *context = opaque;
    const char *patient_id = api_path_id(request, response, 0);
    struct json_reader reader;
    struct fault_list faults;
    struct error error = {0};
    if (patient_id == NULL || !api_read_object(request, response, &reader, &faults)) {
        return;
    }
    const char *account_id =
        json_reader_string(&reader, "referrer_id", JSON_REQUIRED, LIMIT_NAME_BYTES);
    json_reader_close(&reader);
    if (account_id != NULL && !uuid_is_valid(account_id)) {
        fault_add(&faults, "/referrer_id", "Must be a UUID in lower-case text.");
    }
    if (api_reject(request, response, &faults)) {
        return;
    }
    api_audit_detail(context, account_id);
    if (referral_put(context->store, patient_id, account_id, &error)) {
        http_respond(response, 204, NULL, NULL, 0);
        return;
    }
    if (error.kind != ERROR_INVALID) {
        api_fail(request, response, &error);
        return;
    }
    fault_add(&faults, "/referrer_id", "Is not an active referrer's: see GET /v1/referrers.");
    http_problem_faults(request, response, 422, &faults);
}

void referrals_end(void *opaque, struct http_request *request, struct http_response *response)
{
    struct api_context *context = opaque;
    const char *patient_id = api_path_id(request, response, 0);
    const char *account_id = patient_id == NULL ? NULL : api_path_id(request, response, 1);
    struct error error = {0};
    if (account_id == NULL) {
        return;
    }
    if (!referral_end(context->store, patient_id, account_id, &error)) {
        api_fail(request, response, &error);
        return;
    }
    http_respond(response, 204, NULL, NULL, 0);
}

/* ---- signed studies, as their reader finds them ---- */

static void append_summary(struct text *out, const struct study *study)
{
    text_append_char(out, '{');
    api_append_string(out, "study_id", study->id);
    text_append_char(out, ',');
    api_append_string(out, "patient_id", study->patient_id);
    text_append_char(out, ',');
    api_append_string(out, "patient_name", study->patient_name);
    text_append_char(out, ',');
    api_append_string(out, "patient_mrn", study->patient_mrn);
    text_append_char(out, ',');
    api_append_time(out, "started_at", study->started_at_us);
    text_append_char(out, ',');
    api_append_string(out, "status", study->status);
    text_append_char(out, '}');
}

void summaries_list(void *opaque, struct http_request *request, struct http_response *response)
{
    struct api_context *context = opaque;
    struct store_page page;
    if (!api_read_page(request, response, &page)) {
        return;
    }
    const struct study_filter filter = {.signed_only = true};
    struct study *studies = NULL;
    size_t count = 0;
    const char *next = NULL;
    struct error error = {0};
    if (!study_list(context->store, request->arena, &filter, &page, &studies, &count, &next,
                    &error)) {
        api_fail_list(request, response, &error);
        return;
    }
    struct text items;
    text_init(&items, request->arena, LIMIT_BODY_BYTES);
    for (size_t i = 0; i < count; i++) {
        text_append(&items, i == 0 ? "" : ",");
        append_summary(&items, &studies[i]);
        api_audit_patient(context, studies[i].patient_id);
    }
    api_respond_list(request, response, &items, next);
}

/* ---- emergency access ---- */

static const char *read_reason(struct json_reader *reader)
{
    const char *reason = json_reader_string(reader, "reason", JSON_REQUIRED, REASON_LIMIT);
    if (reason != NULL && utf8_length(reason) < REASON_LEAST) {
        fault_add(reader->faults, json_reader_pointer(reader, "reason"),
                  "Say in at least %d characters why.", REASON_LEAST);
    }
    return reason;
}

static const char *read_birth_date(struct json_reader *reader)
{
    const char *date = json_reader_string(reader, "birth_date", JSON_REQUIRED, CLOCK_DATE_SIZE);
    if (date != NULL && !clock_is_date(date)) {
        fault_add(reader->faults, json_reader_pointer(reader, "birth_date"),
                  "Must be a date YYYY-MM-DD.");
    }
    return date;
}

/* Loud: whoever watches the log sees it at once, without any patient's data. */
static void log_emergency(const struct api_context *context, const struct http_request *request,
                          const struct emergency_access *access)
{
    const struct log_field fields[] = {
        {.name = "request_id", .text = request->id},
        {.name = "emergency_access_id", .text = access->id},
        {.name = "account_id", .text = context->principal.id},
        {.name = "clinic_id", .text = context->principal.clinic_id},
    };
    log_event(LOG_LEVEL_WARNING, "emergency_access", fields, sizeof fields / sizeof fields[0]);
}

static void respond_emergency(const struct http_request *request, struct http_response *response,
                              const struct emergency_access *access)
{
    struct text body;
    text_init(&body, request->arena, LIMIT_SMALL_BODY_BYTES);
    text_append_char(&body, '{');
    api_append_string(&body, "id", access->id);
    text_append_char(&body, ',');
    api_append_string(&body, "patient_id", access->patient_id);
    text_append_char(&body, ',');
    api_append_time(&body, "expires_at", access->expires_at_us);
    text_append_char(&body, '}');
    api_respond_json(request, response, 201, &body);
}

void emergency_create(void *opaque, struct http_request *request, struct http_response *response)
{
    struct api_context *context = opaque;
    struct json_reader reader;
    struct fault_list faults;
    if (!api_is_person(context, request, response) ||
        !api_read_object(request, response, &reader, &faults)) {
        return;
    }
    const char *mrn = json_reader_string(&reader, "mrn", JSON_REQUIRED, 64);
    const char *birth_date = read_birth_date(&reader);
    const char *reason = read_reason(&reader);
    json_reader_close(&reader);
    if (api_reject(request, response, &faults)) {
        return;
    }
    struct emergency_access access = {0};
    struct error error = {0};
    api_audit_reason(context, reason);
    /* Not taken back where somebody is found: nobody has so many emergencies. */
    if (!naming_claim(context, request, response)) {
        return;
    }
    if (!emergency_access_take(context->store, request->arena, mrn, birth_date, reason, &access,
                               &error)) {
        if (error.kind == ERROR_NOT_FOUND) {
            http_problem(request, response, 404,
                         "Nobody here has this record number and birth date.");
        } else {
            api_fail(request, response, &error);
        }
        return;
    }
    api_audit_object(context, "emergency-access", access.id);
    api_audit_patient(context, access.patient_id);
    log_emergency(context, request, &access);
    respond_emergency(request, response, &access);
}
