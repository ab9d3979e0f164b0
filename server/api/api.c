#include "api/api.h"

#include "base/clock.h"
#include "base/log.h"
#include "base/uuid.h"

#include <errno.h>
#include <math.h>
#include <sodium.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum { LIST_ANSWER_LIMIT = 16 * 1024 * 1024 };

static const char CURSOR_FAULT[] = "Is not a cursor that this list gave.";

void api_fail(const struct http_request *request, struct http_response *response,
              const struct error *error)
{
    const struct log_field fields[] = {
        {.name = "request_id", .text = request->id},
        {.name = "detail", .text = error->detail},
    };
    switch (error->kind) {
    case ERROR_NOT_FOUND:
        http_problem(request, response, 404, "There is no such thing here, or it is not yours.");
        return;
    case ERROR_CONFLICT:
        http_problem(request, response, 409,
                     "This exists already, or its state forbids the change.");
        return;
    case ERROR_STALE:
        http_problem(request, response, 412,
                     "Somebody changed this meanwhile. Read it again, then repeat your change.");
        return;
    case ERROR_INVALID:
        http_problem(request, response, 422, "The request cannot be accepted.");
        return;
    case ERROR_UNAVAILABLE:
        log_event(LOG_LEVEL_WARNING, "store_unavailable", fields, 2);
        http_problem(request, response, 503,
                     "This cannot be done now. Whether a change was stored is not certain: repeat "
                     "it with the same id or Idempotency-Key.");
        http_response_header(response, "Retry-After", "2");
        return;
    case ERROR_NONE:
    case ERROR_INTERNAL:
        break;
    }
    log_event(LOG_LEVEL_ERROR, "request_failed", fields, 2);
    http_problem(request, response, 500, "The server failed. Its log names this request's id.");
}

bool api_read_object(const struct http_request *request, struct http_response *response,
                     struct json_reader *reader, struct fault_list *faults)
{
    fault_list_init(faults, request->arena);
    const json_t *value =
        json_reader_parse(request->arena, request->body, request->body_length, faults);
    if (value == NULL) {
        http_problem_faults(request, response, 400, faults);
        return false;
    }
    json_reader_open(reader, value, "", faults);
    return true;
}

bool api_reject(const struct http_request *request, struct http_response *response,
                const struct fault_list *faults)
{
    if (faults->count == 0) {
        return false;
    }
    http_problem_faults(request, response, 422, faults);
    return true;
}

bool api_was_read(const struct http_request *request, struct http_response *response,
                  enum json_read_outcome outcome, const struct fault_list *faults)
{
    if (outcome != JSON_READ_OK) {
        http_problem_faults(request, response, outcome == JSON_READ_MALFORMED ? 400 : 422, faults);
    }
    return outcome == JSON_READ_OK;
}

void api_respond_text(const struct http_request *request, struct http_response *response,
                      int status, const char *media_type, const struct text *text)
{
    if (text->overflowed) {
        struct error error = {0};
        (void)error_set(&error, ERROR_INTERNAL, "an answer of more than %zu bytes", text->limit);
        api_fail(request, response, &error);
        return;
    }
    http_respond(response, status, media_type, text->data, text->length);
}

void api_respond_json(const struct http_request *request, struct http_response *response,
                      int status, const struct text *text)
{
    api_respond_text(request, response, status, "application/json", text);
}

void api_fail_list(const struct http_request *request, struct http_response *response,
                   const struct error *error)
{
    if (error->kind != ERROR_INVALID || http_request_query(request, "cursor") == NULL) {
        api_fail(request, response, error);
        return;
    }
    struct fault_list faults;
    fault_list_init(&faults, request->arena);
    fault_add(&faults, "?cursor", "%s", CURSOR_FAULT);
    http_problem_faults(request, response, 422, &faults);
}

