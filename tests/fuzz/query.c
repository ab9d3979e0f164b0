/* What stands in a URL, under libFuzzer: target, route, query parameters, cursor of a list. The
 * first byte says which: 'T' a target as it was sent; 'M' a target that is made of parts and has to
 * give them back; 'C' a cursor as it was sent; 'K' one that is made. Each reading is compared with
 * a plain one of its own. */
#include "promise.h"

#include "api/api.h"
#include "api/routes.h"
#include "base/utf8.h"
#include "http/exchange.h"
#include "http/router.h"
#include "store/cursor.h"

#include <ctype.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <strings.h>

enum { PARTS_MAX = 8, LIST_LETTER = 'p' };

/* ---- a plain reading ---- */

/* Decodes one part; false where an escape is malformed or stands for what no text may hold. */
static bool plain_decode(struct arena *arena, const char *raw, size_t length, bool query,
                         const char **ret_text)
{
    char *text = arena_alloc(arena, length + 1);
    size_t end = 0;
    for (size_t i = 0; i < length; i++) {
        unsigned byte = (unsigned char)raw[i];
        if (byte == '+' && query) {
            byte = ' ';
        } else if (byte == '%') {
            char digits[3] = "";
            if (length - i < 3 || !isxdigit((unsigned char)raw[i + 1]) ||
                !isxdigit((unsigned char)raw[i + 2])) {
                return false;
            }
            memcpy(digits, raw + i + 1, 2);
            byte = (unsigned)strtoul(digits, NULL, 16);
            i += 2;
        }
        if (byte < 0x20 || byte == 0x7f) {
            return false;
        }
        text[end++] = (char)byte;
    }
    *ret_text = text;
    return utf8_is_valid(text, end);
}

static bool plain_path(struct arena *arena, const char *raw, size_t length, struct target *plain)
{
    const char *end = raw + length;
    for (const char *at = raw; at < end;) {
        const char *start = at + 1; /* behind a slash */
        const char *slash = memchr(start, '/', (size_t)(end - start));
        const char *stop = slash == NULL ? end : slash;
        const char *text = NULL;
        if (plain->segment_count == TARGET_SEGMENTS_MAX) {
            plain->segment_count++;
            break;
        }
        if (!plain_decode(arena, start, (size_t)(stop - start), false, &text) ||
            strcmp(text, ".") == 0 || strcmp(text, "..") == 0) {
            return false;
        }
        plain->segments[plain->segment_count++] = text;
        at = stop;
    }
    return plain_decode(arena, raw, length, false, &plain->path);
}

static bool plain_query(struct arena *arena, const char *raw, struct target *plain)
{
    char *copy = arena_strdup(arena, raw);
    char *rest = NULL;
    for (char *pair = strtok_r(copy, "&", &rest); pair != NULL; pair = strtok_r(NULL, "&", &rest)) {
        if (plain->query_count == TARGET_QUERY_MAX) {
            return false;
        }
        struct query_parameter *parameter = &plain->query[plain->query_count++];
        const char *equals = strchr(pair, '=');
        size_t name = equals == NULL ? strlen(pair) : (size_t)(equals - pair);
        const char *value = equals == NULL ? "" : equals + 1;
        if (!plain_decode(arena, pair, name, true, &parameter->name) ||
            !plain_decode(arena, value, strlen(value), true, &parameter->value)) {
            return false;
        }
    }
    return true;
}

/* Where the path begins, or NULL. */
static const char *plain_start(const char *raw)
{
    const char *scheme = strncasecmp(raw, "https:", 6) == 0  ? raw + 6
                         : strncasecmp(raw, "http:", 5) == 0 ? raw + 5
                                                             : NULL;
    if (raw[0] == '/') {
        return raw;
    }
    if (scheme == NULL || strncmp(scheme, "//", 2) != 0 || strchr("/?", scheme[2]) != NULL) {
        return NULL;
    }
    return scheme + 2 + strcspn(scheme + 2, "/?");
}

