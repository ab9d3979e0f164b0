/* A study's letter: to whom and how it is written, the letter itself, what was sent, and the day's
 * letters. */
#include "api/api.h"
#include "api/handlers.h"
#include "api/letter_load.h"
#include "api/letter_parts.h"
#include "base/clock.h"
#include "base/uuid.h"

#include <string.h>

enum { ADDRESS_LINES_MAX = 8, COPIES_MAX = 20, TEMPLATE_NAME_BYTES = 40 };

/* A referrer reads what was given out to be read; others read letters as they are now. */
static bool reads_only_what_was_sent(const struct api_context *context)
{
    return (context->reach & STORE_REACH_CLINIC) == 0;
}

/* ---- how it is written ---- */

static void respond_settings(struct api_context *context, const struct http_request *request,
                             struct http_response *response, const char *study_id)
{
    struct letter_settings settings = {0};
    struct error error = {0};
    if (!letter_load_settings(context, request->arena, study_id, &settings, &error)) {
        api_fail(request, response, &error);
        return;
    }
    struct text body;
    text_init(&body, request->arena, LIMIT_SMALL_BODY_BYTES);
    text_printf(&body, "{\"version\":%d,", settings.version);
    api_append_string(&body, "template", settings.template_name);
    text_append_char(&body, ',');
    api_append_string(&body, "language", settings.language);
    text_append(&body, ",\"addressee\":{");
    api_append_string(&body, "name", settings.addressee_name);
    text_append_char(&body, ',');
    api_append_string(&body, "salutation", settings.addressee_salutation);
    text_printf(&body, ",\"address\":%s,", settings.addressee_address);
    api_append_string(&body, "referrer_id", settings.referrer_id);
    text_printf(&body, "},\"copies\":%s,", settings.copies);
    api_append_string(&body, "question", settings.question);
    text_append_char(&body, ',');
    api_append_string(&body, "remarks", settings.remarks);
    text_append_char(&body, '}');
    api_respond_row(request, response, 200, &body, settings.version, NULL, NULL);
}

void letter_settings_get(void *opaque, struct http_request *request, struct http_response *response)
{
    struct api_context *context = opaque;
    const char *study_id = api_path_id(request, response, 0);
    struct error error = {.kind = ERROR_NOT_FOUND};
    if (study_id == NULL) {
        return;
    }
    if (reads_only_what_was_sent(context)) {
        api_fail(request, response, &error);
        return;
    }
    respond_settings(context, request, response, study_id);
}

static void read_addressee(struct json_reader *reader, struct letter_settings *settings)
{
    struct json_reader addressee;
    json_reader_open(&addressee, json_reader_take(reader, "addressee", JSON_REQUIRED),
                     json_reader_pointer(reader, "addressee"), reader->faults);
    settings->addressee_name = letter_parts_read_line(&addressee, "name", JSON_REQUIRED);
    settings->addressee_salutation =
        letter_parts_read_line(&addressee, "salutation", JSON_OPTIONAL);
    settings->addressee_address = letter_parts_read_lines(&addressee, "address", ADDRESS_LINES_MAX);
    settings->referrer_id =
        json_reader_string(&addressee, "referrer_id", JSON_OPTIONAL, UUID_TEXT_SIZE);
    if (settings->referrer_id != NULL && !uuid_is_valid(settings->referrer_id)) {
        fault_add(reader->faults, "/addressee/referrer_id", "Must be a UUID in lower-case text.");
    }
    json_reader_close(&addressee);
}

static void read_settings(struct json_reader *reader, struct letter_settings *settings)
{
    const char *question = json_reader_string(reader, "question", JSON_OPTIONAL, LIMIT_NOTE_BYTES);
    const char *remarks = json_reader_string(reader, "remarks", JSON_OPTIONAL, LIMIT_NOTE_BYTES);
    const char *name = json_reader_string(reader, "template", JSON_OPTIONAL, TEMPLATE_NAME_BYTES);
    settings->template_name = name == NULL ? LETTER_STANDARD_TEMPLATE : name;
    settings->language = json_reader_word(reader, "language", JSON_REQUIRED, LETTER_LANGUAGES);
    read_addressee(reader, settings);
    settings->copies = letter_parts_read_lines(reader, "copies", COPIES_MAX);
    settings->question = question == NULL ? "" : question;
    settings->remarks = remarks == NULL ? "" : remarks;
    json_reader_close(reader);
}

/* Whether there is such a template, in use; otherwise a fault. */
static bool check_template(struct api_context *context, const struct http_request *request,
                           const struct letter_settings *settings, struct fault_list *faults,
                           struct error *reterr)
{
    struct letter_template_row row = {0};
    if (faults->count > 0) {
        return true;
    }
    if (!letter_load_template(context->store, request->arena, settings->template_name,
                              settings->language, &row, reterr) &&
        reterr->kind != ERROR_NOT_FOUND) {
        return false;
    }
    if (!row.in_use) {
        fault_add(faults, "/template", "There is no such template in use in this language.");
    }
    return true;
}

