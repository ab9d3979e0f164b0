#include "http/exchange.h"

#include <string.h>

struct exchange *exchange_of(const struct http_request *request)
{
    return request->transport;
}

const char *http_request_header(const struct http_request *request, const char *name)
{
    const struct exchange *exchange = exchange_of(request);
    return exchange == NULL ? NULL : headers_get(&exchange->headers, request->arena, name);
}

const char *http_request_query(const struct http_request *request, const char *name)
{
    const struct exchange *exchange = exchange_of(request);
    if (exchange == NULL) {
        return NULL;
    }
    for (size_t i = 0; i < exchange->target.query_count; i++) {
        if (strcmp(exchange->target.query[i].name, name) == 0) {
            return exchange->target.query[i].value;
        }
    }
    return NULL;
}

static bool is_known(const char *name, const char *const known[])
{
    for (size_t i = 0; known[i] != NULL; i++) {
        if (strcmp(known[i], name) == 0) {
            return true;
        }
    }
    return false;
}

static bool came_before(const struct target *target, size_t index)
{
    for (size_t i = 0; i < index; i++) {
        if (strcmp(target->query[i].name, target->query[index].name) == 0) {
            return true;
        }
    }
    return false;
}

void http_request_check_query(const struct http_request *request, const char *const known[],
                              struct fault_list *faults)
{
    const struct exchange *exchange = exchange_of(request);
    if (exchange == NULL) {
        return;
    }
    for (size_t i = 0; i < exchange->target.query_count; i++) {
        const char *name = exchange->target.query[i].name;
        const char *pointer = arena_printf(request->arena, "?%s", name);
        if (!is_known(name, known)) {
            fault_add(faults, pointer, "This query parameter is not known here.");
        } else if (came_before(&exchange->target, i)) {
            fault_add(faults, pointer, "This query parameter is given more than once.");
        }
    }
}

/* RFC 6265 section 4.2.1: pairs separated by "; ". */
const char *http_request_cookie(const struct http_request *request, const char *name)
{
    const char *field = http_request_header(request, "Cookie");
    size_t name_length = strlen(name);
    while (field != NULL && *field != '\0') {
        field += strspn(field, "; \t");
        size_t length = strcspn(field, ";");
        if (length > name_length && field[name_length] == '=' &&
            memcmp(field, name, name_length) == 0) {
            return arena_strndup(request->arena, field + name_length + 1, length - name_length - 1);
        }
        field += length;
    }
    return NULL;
}
