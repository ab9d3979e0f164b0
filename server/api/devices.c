/* The rooms' equipment. Its checks: verifications.c. */
#include "api/api.h"
#include "api/devices_json.h"
#include "api/handlers.h"
#include "base/clock.h"
#include "formats/equipment_json.h"

#include <string.h>

enum { DUE_DAYS_MOST = 3650 };

static void respond_device(struct api_context *context, const struct http_request *request,
                           struct http_response *response, int status, const char *id)
{
    struct device device = {0};
    struct error error = {0};
    if (!device_get(context->store, request->arena, id, &device, &error)) {
        api_fail(request, response, &error);
        return;
    }
    struct text body;
    text_init(&body, request->arena, LIMIT_SMALL_BODY_BYTES);
    device_json_append(&body, &device);
    api_respond_row(request, response, status, &body, device.version, "/v1/devices", id);
}

static void read_filter(const struct http_request *request, struct fault_list *faults,
                        struct device_filter *ret_filter)
{
    *ret_filter = (struct device_filter){
        .room = http_request_query(request, "room"),
        .by_in_use = http_request_query(request, "in_use") != NULL,
        .in_use = api_query_flag(request, "in_use", faults),
    };
}

void devices_list(void *opaque, struct http_request *request, struct http_response *response)
{
    struct api_context *context = opaque;
    struct fault_list faults;
    struct device_filter filter;
    fault_list_init(&faults, request->arena);
    http_request_check_query(
        request, (const char *const[]){"limit", "cursor", "room", "in_use", NULL}, &faults);
    struct store_page page = api_page(request, &faults);
    read_filter(request, &faults, &filter);
    if (api_reject(request, response, &faults)) {
        return;
    }
    struct device *devices = NULL;
    size_t count = 0;
    const char *next = NULL;
    struct error error = {0};
    if (!device_list(context->store, request->arena, &filter, &page, &devices, &count, &next,
                     &error)) {
        api_fail_list(request, response, &error);
        return;
    }
    struct text items;
    text_init(&items, request->arena, LIMIT_BODY_BYTES);
    for (size_t i = 0; i < count; i++) {
        text_append(&items, i == 0 ? "" : ",");
        device_json_append(&items, &devices[i]);
    }
    api_respond_list(request, response, &items, next);
}

/* ---- reading one ---- */

static void read_signal(const json_t *value, const char *pointer, struct fault_list *faults,
                        struct device *device)
{
    const char *name = json_string_value(value);
    enum signal_kind signal = name == NULL ? SIGNAL_NONE : signal_from_name(name);
    if (signal == SIGNAL_NONE) {
        fault_add(faults, pointer, "Must be the name of a signal, such as pves or flow.");
    } else if (device->signals[signal]) {
        fault_add(faults, pointer, "Names a signal for the second time.");
    } else {
        device->signals[signal] = true;
    }
}

static void read_signals(struct json_reader *reader, struct device *device)
{
    const json_t *value = json_reader_take(reader, "signals", JSON_OPTIONAL);
    const char *pointer = json_reader_pointer(reader, "signals");
    if (value == NULL && !json_reader_is_null(reader, "signals")) {
        return;
    }
    memset(device->signals, 0, sizeof device->signals);
    if (value == NULL) {
        return;
    }
    if (!json_is_array(value) || json_array_size(value) > SIGNAL_COUNT) {
        fault_add(reader->faults, pointer, "Must be an array of at most %d signals.", SIGNAL_COUNT);
        return;
    }
    for (size_t i = 0; i < json_array_size(value); i++) {
        read_signal(json_array_get(value, i),
                    fault_pointer_index(reader->faults->arena, pointer, i), reader->faults, device);
    }
}

/* What they may be depends on the kind: without one, which has its fault, they are not looked at.
 */
static void read_limits(struct json_reader *reader, struct equipment_own_limits *limits,
                        struct device *device)
{
    const json_t *value = json_reader_take(reader, "limits", JSON_OPTIONAL);
    struct text out;
    text_init(&out, reader->faults->arena, LIMIT_SMALL_BODY_BYTES);
    if (json_reader_is_null(reader, "limits")) {
        *limits = (struct equipment_own_limits){0};
    }
    if (device->kind != EQUIPMENT_KIND_COUNT) {
        equipment_limits_patch(value, json_reader_pointer(reader, "limits"), device->kind,
                               reader->faults, limits);
    }
    equipment_limits_write(limits, &out);
    device->limits_json = out.data;
}

