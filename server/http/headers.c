#include "http/headers.h"

#include "http/field.h"

#include <stdarg.h>
#include <stdio.h>
#include <string.h>
#include <strings.h>

enum { REQUEST_ID_MAX = 64, LENGTH_DIGITS_MAX = 18 };

static bool refuse(struct header_problem *problem, int status, const char *format, ...)
    PRINTF_LIKE(3, 4);

static bool refuse(struct header_problem *problem, int status, const char *format, ...)
{
    problem->status = status;
    va_list arguments;
    va_start(arguments, format);
    (void)vsnprintf(problem->detail, sizeof problem->detail, format, arguments);
    va_end(arguments);
    return false;
}

static size_t count_of(const struct header_table *headers, const char *name)
{
    size_t count = 0;
    for (size_t i = 0; i < headers->count; i++) {
        if (strcasecmp(headers->items[i].name, name) == 0) {
            count++;
        }
    }
    return count;
}

const char *headers_get(const struct header_table *headers, struct arena *arena, const char *name)
{
    const char *value = NULL;
    for (size_t i = 0; i < headers->count; i++) {
        const struct http_header *item = &headers->items[i];
        if (strcasecmp(item->name, name) != 0) {
            continue;
        }
        if (value == NULL) {
            value = item->value;
        } else {
            const char *separator = strcasecmp(name, "Cookie") == 0 ? "; " : ", ";
            value = arena_printf(arena, "%s%s%s", value, separator, item->value);
        }
    }
    return value;
}

void headers_remove(struct header_table *headers, const char *name)
{
    size_t kept = 0;
    for (size_t i = 0; i < headers->count; i++) {
        if (strcasecmp(headers->items[i].name, name) != 0) {
            headers->items[kept++] = headers->items[i];
        }
    }
    headers->count = kept;
}

bool headers_is_host(const char *value)
{
    static const char digits[] = "0123456789";
    static const char name[] = "ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789"
                               "-._~%!$&'()*+;=";
    size_t length = strspn(value, name);
    if (value[0] == '[') {
        length = 1 + strspn(value + 1, "0123456789ABCDEFabcdef:.");
        length += value[length] == ']' && length > 1 ? 1 : 0;
        if (value[length - 1] != ']') {
            return false;
        }
    }
    const char *port = value + length;
    return length > 0 &&
           (port[0] == '\0' || (port[0] == ':' && port[1 + strspn(port + 1, digits)] == '\0'));
}

static bool has_control_character(const char *value)
{
    for (; *value != '\0'; value++) {
        unsigned char byte = (unsigned char)*value;
        if ((byte < 0x20 && byte != '\t') || byte == 0x7F) {
            return true;
        }
    }
    return false;
}

static bool check_lines(const struct header_table *headers, struct header_problem *reterr)
{
    for (size_t i = 0; i < headers->count; i++) {
        const struct http_header *item = &headers->items[i];
        if (!slice_is_token((struct slice){item->name, strlen(item->name)})) {
            return refuse(reterr, 400,
                          "The name of a header field holds a character that no name may hold.");
        }
        if (has_control_character(item->value)) {
            return refuse(reterr, 400, "The value of a header field holds a control character.");
        }
    }
    return true;
}

static bool check_single(const struct header_table *headers, struct header_problem *reterr)
{
    static const char *const single[] = {"Host",         "Content-Length", "Transfer-Encoding",
                                         "Content-Type", "Authorization",  "Idempotency-Key"};
    for (size_t i = 0; i < sizeof single / sizeof single[0]; i++) {
        if (count_of(headers, single[i]) > 1) {
            return refuse(reterr, 400, "The header field %s is given more than once.", single[i]);
        }
    }
    return true;
}

static bool check_host(const struct header_table *headers, int minor, struct header_problem *reterr)
{
    const char *host = headers_get(headers, NULL, "Host");
    if (host == NULL) {
        return minor == 0 || refuse(reterr, 400, "The header field Host is missing.");
    }
    if (host[0] != '\0' && !headers_is_host(host)) {
        return refuse(reterr, 400, "The header field Host is malformed.");
    }
    return true;
}

static bool read_length(const char *text, uint64_t *ret_length)
{
    size_t digits = strspn(text, "0123456789");
    if (digits == 0 || digits > LENGTH_DIGITS_MAX || text[digits] != '\0') {
        return false;
    }
    uint64_t length = 0;
    for (size_t i = 0; i < digits; i++) {
        length = length * 10 + (uint64_t)(text[i] - '0');
    }
    *ret_length = length;
    return true;
}

/* Fields given more than once have been refused before, so one look-up says all. */
static bool check_body(const struct header_table *headers, int minor, struct framing *ret_framing,
                       struct header_problem *reterr)
{
    const char *coding = headers_get(headers, NULL, "Transfer-Encoding");
    const char *length = headers_get(headers, NULL, "Content-Length");
    *ret_framing = (struct framing){false, false, 0};
    if (coding != NULL) {
        if (length != NULL) {
            return refuse(reterr, 400, "Transfer-Encoding and Content-Length exclude each other.");
        }
        if (minor == 0 || strcasecmp(coding, "chunked") != 0) {
            return refuse(reterr, 400, "The only Transfer-Encoding is chunked, in HTTP/1.1.");
        }
        *ret_framing = (struct framing){true, true, 0};
        return true;
    }
    if (length == NULL) {
        return true;
    }
    if (!read_length(length, &ret_framing->length)) {
        return refuse(reterr, 400, "Content-Length is not a number of bytes.");
    }
    ret_framing->has_body = ret_framing->length > 0;
    return true;
}

bool headers_check(const struct header_table *headers, int minor, struct framing *ret_framing,
                   struct header_problem *reterr)
{
    return check_lines(headers, reterr) && check_single(headers, reterr) &&
           check_host(headers, minor, reterr) && check_body(headers, minor, ret_framing, reterr);
}

bool headers_is_request_id(const char *value)
{
    static const char allowed[] =
        "ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789._-";
    size_t length = strspn(value, allowed);
    return length > 0 && length <= REQUEST_ID_MAX && value[length] == '\0';
}
