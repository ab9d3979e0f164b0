/* Credentials in header fields under libFuzzer: Cookie and Authorization, a field a line ("C" and
 * "A" before it). The cookie that is found is the one that a plain reading finds, and a request
 * counts as signed exactly when there is one or a bearer token. */
#include "promise.h"

#include "api/api.h"
#include "api/dispatch.h"
#include "http/exchange.h"

#include <stdlib.h>
#include <string.h>
#include <strings.h>

/* The first pair of the name, where pairs are parted by semicolons and blanks before a name do not
 * count (RFC 6265, section 5.4, as section 4.2.1 has it written). */
static const char *plain_cookie(struct arena *arena, const char *field, const char *name)
{
    char *rest = arena_strdup(arena, field);
    for (char *pair = strsep(&rest, ";"); pair != NULL; pair = strsep(&rest, ";")) {
        pair += strspn(pair, " \t");
        char *equals = strchr(pair, '=');
        if (equals == NULL) {
            continue;
        }
        *equals = '\0';
        if (strcmp(pair, name) == 0) {
            return equals + 1;
        }
    }
    return NULL;
}

static void check_cookie(const struct http_request *request, const char *field, const char *name)
{
    const char *found = http_request_cookie(request, name);
    const char *plain = field == NULL ? NULL : plain_cookie(request->arena, field, name);
    promise((found == NULL) == (plain == NULL), "a cookie where a plain reading finds one");
    promise(found == NULL || strcmp(found, plain) == 0, "its value");
    promise(found == NULL || strchr(found, ';') == NULL, "a value ends where its pair does");
}

static void check(struct arena *arena, char *lines)
{
    struct exchange *exchange = arena_alloc(arena, sizeof *exchange);
    struct header_table *headers = &exchange->headers;
    const struct http_request request = {.arena = arena, .transport = exchange};
    size_t tokens = 0;
    for (char *line = strsep(&lines, "\n"); line != NULL && headers->count < HEADERS_MAX;
         line = strsep(&lines, "\n")) {
        bool is_cookie = line[0] == 'C';
        if (line[0] != '\0' && (is_cookie || tokens++ == 0)) { /* one Authorization, or it is 400 */
            headers->items[headers->count++] =
                (struct http_header){is_cookie ? "cookie" : "authorization", line + 1};
        }
    }
    const char *cookie = http_request_header(&request, "Cookie");
    const char *authorization = http_request_header(&request, "Authorization");
    bool has_token = authorization != NULL && strncasecmp(authorization, "bearer ", 7) == 0;
    check_cookie(&request, cookie, API_SESSION_COOKIE);
    check_cookie(&request, cookie, "a");
    bool has_session = cookie != NULL && plain_cookie(arena, cookie, API_SESSION_COOKIE) != NULL;
    promise(dispatch_has_credential(&request) == (has_token || has_session), "a credential");
}

int LLVMFuzzerTestOneInput(const uint8_t *bytes, size_t size)
{
    struct arena *arena = arena_new();
    char *text = promise_line(bytes, size);
    check(arena, text);
    free(text);
    arena_free(arena);
    return 0;
}