static bool plain_target(struct arena *arena, const char *raw, struct target *plain)
{
    const char *start = plain_start(raw);
    for (const char *at = raw; *at != '\0'; at++) {
        if (!isgraph((unsigned char)*at) || *at == '#' || *at == '\\') {
            return false;
        }
    }
    if (start == NULL) {
        return false;
    }
    const char *mark = strchr(start, '?');
    size_t length = mark == NULL ? strlen(start) : (size_t)(mark - start);
    return plain_path(arena, length == 0 ? "/" : start, length == 0 ? 1 : length, plain) &&
           plain_query(arena, mark == NULL ? "" : mark + 1, plain);
}

static void promise_same(const struct target *target, const struct target *plain)
{
    promise(strcmp(target->path, plain->path) == 0, "path");
    promise(target->segment_count == plain->segment_count, "number of segments");
    for (size_t i = 0; i < target->segment_count && i < TARGET_SEGMENTS_MAX; i++) {
        promise(strcmp(target->segments[i], plain->segments[i]) == 0, "segment");
    }
    promise(target->query_count == plain->query_count, "number of parameters");
    for (size_t i = 0; i < target->query_count; i++) {
        promise(strcmp(target->query[i].name, plain->query[i].name) == 0, "name of a parameter");
        promise(strcmp(target->query[i].value, plain->query[i].value) == 0, "value of a parameter");
    }
}

/* ---- routes ---- */

/* 'b' for each literal segment and 'a' for each that a brace matched: of several routes the one
 * whose shape is last in the alphabet has its literals earliest. False when it does not match. */
static bool plain_match(const char *pattern, const struct target *target, char *shape)
{
    for (size_t i = 0; i < target->segment_count; i++) {
        size_t length = pattern[0] == '/' ? strcspn(pattern + 1, "/") : 0;
        bool brace = length > 0 && pattern[1] == '{';
        const char *segment = target->segments[i];
        bool same = pattern[0] == '/' && strlen(segment) == length &&
                    memcmp(segment, pattern + 1, length) == 0;
        if (brace ? segment[0] == '\0' : !same) {
            return false;
        }
        *shape++ = brace ? 'a' : 'b';
        pattern += 1 + length;
    }
    *shape = '\0';
    return *pattern == '\0';
}

static const struct http_route *plain_route(const struct http_route *routes, size_t count,
                                            enum http_method method, const struct target *target,
                                            unsigned *ret_methods)
{
    const struct http_route *best = NULL;
    char best_shape[TARGET_SEGMENTS_MAX + 1] = "";
    *ret_methods = 0;
    if (target->segment_count == 0 || target->segment_count > TARGET_SEGMENTS_MAX) {
        return NULL;
    }
    for (size_t i = 0; i < count; i++) {
        char shape[TARGET_SEGMENTS_MAX + 1] = "";
        if (!plain_match(routes[i].pattern, target, shape)) {
            continue;
        }
        *ret_methods |= 1U << routes[i].method;
        if (routes[i].method == method && (best == NULL || strcmp(shape, best_shape) > 0)) {
            best = &routes[i];
            memcpy(best_shape, shape, sizeof shape);
        }
    }
    return best;
}

static void check_parameters(const struct route_match *match, const struct target *target)
{
    const char *pattern = match->route->pattern;
    size_t count = 0;
    for (size_t i = 0; i < target->segment_count; i++) {
        if (pattern[1] == '{') {
            promise(match->parameters[count++] == target->segments[i], "value of a brace");
        }
        pattern += 1 + strcspn(pattern + 1, "/");
    }
    for (; count < HTTP_PATH_PARAMETERS_MAX; count++) {
        promise(match->parameters[count] == NULL, "no value without a brace");
    }
}

static void check_routes(const struct target *target)
{
    size_t count = 0;
    const struct http_route *routes = routes_table(&count);
    for (unsigned method = 0; method < HTTP_METHOD_COUNT; method++) {
        struct route_match match;
        unsigned methods = 0;
        enum http_method wanted = method == HTTP_HEAD ? HTTP_GET : (enum http_method)method;
        router_find(routes, count, (enum http_method)method, target, &match);
        const struct http_route *plain = plain_route(routes, count, wanted, target, &methods);
        promise(match.route == plain && match.methods == methods, "route");
        if (match.route != NULL) {
            check_parameters(&match, target);
        }
    }
}

