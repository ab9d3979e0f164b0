#include "api/letter_parts.h"

#include <string.h>

enum { HTML_LIMIT = 4 * 1024 * 1024 };

const char *const LETTER_WAYS[] = {"printed", "handed_over", "post", "portal", NULL};

void letter_parts_respond(const struct http_request *request, struct http_response *response,
                          const struct document *document)
{
    struct text body;
    struct error error = {0};
    const unsigned char *bytes = NULL;
    size_t length = 0;
    text_init(&body, request->arena, HTML_LIMIT);
    if (strcmp(request->accepted, "application/pdf") == 0) {
        if (!document_write_pdf(document, request->arena, &bytes, &length, &error)) {
            api_fail(request, response, &error);
            return;
        }
        http_respond(response, 200, "application/pdf", bytes, length);
    } else if (strcmp(request->accepted, "text/plain") == 0) {
        document_write_text(document, &body);
        api_respond_text(request, response, 200, "text/plain; charset=utf-8", &body);
    } else {
        document_write_html(document, &body);
        api_respond_text(request, response, 200, "text/html; charset=utf-8", &body);
    }
    if (response->status == 200) {
        api_set_content_etag(request, response);
    }
}

void letter_parts_respond_stored(const struct http_request *request, struct http_response *response,
                                 const struct stored_letter *letter)
{
    if (strcmp(request->accepted, "application/pdf") == 0) {
        http_respond(response, 200, "application/pdf", letter->pdf, letter->pdf_length);
    } else if (strcmp(request->accepted, "text/plain") == 0) {
        http_respond(response, 200, "text/plain; charset=utf-8", letter->plain,
                     strlen(letter->plain));
    } else {
        http_respond(response, 200, "text/html; charset=utf-8", letter->html, strlen(letter->html));
    }
    api_set_content_etag(request, response);
}

static bool has_line_break(const char *words)
{
    return strpbrk(words, "\n\t") != NULL;
}

const char *letter_parts_read_line(struct json_reader *reader, const char *member,
                                   enum json_presence presence)
{
    const char *words = json_reader_string(reader, member, presence, LIMIT_NAME_BYTES);
    if (words != NULL && has_line_break(words)) {
        fault_add(reader->faults, json_reader_pointer(reader, member), "Must be one line.");
    }
    return words == NULL ? "" : words;
}

/* Why an item is no line, or NULL. */
static const char *line_fault(const char *words)
{
    if (words == NULL) {
        return "Must be a string.";
    }
    if (strlen(words) > LIMIT_NAME_BYTES) {
        return "Is too long.";
    }
    if (has_line_break(words) || json_reader_has_control_character(words)) {
        return "Must be one line, without control characters.";
    }
    return words[strspn(words, " ")] == '\0' ? "Must not be blank." : NULL;
}

const char *letter_parts_read_lines(struct json_reader *reader, const char *member, size_t most)
{
    struct arena *arena = reader->faults->arena;
    const json_t *value = json_reader_take(reader, member, JSON_OPTIONAL);
    struct text lines;
    if (value == NULL) {
        return "[]";
    }
    if (!json_is_array(value) || json_array_size(value) > most) {
        fault_add(reader->faults, json_reader_pointer(reader, member),
                  "Must be an array of at most %zu lines.", most);
        return "[]";
    }
    text_init(&lines, arena, LIMIT_SMALL_BODY_BYTES);
    text_append_char(&lines, '[');
    for (size_t i = 0; i < json_array_size(value); i++) {
        const char *words = json_string_value(json_array_get(value, i));
        const char *fault = line_fault(words);
        if (fault != NULL) {
            fault_add(reader->faults,
                      fault_pointer_index(arena, json_reader_pointer(reader, member), i), "%s",
                      fault);
            continue;
        }
        text_append(&lines, lines.length > 1 ? "," : "");
        text_append_json_string(&lines, words);
    }
    text_append_char(&lines, ']');
    return lines.data;
}

void letter_parts_append_dispatch(struct text *out, const struct letter_dispatch *dispatch)
{
    text_append_char(out, '{');
    api_append_string(out, "id", dispatch->id);
    text_append_char(out, ',');
    api_append_string(out, "study_id", dispatch->study_id);
    text_printf(out, ",\"signature_number\":%d,", dispatch->signature_number);
    api_append_string(out, "way", dispatch->way);
    text_append_char(out, ',');
    api_append_string(out, "recipient", dispatch->recipient);
    text_printf(out, ",\"repetition\":%d,", dispatch->repetition);
    api_append_string(out, "template", dispatch->template_name);
    text_append_char(out, ',');
    api_append_string(out, "language", dispatch->language);
    text_printf(out, ",\"template_version\":%d,", dispatch->template_version);
    api_append_time(out, "sent_at", dispatch->sent_at_us);
    text_append(out, ",\"sent_by\":{");
    api_append_string(out, "id", dispatch->sent_by);
    text_append_char(out, ',');
    api_append_string(out, "name", dispatch->sent_by_name);
    text_append(out, "},");
    api_append_string(out, "batch_id", dispatch->batch_id);
    text_append_char(out, ',');
    api_append_string(out, "sha256", dispatch->sha256);
    text_append_char(out, '}');
}