static void read_due(struct json_reader *reader, struct device *device)
{
    int days = api_read_whole(reader, "due_every_days", 1, DUE_DAYS_MOST, 0);
    if (days != 0 || json_reader_is_null(reader, "due_every_days")) {
        device->due_every_days = days;
    }
}

/* Since when room, use and interval hold: now, unless it is said. */
static void read_since(struct json_reader *reader, bool changed, struct device *device)
{
    int64_t now_us = clock_now_us();
    int64_t since_us = api_read_time(reader, "since", JSON_OPTIONAL);
    api_refuse_null(reader, "since");
    if (since_us > now_us) {
        fault_add(reader->faults, json_reader_pointer(reader, "since"),
                  "Must not lie in the future.");
    }
    if (since_us != 0) {
        device->since_us = since_us;
    } else if (changed) {
        device->since_us = now_us;
    }
}

/* Members that may be given at any time; absent ones keep what `device` and `limits` hold. */
static void read_changeable(struct json_reader *reader, struct equipment_own_limits *limits,
                            struct device *device)
{
    const struct device before = *device;
    device->maker = api_patch_string(reader, "maker", LIMIT_NAME_BYTES, device->maker);
    device->serial = api_patch_string(reader, "serial", LIMIT_NAME_BYTES, device->serial);
    read_signals(reader, device);
    read_limits(reader, limits, device);
    device->room = api_patch_required_string(reader, "room", LIMIT_NAME_BYTES, device->room);
    enum patient_answer in_use = json_reader_answer(reader, "in_use", JSON_OPTIONAL);
    api_refuse_null(reader, "in_use");
    if (in_use != ANSWER_UNKNOWN) {
        device->in_use = in_use == ANSWER_YES;
    }
    read_due(reader, device);
    bool changed = strcmp(device->room, before.room) != 0 || device->in_use != before.in_use ||
                   device->due_every_days != before.due_every_days;
    read_since(reader, changed || before.since_us == 0, device);
}

/* ---- handlers ---- */

void devices_create(void *opaque, struct http_request *request, struct http_response *response)
{
    struct api_context *context = opaque;
    struct json_reader reader;
    struct fault_list faults;
    if (!api_read_object(request, response, &reader, &faults)) {
        return;
    }
    struct equipment_own_limits limits = {0};
    struct device device = {.id = api_read_id(&reader), .room = "", .in_use = true};
    device.maker = "";
    device.serial = "";
    const char *kind = json_reader_word(&reader, "kind", JSON_REQUIRED, equipment_kind_names());
    device.kind = kind == NULL ? EQUIPMENT_KIND_COUNT : equipment_kind_from_name(kind);
    device.name = json_reader_string(&reader, "name", JSON_REQUIRED, LIMIT_NAME_BYTES);
    read_changeable(&reader, &limits, &device);
    json_reader_close(&reader);
    if (api_reject(request, response, &faults)) {
        return;
    }
    const char *id = NULL;
    struct error error = {0};
    if (!device_create(context->store, request->arena, &device, &id, &error)) {
        if (error.kind == ERROR_CONFLICT) {
            http_problem(request, response, 409, "A device with this id exists already.");
        } else {
            api_fail(request, response, &error);
        }
        return;
    }
    respond_device(context, request, response, 201, id);
}

void devices_get(void *opaque, struct http_request *request, struct http_response *response)
{
    struct api_context *context = opaque;
    const char *id = api_path_id(request, response, 0);
    if (id != NULL) {
        respond_device(context, request, response, 200, id);
    }
}

void devices_patch(void *opaque, struct http_request *request, struct http_response *response)
{
    struct api_context *context = opaque;
    const char *id = api_path_id(request, response, 0);
    struct json_reader reader;
    struct fault_list faults;
    struct device device = {0};
    struct equipment_own_limits limits;
    struct error error = {0};
    if (id == NULL || !api_read_object(request, response, &reader, &faults)) {
        return;
    }
    if (!device_get(context->store, request->arena, id, &device, &error) ||
        !equipment_limits_parse(request->arena, device.limits_json, device.kind, &limits, &error)) {
        api_fail(request, response, &error);
        return;
    }
    device.name = api_patch_required_string(&reader, "name", LIMIT_NAME_BYTES, device.name);
    read_changeable(&reader, &limits, &device);
    json_reader_close(&reader);
    if (api_reject(request, response, &faults) || !api_matches(request, response, device.version)) {
        return;
    }
    if (!device_update(context->store, &device, &error)) {
        api_fail(request, response, &error);
        return;
    }
    respond_device(context, request, response, 200, id);
}
