#include "http/conditional.h"

#include "http/http.h"

#include <stddef.h>
#include <string.h>

static bool is_weak(const char *tag)
{
    return tag[0] == 'W' && tag[1] == '/';
}

/* Moves over the separators and gives the next tag with its length, or NULL at the end or at what
 * is no tag. A quoted tag has no escapes; a comma may stand in it. */
static const char *next_tag(const char **cursor, size_t *ret_length)
{
    const char *start = *cursor + strspn(*cursor, " \t,");
    const char *quote = is_weak(start) ? start + 2 : start;
    if (*quote != '"') {
        return NULL;
    }
    const char *end = strchr(quote + 1, '"');
    if (end == NULL) {
        return NULL;
    }
    *ret_length = (size_t)(end + 1 - start);
    *cursor = end + 1;
    return start;
}

bool conditional_matches(const char *field, const char *etag, bool weak)
{
    const char *cursor = field + strspn(field, " \t");
    if (cursor[0] == '*' && cursor[1 + strspn(cursor + 1, " \t")] == '\0') {
        return true;
    }
    const char *opaque = is_weak(etag) ? etag + 2 : etag;
    size_t length = 0;
    const char *tag = NULL;
    while ((tag = next_tag(&cursor, &length)) != NULL) {
        if (!weak && (is_weak(tag) || is_weak(etag))) {
            continue;
        }
        size_t skip = is_weak(tag) ? 2 : 0;
        if (length - skip == strlen(opaque) && memcmp(tag + skip, opaque, length - skip) == 0) {
            return true;
        }
    }
    return false;
}

bool http_etag_matches(const char *field, const char *etag)
{
    return conditional_matches(field, etag, false);
}