void api_respond_row(const struct http_request *request, struct http_response *response, int status,
                     const struct text *text, int version, const char *collection, const char *id)
{
    api_respond_json(request, response, status, text);
    if (response->status != status) {
        return; /* the answer was too large and is a problem instead */
    }
    api_set_etag(request, response, version);
    if (status == 201) {
        http_response_header(response, "Location",
                             arena_printf(request->arena, "%s/%s", collection, id));
    }
}

bool api_read_page(const struct http_request *request, struct http_response *response,
                   struct store_page *ret_page)
{
    struct fault_list faults;
    fault_list_init(&faults, request->arena);
    http_request_check_query(request, (const char *const[]){"limit", "cursor", NULL}, &faults);
    *ret_page = api_page(request, &faults);
    return !api_reject(request, response, &faults);
}

struct store_page api_page(const struct http_request *request, struct fault_list *faults)
{
    struct store_page page = {
        .limit = api_query_integer(request, "limit", 1, API_PAGE_MAX, API_PAGE_DEFAULT, faults),
        .cursor = http_request_query(request, "cursor"),
    };
    if (page.cursor != NULL && (page.cursor[0] == '\0' || strlen(page.cursor) > API_CURSOR_LIMIT)) {
        fault_add(faults, "?cursor", "%s", CURSOR_FAULT);
        page.cursor = NULL;
    }
    return page;
}

static bool needs_no_escape(char character)
{
    return strchr("ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789-_.~",
                  character) != NULL;
}

void api_append_query_value(struct text *out, const char *value)
{
    for (; *value != '\0'; value++) {
        if (needs_no_escape(*value)) {
            text_append_char(out, *value);
        } else {
            text_printf(out, "%%%02X", (unsigned)(unsigned char)*value);
        }
    }
}

/* The next page keeps the filters of this one. */
void api_append_filters(struct text *out, const struct http_request *request)
{
    static const char *const KEPT[] = {
        "limit",      "mrn",      "name",   "birth_date", "from",      "to",        "date",
        "room",       "status",   "k",      "dates",      "ages",      "withdrawn", "actor_id",
        "patient_id", "resource", "action", "outcome",    "emergency", "in_use",    NULL};
    for (size_t i = 0; KEPT[i] != NULL; i++) {
        const char *value = http_request_query(request, KEPT[i]);
        if (value != NULL) {
            text_printf(out, "%s=", KEPT[i]);
            api_append_query_value(out, value);
            text_append_char(out, '&');
        }
    }
}

void api_link_next(const struct http_request *request, struct http_response *response,
                   const char *next_cursor)
{
    struct text link;
    text_init(&link, request->arena, LIMIT_SMALL_BODY_BYTES);
    text_printf(&link, "<%s?", request->path);
    api_append_filters(&link, request);
    text_append(&link, "cursor=");
    api_append_query_value(&link, next_cursor);
    text_append(&link, ">; rel=\"next\"");
    http_response_header(response, "Link", link.data);
}

void api_respond_list_about(const struct http_request *request, struct http_response *response,
                            const struct text *items, const char *next_cursor, const char *member,
                            const char *value)
{
    struct text body;
    text_init(&body, request->arena, LIST_ANSWER_LIMIT);
    text_append(&body, "{\"items\":[");
    text_append_bytes(&body, items->data, items->length);
    text_append(&body, "],\"next_cursor\":");
    text_append_json_string(&body, next_cursor);
    if (member != NULL) {
        text_append_char(&body, ',');
        api_append_string(&body, member, value);
    }
    text_append_char(&body, '}');
    body.overflowed = body.overflowed || items->overflowed;
    if (next_cursor != NULL) {
        api_link_next(request, response, next_cursor);
    }
    api_respond_json(request, response, 200, &body);
}

void api_respond_list(const struct http_request *request, struct http_response *response,
                      const struct text *items, const char *next_cursor)
{
    api_respond_list_about(request, response, items, next_cursor, NULL, NULL);
}