/* ---- parameters as handlers ask for them ---- */

static void check_typed(const struct http_request *request, const char *name, const char *value)
{
    struct fault_list faults;
    fault_list_init(&faults, request->arena);
    int whole = api_query_integer(request, name, -7, 5000, 77, &faults);
    promise(whole >= -7 && whole <= 5000, "a whole number in its range");
    char *end = NULL;
    long plain = strtol(value, &end, 10);
    promise(faults.count > 0 || (*end == '\0' && plain == whole),
            "a whole number as strtol() has it");
    fault_list_init(&faults, request->arena);
    struct optional_number number = api_query_number(request, name, &faults);
    promise(number.known == (faults.count == 0), "a number or a fault");
    promise(!number.known || isfinite(number.value), "a finite number");
    fault_list_init(&faults, request->arena);
    bool flag = api_query_flag(request, name, &faults);
    promise(flag == (strcmp(value, "true") == 0), "a flag");
    promise((faults.count == 0) == (flag || strcmp(value, "false") == 0), "a fault of a flag");
}

static void check_page(const struct http_request *request)
{
    struct fault_list faults;
    fault_list_init(&faults, request->arena);
    struct store_page page = api_page(request, &faults);
    promise(page.limit >= 1 && page.limit <= API_PAGE_MAX, "size of a page");
    promise(page.cursor == NULL || strlen(page.cursor) <= API_CURSOR_LIMIT, "length of a cursor");
}

static void check_query(struct arena *arena, const struct target *target)
{
    struct exchange *exchange = arena_alloc(arena, sizeof *exchange);
    exchange->target = *target;
    const struct http_request request = {.arena = arena, .transport = exchange};
    const char *const known[] = {"limit", "cursor", "name", NULL};
    size_t unknown = 0;
    for (size_t i = 0; i < target->query_count; i++) {
        const char *name = target->query[i].name;
        size_t first = 0;
        while (strcmp(target->query[first].name, name) != 0) {
            first++;
        }
        promise(http_request_query(&request, name) == target->query[first].value,
                "the first value");
        check_typed(&request, name, target->query[first].value);
        bool is_known =
            strcmp(name, "limit") == 0 || strcmp(name, "cursor") == 0 || strcmp(name, "name") == 0;
        unknown += !is_known || first < i ? 1 : 0;
    }
    struct fault_list faults;
    fault_list_init(&faults, arena);
    http_request_check_query(&request, known, &faults);
    promise(faults.count + faults.dropped == unknown, "a fault for each unknown or repeated one");
    check_page(&request);
}

/* A path that a person is sent back to after signing in comes back as it was. */
static void check_return(struct arena *arena, const char *path)
{
    struct text text;
    struct target again;
    const char *problem = NULL;
    text_init(&text, arena, LIMIT_SMALL_BODY_BYTES);
    text_append(&text, "/sign-in?next=");
    api_append_query_value(&text, path);
    promise(target_parse(arena, text.data, &again, &problem), "what we write can be read");
    promise(again.query_count == 1 && strcmp(again.query[0].value, path) == 0, "the path again");
}

static void check_target(struct arena *arena, const char *raw)
{
    struct target target;
    const char *problem = NULL;
    struct target plain = {.segment_count = 0};
    bool good = target_parse(arena, raw, &target, &problem);
    if (strcmp(raw, "*") == 0) {
        promise(good && target.asterisk && target.segment_count == 0, "asterisk");
        return;
    }
    promise(good == plain_target(arena, raw, &plain), "accepted as a plain reading does");
    promise(good == (problem == NULL), "a sentence when refused");
    if (!good) {
        return;
    }
    promise_same(&target, &plain);
    check_routes(&target);
    check_query(arena, &target);
    check_return(arena, target.path);
}

/* ---- made of parts ---- */

static void append_escaped(struct text *text, const char *part)
{
    for (; *part != '\0'; part++) {
        if (isalnum((unsigned char)*part)) {
            text_append_char(text, *part);
        } else {
            text_printf(text, *part % 2 == 0 ? "%%%02x" : "%%%02X", (unsigned)(unsigned char)*part);
        }
    }
}

