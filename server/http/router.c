#include "http/router.h"

#include "base/text.h"

#include <string.h>

static const char *const method_names[HTTP_METHOD_COUNT] = {"GET",   "HEAD",   "POST",   "PUT",
                                                            "PATCH", "DELETE", "OPTIONS"};

static bool is_parameter(const char *pattern)
{
    return *pattern == '{';
}

/* Matches segment by segment; *ret_literals has the bit of each literal segment set, the first
 * segment's the highest. */
static bool matches(const char *pattern, const struct target *target,
                    const char *parameters[HTTP_PATH_PARAMETERS_MAX], unsigned *ret_literals)
{
    size_t parameter_count = 0;
    unsigned literals = 0;
    for (size_t i = 0; i < target->segment_count; i++) {
        if (*pattern != '/') {
            return false;
        }
        pattern++;
        size_t length = strcspn(pattern, "/");
        const char *segment = target->segments[i];
        if (is_parameter(pattern)) {
            if (*segment == '\0') {
                return false;
            }
            parameters[parameter_count++] = segment;
        } else if (strlen(segment) != length || memcmp(segment, pattern, length) != 0) {
            return false;
        } else {
            literals |= 1U << (TARGET_SEGMENTS_MAX - i);
        }
        pattern += length;
    }
    *ret_literals = literals;
    return *pattern == '\0';
}

bool router_hides_path(const struct http_route *routes, size_t count, const struct target *target)
{
    for (size_t i = 0; i < count && target->segment_count > 0; i++) {
        const char *first = routes[i].pattern + 1;
        size_t length = strcspn(first, "/");
        if ((routes[i].flags & HTTP_ROUTE_SECRET_PATH) != 0 &&
            strlen(target->segments[0]) == length &&
            memcmp(target->segments[0], first, length) == 0) {
            return true;
        }
    }
    return false;
}

void router_find(const struct http_route *routes, size_t count, enum http_method method,
                 const struct target *target, struct route_match *ret_match)
{
    memset(ret_match, 0, sizeof *ret_match);
    if (target->segment_count == 0 || target->segment_count > TARGET_SEGMENTS_MAX) {
        return;
    }
    enum http_method wanted = method == HTTP_HEAD ? HTTP_GET : method;
    unsigned best = 0;
    for (size_t i = 0; i < count; i++) {
        const char *parameters[HTTP_PATH_PARAMETERS_MAX] = {NULL};
        unsigned literals = 0;
        if (!matches(routes[i].pattern, target, parameters, &literals)) {
            continue;
        }
        ret_match->methods |= 1U << routes[i].method;
        if (routes[i].method == wanted && (ret_match->route == NULL || literals > best)) {
            ret_match->route = &routes[i];
            memcpy(ret_match->parameters, parameters, sizeof parameters);
            best = literals;
        }
    }
}

bool router_method(const char *name, enum http_method *ret_method)
{
    for (unsigned method = 0; method < HTTP_METHOD_COUNT; method++) {
        if (strcmp(name, method_names[method]) == 0) {
            *ret_method = (enum http_method)method;
            return true;
        }
    }
    return false;
}

const char *router_method_name(enum http_method method)
{
    return method_names[method];
}

const char *router_allow(struct arena *arena, unsigned methods)
{
    unsigned all = methods | 1U << HTTP_OPTIONS;
    if ((all & 1U << HTTP_GET) != 0) {
        all |= 1U << HTTP_HEAD;
    }
    struct text text;
    text_init(&text, arena, 128);
    for (unsigned method = 0; method < HTTP_METHOD_COUNT; method++) {
        if ((all & 1U << method) != 0) {
            text_append(&text, text.length == 0 ? "" : ", ");
            text_append(&text, method_names[method]);
        }
    }
    return text.data;
}

static size_t count_characters(const char *text, char wanted)
{
    size_t count = 0;
    for (; *text != '\0'; text++) {
        count += *text == wanted ? 1 : 0;
    }
    return count;
}

bool router_check(const struct http_route *routes, size_t count, struct error *reterr)
{
    for (size_t i = 0; i < count; i++) {
        const struct http_route *route = &routes[i];
        if (route->pattern == NULL || route->pattern[0] != '/' ||
            count_characters(route->pattern, '{') > HTTP_PATH_PARAMETERS_MAX ||
            count_characters(route->pattern, '/') > TARGET_SEGMENTS_MAX) {
            return error_set(reterr, ERROR_INTERNAL, "row %zu: the pattern cannot be served", i);
        }
        if (route->method == HTTP_HEAD || route->method == HTTP_OPTIONS) {
            return error_set(reterr, ERROR_INTERNAL, "%s: HEAD and OPTIONS are answered already",
                             route->pattern);
        }
        /* Bodies are decoded and parsed by workers. */
        if ((route->flags & HTTP_ROUTE_INLINE) != 0 && route->body_limit > 0) {
            return error_set(reterr, ERROR_INTERNAL, "%s: an inline route takes no body",
                             route->pattern);
        }
    }
    return true;
}
