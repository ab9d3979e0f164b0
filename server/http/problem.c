#include "http/exchange.h"

#include "base/text.h"

#include <stdarg.h>
#include <stdio.h>

enum { PROBLEM_LIMIT = 256 * 1024 };

/* Everything but the closing brace. With `type` NULL it is about:blank: the status says what kind
 * of problem it is (RFC 9457 section 4.2.1). */
static void begin(struct text *text, const struct http_request *request, int status,
                  const char *type, const char *detail)
{
    const struct exchange *exchange = exchange_of(request);
    const char *instance = exchange == NULL ? request->path : exchange->target.raw_path;
    if (exchange != NULL && exchange->hides_path) {
        instance = NULL;
    }
    text_append(text, "{\"type\":");
    text_append_json_string(
        text, type == NULL ? "about:blank" : arena_printf(request->arena, "/problems/%s", type));
    text_append(text, ",\"title\":");
    text_append_json_string(text, http_status_title(status));
    text_printf(text, ",\"status\":%d,\"detail\":", status);
    text_append_json_string(text, detail);
    if (instance != NULL) {
        text_append(text, ",\"instance\":");
        text_append_json_string(text, instance);
    }
}

static void finish(struct text *text, struct http_response *response, int status)
{
    text_append_char(text, '}');
    http_respond(response, status, "application/problem+json", text->data, text->length);
    response->etag = NULL;
    response->cacheable = false;
    response->shared_static = false;
    if (text->overflowed) {
        http_respond(response, status, NULL, NULL, 0);
    }
}

void http_problem(const struct http_request *request, struct http_response *response, int status,
                  const char *format, ...)
{
    va_list arguments;
    va_start(arguments, format);
    int length = vsnprintf(NULL, 0, format, arguments);
    va_end(arguments);
    size_t size = length < 0 ? 1 : (size_t)length + 1;
    char *detail = arena_alloc(request->arena, size);
    va_start(arguments, format);
    (void)vsnprintf(detail, size, format, arguments);
    va_end(arguments);
    struct text text;
    text_init(&text, request->arena, PROBLEM_LIMIT);
    begin(&text, request, status, NULL, detail);
    finish(&text, response, status);
}

void http_problem_of_type(const struct http_request *request, struct http_response *response,
                          int status, const char *type, const char *detail)
{
    struct text text;
    text_init(&text, request->arena, PROBLEM_LIMIT);
    begin(&text, request, status, type, detail);
    finish(&text, response, status);
}

void http_problem_faults(const struct http_request *request, struct http_response *response,
                         int status, const struct fault_list *faults)
{
    size_t all = faults->count + faults->dropped;
    struct text text;
    text_init(&text, request->arena, PROBLEM_LIMIT);
    begin(&text, request, status, NULL,
          arena_printf(request->arena, "The input has %zu fault%s.", all, all == 1 ? "" : "s"));
    text_append(&text, ",\"errors\":[");
    for (size_t i = 0; i < faults->count; i++) {
        text_append(&text, i == 0 ? "{\"pointer\":" : ",{\"pointer\":");
        text_append_json_string(&text, faults->items[i].pointer);
        text_append(&text, ",\"detail\":");
        text_append_json_string(&text, faults->items[i].detail);
        text_append_char(&text, '}');
    }
    text_append_char(&text, ']');
    finish(&text, response, status);
}