static bool is_part(const char *part)
{
    for (const char *at = part; *at != '\0'; at++) {
        if ((unsigned char)*at < 0x20 || *at == 0x7f) {
            return false;
        }
    }
    return utf8_is_valid(part, strlen(part)) && strcmp(part, ".") != 0 && strcmp(part, "..") != 0;
}

/* Lines: segments before an empty one, then names and values in turn. */
static void check_made(struct arena *arena, char *lines)
{
    struct text text;
    struct target wanted = {.segment_count = 0};
    struct target target;
    const char *problem = NULL;
    bool in_query = false;
    const char *name = NULL;
    text_init(&text, arena, LIMIT_SMALL_BODY_BYTES);
    for (char *part = strsep(&lines, "\n"); part != NULL; part = strsep(&lines, "\n")) {
        if (!is_part(part)) {
            return;
        }
        if (part[0] == '\0' && !in_query) {
            in_query = true;
        } else if (!in_query && strpbrk(part, "/\\") != NULL) {
            return; /* no segment may hold one */
        } else if (!in_query && wanted.segment_count < PARTS_MAX) {
            wanted.segments[wanted.segment_count++] = part;
            text_append_char(&text, '/');
            append_escaped(&text, part);
        } else if (name == NULL) {
            name = part;
        } else if (wanted.query_count < PARTS_MAX) {
            text_append_char(&text, wanted.query_count == 0 ? '?' : '&');
            append_escaped(&text, name);
            text_append_char(&text, '=');
            api_append_query_value(&text, part);
            wanted.query[wanted.query_count++] = (struct query_parameter){name, part};
            name = NULL;
        }
    }
    if (wanted.segment_count == 0) {
        return;
    }
    promise(target_parse(arena, text.data, &target, &problem), "what is made can be read");
    wanted.path = target.path;
    promise_same(&target, &wanted);
}

/* ---- cursors ---- */

static void check_cursor(struct arena *arena, const char *text)
{
    struct cursor cursor;
    struct error error = {0};
    if (cursor_read(text, LIST_LETTER, &cursor, &error)) {
        promise(uuid_is_valid(cursor.id), "an id");
        promise(strcmp(cursor_write(arena, LIST_LETTER, cursor.position, cursor.id), text) == 0,
                "one spelling of a cursor");
        promise(!cursor_read(text, LIST_LETTER + 1, &cursor, &error), "not of another list");
    }
    promise(error.kind == ERROR_NONE || error.kind == ERROR_INVALID, "kind of error");
}

static void check_made_cursor(struct arena *arena, const uint8_t *bytes, size_t size)
{
    char id[UUID_TEXT_SIZE] = "00000000-0000-7000-8000-000000000000";
    uint64_t position = 0;
    struct cursor cursor;
    struct error error = {0};
    for (size_t i = 0; i < size && i < 8; i++) {
        position = position << 8 | bytes[i];
    }
    for (size_t i = 8; i < size && i - 8 < UUID_TEXT_SIZE - 1; i++) {
        id[i - 8] = id[i - 8] == '-' ? '-' : "0123456789abcdef"[bytes[i] % 16];
    }
    const char *text = cursor_write(arena, LIST_LETTER, (int64_t)position, id);
    promise(cursor_read(text, LIST_LETTER, &cursor, &error), "a cursor of our own");
    promise(cursor.position == (int64_t)position && strcmp(cursor.id, id) == 0, "what it says");
    promise(strlen(text) <= API_CURSOR_LIMIT, "short enough to be taken");
}

int LLVMFuzzerTestOneInput(const uint8_t *bytes, size_t size)
{
    if (size == 0) {
        return 0;
    }
    struct arena *arena = arena_new();
    char *text = promise_line(bytes + 1, size - 1);
    switch (bytes[0]) {
    case 'M':
        check_made(arena, text);
        break;
    case 'C':
        check_cursor(arena, text);
        break;
    case 'K':
        check_made_cursor(arena, bytes + 1, size - 1);
        break;
    default:
        check_target(arena, text);
        break;
    }
    free(text);
    arena_free(arena);
    return 0;
}
