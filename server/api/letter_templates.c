/* A clinic's templates of letters, what they may name, and its letterhead. */
#include "api/api.h"
#include "api/handlers.h"
#include "api/letter_load.h"
#include "api/letter_parts.h"
#include "letter/fields.h"

#include <string.h>

enum { ADDRESS_LINES_MAX = 8, NAME_MOST = 40 };

/* ---- fields ---- */

static const char *kind_name(enum letter_field_kind kind)
{
    switch (kind) {
    case LETTER_FIELD_TEXT:
        return "text";
    case LETTER_FIELD_LIST:
        return "list";
    case LETTER_FIELD_FLAG:
        return "condition";
    }
    return "";
}

void letter_fields_list(void *opaque, struct http_request *request, struct http_response *response)
{
    (void)opaque;
    struct text body;
    text_init(&body, request->arena, LIMIT_SMALL_BODY_BYTES);
    text_append(&body, "{\"items\":[");
    for (size_t i = 0; i < LETTER_FIELD_COUNT; i++) {
        text_append(&body, i == 0 ? "{" : ",{");
        api_append_string(&body, "name", LETTER_FIELDS[i].name);
        text_append_char(&body, ',');
        api_append_string(&body, "kind", kind_name(LETTER_FIELDS[i].kind));
        text_append_char(&body, ',');
        api_append_string(&body, "list", LETTER_FIELDS[i].list);
        text_append_char(&body, ',');
        api_append_string(&body, "meaning", LETTER_FIELDS[i].meaning);
        text_append_char(&body, '}');
    }
    text_append(&body, "]}");
    api_respond_json(request, response, 200, &body);
}

/* ---- templates ---- */

static void append_template(struct text *out, const struct letter_template_row *row)
{
    text_append_char(out, '{');
    api_append_string(out, "name", row->name);
    text_append_char(out, ',');
    api_append_string(out, "language", row->language);
    text_printf(out, ",\"version\":%d,\"in_use\":%s", row->version, row->in_use ? "true" : "false");
    if (row->version != 0) {
        text_append_char(out, ',');
        api_append_time(out, "created_at", row->created_at_us);
    }
    if (row->body != NULL) {
        text_append_char(out, ',');
        api_append_string(out, "body", row->body);
    }
    text_append_char(out, '}');
}

static bool has_row(const struct letter_template_row *rows, size_t count, const char *language)
{
    for (size_t i = 0; i < count; i++) {
        if (strcmp(rows[i].name, LETTER_STANDARD_TEMPLATE) == 0 &&
            strcmp(rows[i].language, language) == 0) {
            return true;
        }
    }
    return false;
}

void letter_templates_list(void *opaque, struct http_request *request,
                           struct http_response *response)
{
    struct api_context *context = opaque;
    struct letter_template_row *rows = NULL;
    size_t count = 0;
    struct error error = {0};
    if (!letter_template_list(context->store, request->arena, &rows, &count, &error)) {
        api_fail(request, response, &error);
        return;
    }
    struct text body;
    const char *separator = "";
    text_init(&body, request->arena, LIMIT_BODY_BYTES);
    text_append(&body, "{\"items\":[");
    for (size_t i = 0; LETTER_LANGUAGES[i] != NULL; i++) {
        struct letter_template_row standard = {
            .name = LETTER_STANDARD_TEMPLATE, .language = LETTER_LANGUAGES[i], .in_use = true};
        if (!has_row(rows, count, LETTER_LANGUAGES[i])) {
            text_append(&body, separator);
            append_template(&body, &standard);
            separator = ",";
        }
    }
    for (size_t i = 0; i < count; i++) {
        text_append(&body, separator);
        append_template(&body, &rows[i]);
        separator = ",";
    }
    text_append(&body, "]}");
    api_respond_json(request, response, 200, &body);
}

static bool is_name(const char *name)
{
    size_t length = strlen(name);
    return length >= 1 && length <= NAME_MOST && name[0] != '-' &&
           strspn(name, "abcdefghijklmnopqrstuvwxyz0123456789-") == length;
}

/* Name and language of the path; otherwise the answer is 404. */
static bool read_path(struct api_context *context, const struct http_request *request,
                      struct http_response *response)
{
    if (is_name(request->parameters[0]) && letter_language_is_known(request->parameters[1])) {
        api_audit_detail(context, arena_printf(request->arena, "%s/%s", request->parameters[0],
                                               request->parameters[1]));
        return true;
    }
    http_problem(request, response, 404,
                 "Templates have names of small letters, digits and hyphens, and are in one of the "
                 "languages that letters are written in.");
    return false;
}

static void respond_template(const struct http_request *request, struct http_response *response,
                             const struct letter_template_row *row)
{
    struct text body;
    text_init(&body, request->arena, LIMIT_SMALL_BODY_BYTES);
    append_template(&body, row);
    api_respond_row(request, response, 200, &body, row->version, NULL, NULL);
}

void letter_templates_get(void *opaque, struct http_request *request,
                          struct http_response *response)
{
    struct api_context *context = opaque;
    struct letter_template_row row;
    struct error error = {0};
    if (!read_path(context, request, response)) {
        return;
    }
    if (!letter_load_template(context->store, request->arena, request->parameters[0],
                              request->parameters[1], &row, &error)) {
        api_fail(request, response, &error);
        return;
    }
    respond_template(request, response, &row);
}

