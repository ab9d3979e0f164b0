/* One question to another server by HTTP (libcurl), within bounds: no redirect is followed, the
 * certificate is checked, an answer that is slow or long is none. */
#ifndef AUTH_WEB_FETCH_H
#define AUTH_WEB_FETCH_H

#include "base/arena.h"
#include "base/error.h"

#include <stdbool.h>
#include <stddef.h>

enum { WEB_ANSWER_MOST_BYTES = 256 * 1024, WEB_ADDRESS_MOST_BYTES = 2000 };

/* Prepares libcurl, and ends with it. Before the first thread starts and after the last ended. */
MUST_CHECK bool web_fetch_start(struct error *reterr);
void web_fetch_stop(void);

/* Whether an address may be asked or sent to: absolute, https, or http where the host is this
 * machine (localhost, 127.0.0.0/8, ::1); without user, password and fragment. */
bool web_address_is_acceptable(const char *address);

/* Whether it is one of those and names a server alone: no path but "/", no query. */
bool web_address_is_origin(const char *address);

/* `value` percent-encoded but for the unreserved characters (RFC 3986, section 2.3): fits queries
 * and forms. On the arena. */
const char *web_encode(struct arena *arena, const char *value);

struct web_question {
    const char *address;
    const char *form; /* the encoded form of a POST; NULL: GET */
    const char *user; /* with `password` for Basic authentication, or NULL */
    const char *password;
    const char *ca_file; /* certificates to trust in place of the system's, or NULL */
    double most_s;       /* longest that everything may take */
};

struct web_answer {
    long status;
    const char *body; /* on the arena, NUL-terminated */
    size_t length;
};

/* ERROR_UNAVAILABLE when there is no answer within the bounds. Any status is an answer. */
MUST_CHECK bool web_fetch(struct arena *arena, const struct web_question *question,
                          struct web_answer *ret_answer, struct error *reterr);

#endif
