/* A request's header fields as they came, and what they say about the body that follows. */
#ifndef HTTP_HEADERS_H
#define HTTP_HEADERS_H

#include "base/arena.h"
#include "http/http.h"

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

enum { HEADERS_MAX = 100, HEADERS_PROBLEM_SIZE = 160 };

struct header_table {
    struct http_header items[HEADERS_MAX];
    size_t count;
};

/* Why a header section cannot be accepted: the status to answer with and a sentence. */
struct header_problem {
    int status;
    char detail[HEADERS_PROBLEM_SIZE];
};

struct framing {
    bool has_body;
    bool chunked;
    uint64_t length; /* bytes on the wire; 0 when chunked */
};

/* The value of a field; several lines of one field are joined with ", " (cookies with "; ") on the
 * arena. NULL when absent. */
const char *headers_get(const struct header_table *headers, struct arena *arena, const char *name);

/* Drops all lines of a field. */
void headers_remove(struct header_table *headers, const char *name);

/* Whether a value can be a Host's that names somebody (RFC 3986, section 3.2.2, and a port; commas
 * are left out, since they would make a list of it). */
bool headers_is_host(const char *value);

/* Refuses what intermediaries and we could read differently (RFC 9112 sections 3.2, 5.1, 6.3):
 * names that are no tokens, control characters, a repeated or missing Host, a repeated
 * Content-Length, Transfer-Encoding beside Content-Length or other than "chunked"; and a repetition
 * of fields that can have one value only. `minor` is 0 for HTTP/1.0, else 1. */
MUST_CHECK bool headers_check(const struct header_table *headers, int minor,
                              struct framing *ret_framing, struct header_problem *reterr);

/* Whether a client's X-Request-Id can be taken over: 1 to 64 of A-Z a-z 0-9 . _ - */
bool headers_is_request_id(const char *value);

#endif
