/* Checks that a device measures right: judged as they come in, and never changed. */
#include "api/api.h"
#include "api/devices_json.h"
#include "api/handlers.h"
#include "base/clock.h"
#include "formats/equipment_json.h"
#include "formats/equipment_words.h"

static const char *or_empty(const char *text)
{
    return text == NULL ? "" : text;
}

static void read_verification(struct json_reader *reader, struct device_verification *verification)
{
    verification->id = api_read_id(reader);
    verification->verified_at_us = api_read_time(reader, "verified_at", JSON_REQUIRED);
    if (verification->verified_at_us > clock_now_us()) {
        fault_add(reader->faults, json_reader_pointer(reader, "verified_at"),
                  "Must not lie in the future.");
    }
    verification->verified_by =
        json_reader_string(reader, "verified_by", JSON_REQUIRED, LIMIT_NAME_BYTES);
    verification->method =
        or_empty(json_reader_string(reader, "method", JSON_OPTIONAL, LIMIT_NOTE_BYTES));
    verification->remarks =
        or_empty(json_reader_string(reader, "remarks", JSON_OPTIONAL, LIMIT_NOTE_BYTES));
}

static void judge(struct arena *arena, const struct equipment_check *check,
                  struct device_verification *verification)
{
    struct equipment_judgement judgement;
    struct text words;
    struct text json;
    text_init(&words, arena, LIMIT_SMALL_BODY_BYTES);
    text_init(&json, arena, LIMIT_SMALL_BODY_BYTES);
    equipment_judge(check, &judgement);
    equipment_words_append(check, &judgement, &words);
    equipment_judgement_write(check, &judgement, &json);
    verification->verdict = judgement.verdict;
    verification->words = words.data;
    verification->judgement_json = json.data;
}

static void respond_created(struct api_context *context, const struct http_request *request,
                            struct http_response *response, const char *id)
{
    struct device_verification verification = {0};
    struct error error = {0};
    if (!device_verification_get(context->store, request->arena, id, &verification, &error)) {
        api_fail(request, response, &error);
        return;
    }
    struct text body;
    text_init(&body, request->arena, LIMIT_SMALL_BODY_BYTES);
    device_verification_json_append(&body, &verification);
    api_respond_json(request, response, 201, &body);
}

void verifications_create(void *opaque, struct http_request *request,
                          struct http_response *response)
{
    struct api_context *context = opaque;
    struct device_verification verification = {.device_id = api_path_id(request, response, 0)};
    struct json_reader reader;
    struct fault_list faults;
    struct device device = {0};
    struct equipment_own_limits limits;
    struct equipment_check check;
    struct error error = {0};
    if (verification.device_id == NULL || !api_read_object(request, response, &reader, &faults)) {
        return;
    }
    if (!device_get(context->store, request->arena, verification.device_id, &device, &error) ||
        !equipment_limits_parse(request->arena, device.limits_json, device.kind, &limits, &error)) {
        api_fail(request, response, &error);
        return;
    }
    read_verification(&reader, &verification);
    equipment_check_read(&reader, request->arena, device.kind, device.signals, &limits, &check);
    json_reader_close(&reader);
    if (api_reject(request, response, &faults)) {
        return;
    }
    judge(request->arena, &check, &verification);
    const char *id = NULL;
    if (device_verification_create(context->store, request->arena, &verification, &id, &error)) {
        api_audit_detail(context, id);
        respond_created(context, request, response, id);
    } else if (error.kind == ERROR_CONFLICT) {
        http_problem(request, response, 409, "A verification with this id exists already.");
    } else {
        api_fail(request, response, &error);
    }
}

void verifications_list(void *opaque, struct http_request *request, struct http_response *response)
{
    struct api_context *context = opaque;
    const char *device_id = api_path_id(request, response, 0);
    struct store_page page;
    if (device_id == NULL || !api_read_page(request, response, &page)) {
        return;
    }
    struct device_verification *verifications = NULL;
    size_t count = 0;
    const char *next = NULL;
    struct error error = {0};
    if (!device_verification_list(context->store, request->arena, device_id, &page, &verifications,
                                  &count, &next, &error)) {
        api_fail_list(request, response, &error);
        return;
    }
    struct text items;
    text_init(&items, request->arena, LIMIT_BODY_BYTES);
    for (size_t i = 0; i < count; i++) {
        text_append(&items, i == 0 ? "" : ",");
        device_verification_json_append(&items, &verifications[i]);
    }
    api_respond_list(request, response, &items, next);
}
