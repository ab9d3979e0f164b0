/* What auditors read: entries, and who has looked at one patient's data. Ids, never names of
 * patients.
 */
#include "api/api.h"
#include "api/handlers.h"
#include "api/roles_json.h"
#include "auth/access.h"
#include "base/clock.h"
#include "base/uuid.h"
#include "fhir/audit_event.h"
#include "store/store_audit.h"

#include <inttypes.h>
#include <string.h>

enum { AUDIT_ANSWER_LIMIT = 64 * 1024 * 1024 };

/* ---- what is asked for ---- */

static int64_t query_time(const struct http_request *request, const char *name,
                          struct fault_list *faults)
{
    const char *value = http_request_query(request, name);
    int64_t time_us = 0;
    if (value != NULL && !clock_parse(value, &time_us)) {
        fault_add(faults, arena_printf(request->arena, "?%s", name),
                  "Must be an RFC 3339 time with its offset.");
    }
    /* 0 stands for no bound; a microsecond beside the epoch bounds the same entries. */
    return value != NULL && time_us == 0 ? 1 : time_us;
}

static const char *query_id(const struct http_request *request, const char *name,
                            struct fault_list *faults)
{
    const char *value = http_request_query(request, name);
    if (value != NULL && !uuid_is_valid(value)) {
        fault_add(faults, arena_printf(request->arena, "?%s", name),
                  "Must be a UUID in lower-case text.");
        return NULL;
    }
    return value;
}

static bool is_resource(const char *name)
{
    for (unsigned i = 0; i < ACCESS_RESOURCE_COUNT; i++) {
        if (strcmp(name, access_resource_name(i)) == 0) {
            return true;
        }
    }
    return false;
}

static bool is_action(const char *name)
{
    for (unsigned action = 1; action <= ACCESS_ANY_ACTION; action <<= 1) {
        const char *known = access_action_name(action);
        if (known != NULL && strcmp(name, known) == 0) {
            return true;
        }
    }
    return false;
}

static void check_words(const struct audit_filter *filter, struct fault_list *faults)
{
    if (filter->resource != NULL && !is_resource(filter->resource)) {
        fault_add(faults, "?resource", "Must be a resource of the table of who may do what.");
    }
    if (filter->action != NULL && !is_action(filter->action)) {
        fault_add(faults, "?action", "Must be one of read, create, change, remove, restore.");
    }
    if (filter->outcome != NULL && strcmp(filter->outcome, "done") != 0 &&
        strcmp(filter->outcome, "refused") != 0 && strcmp(filter->outcome, "failed") != 0) {
        fault_add(faults, "?outcome", "Must be one of done, refused, failed.");
    }
}

static struct audit_filter read_filter(const struct http_request *request,
                                       struct fault_list *faults)
{
    http_request_check_query(request,
                             (const char *const[]){"limit", "cursor", "patient_id", "mrn",
                                                   "actor_id", "resource", "action", "outcome",
                                                   "from", "to", "emergency", NULL},
                             faults);
    struct audit_filter filter = {
        .patient_id = query_id(request, "patient_id", faults),
        .actor_id = query_id(request, "actor_id", faults),
        .resource = http_request_query(request, "resource"),
        .action = http_request_query(request, "action"),
        .outcome = http_request_query(request, "outcome"),
        .from_us = query_time(request, "from", faults),
        .to_us = query_time(request, "to", faults),
        .emergency = api_query_flag(request, "emergency", faults),
    };
    if (filter.patient_id != NULL && http_request_query(request, "mrn") != NULL) {
        fault_add(faults, "?mrn", "Does not go together with patient_id.");
    }
    check_words(&filter, faults);
    return filter;
}

/* Whom the record number or the id means; an id that is no patient's fits no entry. False when the
 * answer is set already. */
static bool find_patient(struct api_context *context, const struct http_request *request,
                         struct http_response *response, struct audit_filter *filter)
{
    const char *mrn = http_request_query(request, "mrn");
    const char *found = NULL;
    struct error error = {0};
    if (mrn == NULL && filter->patient_id == NULL) {
        return true;
    }
    if (audit_find_patient(context->store, request->arena, mrn, filter->patient_id, &found,
                           &error)) {
        filter->patient_id = found;
        api_audit_patient(context, found);
        return true;
    }
    if (error.kind != ERROR_NOT_FOUND) {
        api_fail(request, response, &error);
        return false;
    }
    struct fault_list faults;
    fault_list_init(&faults, request->arena);
    if (mrn != NULL) {
        fault_add(&faults, "?mrn", "There is no patient with this record number.");
    }
    return !api_reject(request, response, &faults);
}

/* ---- entries ---- */

static void append_list(struct text *out, const char *name, const char *const items[], size_t count)
{
    text_printf(out, ",\"%s\":[", name);
    for (size_t i = 0; i < count; i++) {
        text_append(out, i == 0 ? "" : ",");
        text_append_json_string(out, items[i]);
    }
    text_append_char(out, ']');
}

static void append_actor(struct text *out, const char *id, const char *name, const char *kind,
                         unsigned roles)
{
    text_append(out, "\"actor\":{");
    api_append_string(out, "id", id);
    text_append_char(out, ',');
    api_append_string(out, "name", name);
    text_append_char(out, ',');
    api_append_string(out, "kind", kind);
    text_append_char(out, ',');
    roles_json_append(out, roles);
    text_append_char(out, '}');
}