void api_retry_after(const struct http_request *request, struct http_response *response, int wait_s)
{
    http_response_header(response, "Retry-After", arena_printf(request->arena, "%d", wait_s));
}

void api_set_etag(const struct http_request *request, struct http_response *response, int number)
{
    response->etag = arena_printf(request->arena, "\"%d\"", number);
}

void api_set_content_etag(const struct http_request *request, struct http_response *response)
{
    unsigned char digest[crypto_generichash_BYTES_MIN];
    char hex[sizeof digest * 2 + 1];
    crypto_generichash(digest, sizeof digest, response->body, response->body_length, NULL, 0);
    sodium_bin2hex(hex, sizeof hex, digest, sizeof digest);
    response->etag = arena_printf(request->arena, "\"%s\"", hex);
}

bool api_matches(const struct http_request *request, struct http_response *response, int number)
{
    char etag[API_ETAG_SIZE];
    (void)snprintf(etag, sizeof etag, "\"%d\"", number);
    const char *field = http_request_header(request, "If-Match");
    if (field != NULL && http_etag_matches(field, etag)) {
        return true;
    }
    http_problem(request, response, 412,
                 "Somebody changed this meanwhile. Read it again, then repeat your change.");
    return false;
}

bool api_is_person(const struct api_context *context, const struct http_request *request,
                   struct http_response *response)
{
    if (context->principal.is_token) {
        http_problem(request, response, 403, "Only a person who has signed in may do this.");
    }
    return !context->principal.is_token;
}

const char *api_path_id(const struct http_request *request, struct http_response *response,
                        size_t index)
{
    if (!uuid_is_valid(request->parameters[index])) {
        http_problem(request, response, 404, "There is no such thing here, or it is not yours.");
        return NULL;
    }
    return request->parameters[index];
}

int api_query_integer(const struct http_request *request, const char *name, int least, int most,
                      int fallback, struct fault_list *faults)
{
    const char *value = http_request_query(request, name);
    if (value == NULL) {
        return fallback;
    }
    char *end = NULL;
    errno = 0;
    long number = strtol(value, &end, 10);
    if (*value == '\0' || strspn(value, "-0123456789") != strlen(value) || *end != '\0' ||
        errno != 0 || number < least || number > most) {
        fault_add(faults, arena_printf(request->arena, "?%s", name),
                  "Must be a whole number from %d to %d.", least, most);
        return fallback;
    }
    return (int)number;
}

bool api_query_flag(const struct http_request *request, const char *name, struct fault_list *faults)
{
    const char *text = http_request_query(request, name);
    if (text != NULL && strcmp(text, "true") != 0 && strcmp(text, "false") != 0) {
        fault_add(faults, arena_printf(request->arena, "?%s", name), "Must be true or false.");
    }
    return text != NULL && strcmp(text, "true") == 0;
}

static int64_t query_time(const struct http_request *request, const char *name,
                          struct fault_list *faults)
{
    const char *value = http_request_query(request, name);
    int64_t time_us = 0;
    if (value != NULL && !clock_parse(value, &time_us)) {
        fault_add(faults, arena_printf(request->arena, "?%s", name),
                  "Must be an RFC 3339 time with its offset.");
    }
    /* 0 stands for no bound; a microsecond beside the epoch bounds the same rows. */
    return value != NULL && time_us == 0 ? 1 : time_us;
}

void api_query_span(const struct http_request *request, int64_t *ret_from_us, int64_t *ret_to_us,
                    struct fault_list *faults)
{
    static const int64_t day_us = (int64_t)24 * 3600 * 1000000;
    const char *date = http_request_query(request, "date");
    *ret_from_us = query_time(request, "from", faults);
    *ret_to_us = query_time(request, "to", faults);
    if (date == NULL) {
        return;
    }
    if (!clock_is_date(date)) {
        fault_add(faults, "?date", "Must be a date YYYY-MM-DD.");
    } else if (*ret_from_us != 0 || *ret_to_us != 0) {
        fault_add(faults, "?date", "Does not go together with from and to.");
    } else if (clock_parse(arena_printf(request->arena, "%sT00:00:00Z", date), ret_from_us)) {
        *ret_to_us = *ret_from_us + day_us;
    }
}

