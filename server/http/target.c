#include "http/target.h"

#include "base/utf8.h"
#include "http/field.h"

#include <string.h>
#include <strings.h>

static int hexadecimal_value(char digit)
{
    if (digit >= '0' && digit <= '9') {
        return digit - '0';
    }
    if (digit >= 'a' && digit <= 'f') {
        return digit - 'a' + 10;
    }
    if (digit >= 'A' && digit <= 'F') {
        return digit - 'A' + 10;
    }
    return -1;
}

static bool is_clean(const char *text, size_t length)
{
    for (size_t i = 0; i < length; i++) {
        unsigned char byte = (unsigned char)text[i];
        if (byte < 0x20 || byte == 0x7F) {
            return false;
        }
    }
    return utf8_is_valid(text, length);
}

/* Decodes percent escapes (and "+" in a query); NULL when an escape is malformed or stands for what
 * no name or value here can hold. */
static const char *decode(struct arena *arena, const char *raw, size_t length, bool query)
{
    char *text = arena_alloc(arena, length + 1);
    size_t end = 0;
    for (size_t i = 0; i < length; i++) {
        if (raw[i] == '+' && query) {
            text[end++] = ' ';
        } else if (raw[i] != '%') {
            text[end++] = raw[i];
        } else {
            int high = length - i > 2 ? hexadecimal_value(raw[i + 1]) : -1;
            int low = length - i > 2 ? hexadecimal_value(raw[i + 2]) : -1;
            if (high < 0 || low < 0) {
                return NULL;
            }
            text[end++] = (char)(high * 16 + low);
            i += 2;
        }
    }
    return is_clean(text, end) ? text : NULL;
}

/* Drops "http://authority" of the absolute form. NULL when there is no path to be found. */
static const char *path_of(const char *raw, struct slice *ret_authority)
{
    if (raw[0] == '/') {
        return raw;
    }
    const char *authority = NULL;
    if (strncasecmp(raw, "http://", 7) == 0) {
        authority = raw + 7;
    } else if (strncasecmp(raw, "https://", 8) == 0) {
        authority = raw + 8;
    } else {
        return NULL;
    }
    const char *path = authority + strcspn(authority, "/?");
    if (path == authority) {
        return NULL;
    }
    *ret_authority = (struct slice){authority, (size_t)(path - authority)};
    return *path == '\0' ? "/" : path;
}

static bool has_illegal_character(const char *raw)
{
    for (; *raw != '\0'; raw++) {
        unsigned char byte = (unsigned char)*raw;
        if (byte <= 0x20 || byte >= 0x7F || *raw == '#' || *raw == '\\') {
            return true;
        }
    }
    return false;
}

static bool read_path(struct arena *arena, struct target *target)
{
    const char *at = target->raw_path;
    while (*at == '/') {
        at++;
        size_t length = strcspn(at, "/");
        if (target->segment_count >= TARGET_SEGMENTS_MAX) {
            target->segment_count = TARGET_SEGMENTS_MAX + 1;
            break;
        }
        const char *segment = decode(arena, at, length, false);
        /* An escaped slash is one more segment to some, and none to others. */
        if (segment == NULL || strpbrk(segment, "/\\") != NULL || strcmp(segment, ".") == 0 ||
            strcmp(segment, "..") == 0) {
            return false;
        }
        target->segments[target->segment_count++] = segment;
        at += length;
    }
    target->path = decode(arena, target->raw_path, strlen(target->raw_path), false);
    return target->path != NULL;
}

static const char *read_query(struct arena *arena, const char *query, struct target *target)
{
    while (*query != '\0') {
        size_t length = strcspn(query, "&");
        size_t name_length = strcspn(query, "=&");
        if (length > 0) {
            if (target->query_count == TARGET_QUERY_MAX) {
                return "The query has too many parameters.";
            }
            struct query_parameter *parameter = &target->query[target->query_count++];
            parameter->name = decode(arena, query, name_length, true);
            parameter->value = name_length < length ? decode(arena, query + name_length + 1,
                                                             length - name_length - 1, true)
                                                    : "";
            if (parameter->name == NULL || parameter->value == NULL) {
                return "The query holds a malformed or forbidden escape.";
            }
        }
        query += length + (query[length] == '&' ? 1 : 0);
    }
    return NULL;
}

bool target_parse(struct arena *arena, const char *raw, struct target *ret_target,
                  const char **ret_problem)
{
    struct target *target = ret_target;
    memset(target, 0, sizeof *target);
    target->raw_path = "*";
    target->raw_query = "";
    target->path = "*";
    if (strcmp(raw, "*") == 0) {
        target->asterisk = true;
        return true;
    }
    struct slice authority = {NULL, 0};
    const char *path = path_of(raw, &authority);
    if (path == NULL || has_illegal_character(raw)) {
        *ret_problem = "The request target is malformed.";
        return false;
    }
    if (authority.start != NULL) {
        target->authority = arena_strndup(arena, authority.start, authority.length);
    }
    size_t path_length = strcspn(path, "?");
    target->raw_path = path_length > 0 ? arena_strndup(arena, path, path_length) : "/";
    if (!read_path(arena, target)) {
        *ret_problem = "The path holds a malformed or forbidden escape or segment.";
        return false;
    }
    if (path[path_length] == '?') {
        target->raw_query = arena_strdup(arena, path + path_length + 1);
        *ret_problem = read_query(arena, target->raw_query, target);
        return *ret_problem == NULL;
    }
    return true;
}
