#include "http/http.h"

#include "base/log.h"

#include <strings.h>

void http_response_header(struct http_response *response, const char *name, const char *value)
{
    if (response->header_count == HTTP_RESPONSE_HEADERS_MAX) {
        log_message(LOG_LEVEL_ERROR, "too_many_headers", "%s left out", name);
        return;
    }
    response->headers[response->header_count++] = (struct http_header){name, value};
}

const char *http_response_field(const struct http_response *response, const char *name)
{
    for (size_t i = 0; i < response->header_count; i++) {
        if (strcasecmp(response->headers[i].name, name) == 0) {
            return response->headers[i].value;
        }
    }
    return NULL;
}

void http_respond(struct http_response *response, int status, const char *media_type,
                  const void *body, size_t body_length)
{
    response->status = status;
    response->media_type = media_type;
    response->body = body;
    response->body_length = body_length;
    response->again_at_s = 0;
}

struct status_title {
    int status;
    const char *title;
};

/* The registry's phrases for what this server answers (RFC 9110 section 15, RFC 6585). */
static const struct status_title titles[] = {
    {200, "OK"},
    {201, "Created"},
    {202, "Accepted"},
    {204, "No Content"},
    {206, "Partial Content"},
    {301, "Moved Permanently"},
    {302, "Found"},
    {303, "See Other"},
    {304, "Not Modified"},
    {307, "Temporary Redirect"},
    {308, "Permanent Redirect"},
    {400, "Bad Request"},
    {401, "Unauthorized"},
    {403, "Forbidden"},
    {404, "Not Found"},
    {405, "Method Not Allowed"},
    {406, "Not Acceptable"},
    {408, "Request Timeout"},
    {409, "Conflict"},
    {410, "Gone"},
    {411, "Length Required"},
    {412, "Precondition Failed"},
    {413, "Content Too Large"},
    {414, "URI Too Long"},
    {415, "Unsupported Media Type"},
    {416, "Range Not Satisfiable"},
    {417, "Expectation Failed"},
    {422, "Unprocessable Content"},
    {428, "Precondition Required"},
    {429, "Too Many Requests"},
    {431, "Request Header Fields Too Large"},
    {500, "Internal Server Error"},
    {501, "Not Implemented"},
    {502, "Bad Gateway"},
    {503, "Service Unavailable"},
    {504, "Gateway Timeout"},
};

const char *http_status_title(int status)
{
    for (size_t i = 0; i < sizeof titles / sizeof titles[0]; i++) {
        if (titles[i].status == status) {
            return titles[i].title;
        }
    }
    return "Unknown";
}

bool http_answers_later(const struct http_response *response)
{
    return response->again_at_s > 0;
}