/* The member `body`, a template without faults; otherwise each fault with its line and column. */
static const char *read_body(struct json_reader *reader)
{
    const char *body =
        json_reader_string(reader, "body", JSON_REQUIRED, 2 * (size_t)TEMPLATE_BYTES_MAX);
    struct template_faults faults;
    if (body != NULL && !template_check(reader->faults->arena, body, &faults)) {
        for (size_t i = 0; i < faults.count; i++) {
            fault_add(reader->faults, json_reader_pointer(reader, "body"), "Line %d, column %d: %s",
                      faults.items[i].line, faults.items[i].column, faults.items[i].detail);
        }
    }
    return body;
}

/* The newest version, 0 where there is none yet. */
static bool load_version(struct api_context *context, const struct http_request *request,
                         int *ret_version, struct error *reterr)
{
    struct letter_template_row stored;
    *ret_version = 0;
    if (letter_template_get(context->store, request->arena, request->parameters[0],
                            request->parameters[1], &stored, reterr)) {
        *ret_version = stored.version;
        return true;
    }
    return reterr->kind == ERROR_NOT_FOUND;
}

void letter_templates_put(void *opaque, struct http_request *request,
                          struct http_response *response)
{
    struct api_context *context = opaque;
    struct json_reader reader;
    struct fault_list faults;
    struct error error = {0};
    struct letter_template_row row = {0};
    if (!read_path(context, request, response) ||
        !api_read_object(request, response, &reader, &faults)) {
        return;
    }
    row.name = request->parameters[0];
    row.language = request->parameters[1];
    row.body = read_body(&reader);
    row.in_use = json_reader_answer(&reader, "in_use", JSON_OPTIONAL) != ANSWER_NO;
    json_reader_close(&reader);
    if (api_reject(request, response, &faults)) {
        return;
    }
    if (!load_version(context, request, &row.version, &error)) {
        api_fail(request, response, &error);
        return;
    }
    if (!api_matches(request, response, row.version)) {
        return;
    }
    if (!letter_template_add(context->store, &row, &error) ||
        !letter_template_get(context->store, request->arena, request->parameters[0],
                             request->parameters[1], &row, &error)) {
        api_fail(request, response, &error);
        return;
    }
    respond_template(request, response, &row);
}

void letter_templates_preview(void *opaque, struct http_request *request,
                              struct http_response *response)
{
    struct api_context *context = opaque;
    struct json_reader reader;
    struct fault_list faults;
    struct error error = {0};
    if (!api_read_object(request, response, &reader, &faults)) {
        return;
    }
    const char *language = json_reader_word(&reader, "language", JSON_REQUIRED, LETTER_LANGUAGES);
    const char *body = read_body(&reader);
    json_reader_close(&reader);
    if (api_reject(request, response, &faults)) {
        return;
    }
    struct letter_content content;
    struct letterhead letterhead;
    struct document *document = NULL;
    letter_example(language, &content);
    if (!letter_load_letterhead(context, request->arena, &letterhead, &error)) {
        api_fail(request, response, &error);
        return;
    }
    content.clinic_name = letterhead.name;
    content.clinic_telephone = letterhead.telephone;
    content.clinic_address = letter_list_read(request->arena, letterhead.address);
    if (!letter_make(request->arena, body, &content, content.signed_at_us, &document, &error)) {
        if (error.kind == ERROR_INVALID) {
            fault_add(&faults, "/body", "The letter outgrows what a template may make.");
            http_problem_faults(request, response, 422, &faults);
        } else {
            api_fail(request, response, &error);
        }
        return;
    }
    letter_parts_respond(request, response, document);
}

/* ---- letterhead ---- */

static void respond_letterhead(const struct http_request *request, struct http_response *response,
                               const struct letterhead *letterhead)
{
    struct text body;
    text_init(&body, request->arena, LIMIT_SMALL_BODY_BYTES);
    text_printf(&body, "{\"version\":%d,", letterhead->version);
    api_append_string(&body, "name", letterhead->name);
    text_printf(&body, ",\"address\":%s,", letterhead->address);
    api_append_string(&body, "telephone", letterhead->telephone);
    text_append_char(&body, ',');
    api_append_string(&body, "language", letterhead->language);
    text_append_char(&body, '}');
    api_respond_row(request, response, 200, &body, letterhead->version, NULL, NULL);
}

void letterhead_get(void *opaque, struct http_request *request, struct http_response *response)
{
    struct api_context *context = opaque;
    struct letterhead letterhead;
    struct error error = {0};
    if (!letter_load_letterhead(context, request->arena, &letterhead, &error)) {
        api_fail(request, response, &error);
        return;
    }
    respond_letterhead(request, response, &letterhead);
}

void letterhead_put(void *opaque, struct http_request *request, struct http_response *response)
{
    struct api_context *context = opaque;
    struct json_reader reader;
    struct fault_list faults;
    struct letterhead stored;
    struct error error = {0};
    if (!api_read_object(request, response, &reader, &faults)) {
        return;
    }
    if (!letter_load_letterhead(context, request->arena, &stored, &error)) {
        api_fail(request, response, &error);
        return;
    }
    struct letterhead letterhead = {.version = stored.version};
    letterhead.name = letter_parts_read_line(&reader, "name", JSON_REQUIRED);
    letterhead.address = letter_parts_read_lines(&reader, "address", ADDRESS_LINES_MAX);
    letterhead.telephone = letter_parts_read_line(&reader, "telephone", JSON_OPTIONAL);
    letterhead.language = json_reader_word(&reader, "language", JSON_REQUIRED, LETTER_LANGUAGES);
    json_reader_close(&reader);
    if (api_reject(request, response, &faults) || !api_matches(request, response, stored.version)) {
        return;
    }
    if (!letterhead_replace(context->store, &letterhead, &error)) {
        api_fail(request, response, &error);
        return;
    }
    letterhead.version++;
    respond_letterhead(request, response, &letterhead);
}