struct optional_number api_query_number(const struct http_request *request, const char *name,
                                        struct fault_list *faults)
{
    const char *value = http_request_query(request, name);
    if (value == NULL) {
        return (struct optional_number){0};
    }
    char *end = NULL;
    double number = strtod(value, &end);
    if (*value == '\0' || strspn(value, "+-.0123456789eE") != strlen(value) || *end != '\0' ||
        !isfinite(number)) {
        fault_add(faults, arena_printf(request->arena, "?%s", name), "Must be a number.");
        return (struct optional_number){0};
    }
    return (struct optional_number){.known = true, .value = number};
}

const char *api_read_id(struct json_reader *reader)
{
    const char *id = json_reader_string(reader, "id", JSON_OPTIONAL, UUID_TEXT_SIZE);
    if (id != NULL && !uuid_is_valid(id)) {
        fault_add(reader->faults, json_reader_pointer(reader, "id"),
                  "Must be a UUID in lower-case text.");
        return NULL;
    }
    return id;
}

int64_t api_read_time(struct json_reader *reader, const char *member, enum json_presence presence)
{
    const char *text = json_reader_string(reader, member, presence, CLOCK_TEXT_SIZE);
    int64_t time_us = 0;
    if (text == NULL) {
        return 0;
    }
    if (!clock_parse(text, &time_us)) {
        fault_add(reader->faults, json_reader_pointer(reader, member),
                  "Must be an RFC 3339 time with its offset, such as 2026-03-02T09:31:05+01:00.");
        return 0;
    }
    if (time_us < LIMIT_START_EARLIEST_US || time_us >= LIMIT_START_LATEST_US) {
        fault_add(reader->faults, json_reader_pointer(reader, member),
                  "Must be a time from 1990 to 2100.");
        return 0;
    }
    return time_us;
}

int api_read_whole(struct json_reader *reader, const char *member, int least, int most,
                   int fallback)
{
    struct optional_number number = json_reader_number(reader, member, JSON_OPTIONAL, least, most);
    if (!number.known) {
        return fallback;
    }
    if (islessgreater(floor(number.value), number.value)) {
        fault_add(reader->faults, json_reader_pointer(reader, member), "Must be a whole number.");
        return fallback;
    }
    return (int)number.value;
}

const char *api_patch_string(struct json_reader *reader, const char *member, size_t limit,
                             const char *current)
{
    const char *text = json_reader_string(reader, member, JSON_OPTIONAL, limit);
    if (json_reader_is_null(reader, member)) {
        return "";
    }
    return text == NULL ? current : text;
}

const char *api_patch_required_string(struct json_reader *reader, const char *member, size_t limit,
                                      const char *current)
{
    const char *text = api_patch_string(reader, member, limit, current);
    if (text[strspn(text, " \t\n")] == '\0') {
        fault_add(reader->faults, json_reader_pointer(reader, member), "Must not be empty.");
    }
    return text;
}

void api_refuse_null(struct json_reader *reader, const char *member)
{
    if (json_reader_is_null(reader, member)) {
        fault_add(reader->faults, json_reader_pointer(reader, member), "Cannot be removed.");
    }
}

void api_append_time(struct text *text, const char *name, int64_t time_us)
{
    char formatted[CLOCK_TEXT_SIZE];
    clock_format(time_us, formatted);
    text_printf(text, "\"%s\":\"%s\"", name, formatted);
}

void api_append_string(struct text *text, const char *name, const char *value)
{
    text_printf(text, "\"%s\":", name);
    text_append_json_string(text, value);
}