void letter_settings_put(void *opaque, struct http_request *request, struct http_response *response)
{
    struct api_context *context = opaque;
    const char *study_id = api_path_id(request, response, 0);
    struct json_reader reader;
    struct fault_list faults;
    struct letter_settings stored = {0};
    struct letter_settings settings = {0};
    struct error error = {0};
    if (study_id == NULL || !api_read_object(request, response, &reader, &faults)) {
        return;
    }
    if (!letter_load_settings(context, request->arena, study_id, &stored, &error)) {
        api_fail(request, response, &error);
        return;
    }
    read_settings(&reader, &settings);
    settings.version = stored.version;
    if (!check_template(context, request, &settings, &faults, &error)) {
        api_fail(request, response, &error);
        return;
    }
    if (api_reject(request, response, &faults) || !api_matches(request, response, stored.version)) {
        return;
    }
    if (letter_settings_replace(context->store, study_id, &settings, &error)) {
        respond_settings(context, request, response, study_id);
    } else if (error.kind == ERROR_INVALID) {
        fault_add(&faults, "/addressee/referrer_id", "There is no such account of a referrer.");
        http_problem_faults(request, response, 422, &faults);
    } else {
        api_fail(request, response, &error);
    }
}

/* ---- the letter ---- */

static void respond_shown(const struct api_context *context, const struct http_request *request,
                          struct http_response *response, const char *study_id)
{
    const char *id = NULL;
    struct stored_letter letter = {0};
    struct error error = {.kind = ERROR_NOT_FOUND};
    if (letter_dispatch_find_shown(context->store, request->arena, study_id, &id, &error) &&
        id != NULL && letter_dispatch_get(context->store, request->arena, id, &letter, &error)) {
        letter_parts_respond_stored(request, response, &letter);
    } else {
        api_fail(request, response, &error);
    }
}

void letter_get(void *opaque, struct http_request *request, struct http_response *response)
{
    struct api_context *context = opaque;
    const char *study_id = api_path_id(request, response, 0);
    struct whole_letter letter = {0};
    struct error error = {0};
    if (study_id == NULL) {
        return;
    }
    if (reads_only_what_was_sent(context)) {
        respond_shown(context, request, response, study_id);
    } else if (letter_load(context, request->arena, study_id, &letter, &error)) {
        letter_parts_respond(request, response, letter.document);
    } else if (error.kind == ERROR_INVALID) {
        http_problem(request, response, 409,
                     "The letter cannot be written from the template that it has been given.");
    } else {
        api_fail(request, response, &error);
    }
}

/* ---- what was sent ---- */

static void respond_dispatch(struct api_context *context, const struct http_request *request,
                             struct http_response *response, int status, const char *id)
{
    struct stored_letter letter = {0};
    struct error error = {0};
    if (!letter_dispatch_get(context->store, request->arena, id, &letter, &error)) {
        api_fail(request, response, &error);
        return;
    }
    api_audit_patient(context, letter.about.patient_id);
    if (status == 200 && strcmp(request->accepted, "application/json") != 0) {
        letter_parts_respond_stored(request, response, &letter);
        return;
    }
    struct text body;
    text_init(&body, request->arena, LIMIT_SMALL_BODY_BYTES);
    letter_parts_append_dispatch(&body, &letter.about);
    api_respond_json(request, response, status, &body);
    if (status == 201) {
        http_response_header(response, "Location",
                             arena_printf(request->arena, "/v1/letter-dispatches/%s", id));
    }
}

void letter_dispatches_create(void *opaque, struct http_request *request,
                              struct http_response *response)
{
    struct api_context *context = opaque;
    struct json_reader reader;
    struct fault_list faults;
    struct letter_order order = {.study_id = api_path_id(request, response, 0)};
    if (order.study_id == NULL || !api_read_object(request, response, &reader, &faults)) {
        return;
    }
    order.way = json_reader_word(&reader, "way", JSON_REQUIRED, LETTER_WAYS);
    order.recipient = letter_parts_read_line(&reader, "recipient", JSON_OPTIONAL);
    order.recipient = order.recipient[0] == '\0' ? NULL : order.recipient;
    order.again = json_reader_answer(&reader, "again", JSON_OPTIONAL) == ANSWER_YES;
    json_reader_close(&reader);
    if (order.recipient != NULL && order.way != NULL && strcmp(order.way, "portal") == 0) {
        fault_add(&faults, "/recipient",
                  "Who may read a letter here is the addressee, with an account.");
    }
    if (api_reject(request, response, &faults)) {
        return;
    }
    const char *id = NULL;
    const char *refusal = NULL;
    struct error error = {0};
    if (!letter_send(context, request->arena, &order, &id, &refusal, &error)) {
        api_fail(request, response, &error);
    } else if (refusal != NULL) {
        http_problem(request, response, 409, "%s", refusal);
    } else {
        respond_dispatch(context, request, response, 201, id);
    }
}