static void append_words(struct text *out, const struct audit_row *row)
{
    const char *const words[][2] = {
        {"address", row->address}, {"request_id", row->request_id},
        {"action", row->action},   {"resource", row->resource},
        {"what", row->what},       {"outcome", row->outcome},
        {"reason", row->reason},   {"detail", row->detail},
        {"hash", row->hash},
    };
    for (size_t i = 0; i < sizeof words / sizeof words[0]; i++) {
        text_append_char(out, ',');
        api_append_string(out, words[i][0], words[i][1]);
    }
}

static void append_entry(struct text *out, const struct audit_row *row)
{
    text_printf(out, "{\"id\":\"%d-%" PRId64 "\",", row->lane, row->number);
    api_append_time(out, "recorded_at", row->at_us);
    text_append_char(out, ',');
    append_actor(out, row->actor_id, row->actor_name, row->actor_kind, row->actor_roles);
    append_words(out, row);
    text_append(out, ",\"object\":");
    if (row->object_id == NULL) {
        text_append(out, "null");
    } else {
        text_append_char(out, '{');
        api_append_string(out, "type", row->object_type);
        text_append_char(out, ',');
        api_append_string(out, "id", row->object_id);
        text_append_char(out, '}');
    }
    append_list(out, "patient_ids", row->patient_ids, row->patient_count);
    text_printf(out, ",\"status\":%d,\"emergency\":%s}", row->status,
                row->emergency ? "true" : "false");
}

static const char *same_query_after(const struct http_request *request, const char *cursor)
{
    struct text url;
    text_init(&url, request->arena, LIMIT_SMALL_BODY_BYTES);
    text_append(&url, request->path);
    if (cursor == NULL) {
        text_printf(&url, "%s%s", request->query[0] != '\0' ? "?" : "", request->query);
    } else {
        text_append(&url, "?");
        api_append_filters(&url, request);
        text_append(&url, "cursor=");
        api_append_query_value(&url, cursor);
    }
    return url.data;
}

static void respond_fhir(const struct api_context *context, const struct http_request *request,
                         struct http_response *response, const struct audit_row *rows, size_t count,
                         const char *next)
{
    struct text body;
    text_init(&body, request->arena, AUDIT_ANSWER_LIMIT);
    audit_event_append_bundle(&body, rows, count, context->principal.clinic_id,
                              same_query_after(request, NULL),
                              next == NULL ? NULL : same_query_after(request, next));
    api_respond_text(request, response, 200, "application/fhir+json", &body);
}

void audit_list_entries(void *opaque, struct http_request *request, struct http_response *response)
{
    struct api_context *context = opaque;
    struct fault_list faults;
    fault_list_init(&faults, request->arena);
    struct audit_filter filter = read_filter(request, &faults);
    struct store_page page = api_page(request, &faults);
    if (api_reject(request, response, &faults) ||
        !find_patient(context, request, response, &filter)) {
        return;
    }
    struct audit_row *rows = NULL;
    size_t count = 0;
    const char *next = NULL;
    struct error error = {0};
    if (!audit_list(context->store, request->arena, &filter, &page, &rows, &count, &next, &error)) {
        api_fail_list(request, response, &error);
        return;
    }
    if (strcmp(request->accepted, "application/fhir+json") == 0) {
        respond_fhir(context, request, response, rows, count, next);
        return;
    }
    struct text items;
    text_init(&items, request->arena, AUDIT_ANSWER_LIMIT);
    for (size_t i = 0; i < count; i++) {
        text_append(&items, i == 0 ? "" : ",");
        append_entry(&items, &rows[i]);
    }
    api_respond_list_about(request, response, &items, next, "patient_id", filter.patient_id);
}

/* ---- who has looked ---- */

static void append_day(struct text *out, const struct audit_day *day)
{
    text_append_char(out, '{');
    api_append_string(out, "day", day->day);
    text_append_char(out, ',');
    append_actor(out, day->actor_id, day->actor_name, day->actor_kind, day->actor_roles);
    append_list(out, "addresses", day->addresses, day->address_count);
    append_list(out, "kinds", day->kinds, day->kind_count);
    text_printf(out, ",\"done\":%d,\"refused\":%d,", day->done, day->refused);
    api_append_time(out, "first_at", day->first_us);
    text_append_char(out, ',');
    api_append_time(out, "last_at", day->last_us);
    text_printf(out, ",\"emergency\":%s}", day->emergency ? "true" : "false");
}

void audit_list_days(void *opaque, struct http_request *request, struct http_response *response)
{
    struct api_context *context = opaque;
    const char *id = api_path_id(request, response, 0);
    struct store_page page;
    struct audit_day *days = NULL;
    size_t count = 0;
    const char *next = NULL;
    struct error error = {0};
    if (id == NULL || !api_read_page(request, response, &page)) {
        return;
    }
    if (!audit_find_patient(context->store, request->arena, NULL, id, &id, &error)) {
        api_fail(request, response, &error);
        return;
    }
    api_audit_patient(context, id);
    if (!audit_days(context->store, request->arena, id, &page, &days, &count, &next, &error)) {
        api_fail_list(request, response, &error);
        return;
    }
    struct text items;
    text_init(&items, request->arena, AUDIT_ANSWER_LIMIT);
    for (size_t i = 0; i < count; i++) {
        text_append(&items, i == 0 ? "" : ",");
        append_day(&items, &days[i]);
    }
    api_respond_list(request, response, &items, next);
}