void letter_dispatches_list(void *opaque, struct http_request *request,
                            struct http_response *response)
{
    struct api_context *context = opaque;
    const char *study_id = api_path_id(request, response, 0);
    struct study study;
    struct letter_dispatch *items = NULL;
    size_t count = 0;
    struct error error = {0};
    if (study_id == NULL) {
        return;
    }
    if (!study_get(context->store, request->arena, study_id, &study, &error) ||
        !letter_dispatch_list(context->store, request->arena, study_id, &items, &count, &error)) {
        api_fail(request, response, &error);
        return;
    }
    struct text body;
    text_init(&body, request->arena, LIMIT_BODY_BYTES);
    text_append(&body, "{\"items\":[");
    for (size_t i = 0; i < count; i++) {
        text_append(&body, i == 0 ? "" : ",");
        letter_parts_append_dispatch(&body, &items[i]);
    }
    text_append(&body, "]}");
    api_respond_json(request, response, 200, &body);
}

void letter_dispatches_get(void *opaque, struct http_request *request,
                           struct http_response *response)
{
    struct api_context *context = opaque;
    const char *id = api_path_id(request, response, 0);
    if (id != NULL) {
        respond_dispatch(context, request, response, 200, id);
    }
}

/* ---- the day's letters ---- */

static void filter_state(const struct api_context *context, const struct http_request *request,
                         struct letter_filter *filter, struct fault_list *faults)
{
    static const char *const states[] = {"to_write", "ready", "sent", NULL};
    const char *state = http_request_query(request, "state");
    for (size_t i = 0; state != NULL && states[i] != NULL; i++) {
        filter->state = strcmp(states[i], state) == 0 ? states[i] : filter->state;
    }
    if (state != NULL && filter->state == NULL) {
        json_reader_fault_word(faults, "?state", states);
    }
    if (reads_only_what_was_sent(context)) {
        filter->state = "sent";
    }
}

static void append_letter(struct text *out, const struct letter_row *row)
{
    text_append_char(out, '{');
    api_append_string(out, "study_id", row->study_id);
    text_append_char(out, ',');
    api_append_string(out, "patient_id", row->patient_id);
    text_append_char(out, ',');
    api_append_string(out, "patient_name", row->patient_name);
    text_append_char(out, ',');
    api_append_string(out, "patient_mrn", row->patient_mrn);
    text_append_char(out, ',');
    api_append_time(out, "started_at", row->started_at_us);
    text_append_char(out, ',');
    api_append_string(out, "status", row->status);
    text_append_char(out, ',');
    api_append_string(out, "state", row->state);
    text_append_char(out, ',');
    api_append_string(out, "addressee_name", row->addressee_name);
    text_append_char(out, ',');
    api_append_string(out, "referrer_id", row->referrer_id);
    text_append_char(out, ',');
    api_append_string(out, "language", row->language);
    text_append_char(out, ',');
    api_append_string(out, "way", row->way);
    if (row->sent_at_us != 0) {
        text_append_char(out, ',');
        api_append_time(out, "sent_at", row->sent_at_us);
        text_append_char(out, ',');
        api_append_string(out, "sent_by_name", row->sent_by_name);
    }
    text_append_char(out, '}');
}

void letters_list(void *opaque, struct http_request *request, struct http_response *response)
{
    struct api_context *context = opaque;
    struct fault_list faults;
    fault_list_init(&faults, request->arena);
    http_request_check_query(
        request, (const char *const[]){"limit", "cursor", "from", "to", "date", "state", NULL},
        &faults);
    struct store_page page = api_page(request, &faults);
    struct letter_filter filter = {0};
    api_query_span(request, &filter.from_us, &filter.to_us, &faults);
    filter_state(context, request, &filter, &faults);
    if (api_reject(request, response, &faults)) {
        return;
    }
    struct letter_row *rows = NULL;
    size_t count = 0;
    const char *next = NULL;
    struct error error = {0};
    if (!letter_list(context->store, request->arena, &filter, &page, &rows, &count, &next,
                     &error)) {
        api_fail_list(request, response, &error);
        return;
    }
    struct text items;
    text_init(&items, request->arena, LIMIT_BODY_BYTES);
    for (size_t i = 0; i < count; i++) {
        text_append(&items, i == 0 ? "" : ",");
        append_letter(&items, &rows[i]);
        api_audit_patient(context, rows[i].patient_id);
    }
    api_respond_list(request, response, &items, next);
}
