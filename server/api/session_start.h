/* What every way of signing in ends with: a session and its cookie. */
#ifndef API_SESSION_START_H
#define API_SESSION_START_H

#include "api/api.h"

/* The answer to a wrong name as to a wrong password. */
#define SESSION_WRONG_PASSWORD "The username or the password is wrong."

/* Begins a session of `principal` with a secret of its own, in a transaction of its own, and sets
 * the cookie. False after it has answered with an error: 401 when the account's sessions have
 * ended since the principal was looked up. Afterwards the caller answers, and keeps
 * the headers that are set. */
MUST_CHECK bool session_start(struct api_context *context, const struct http_request *request,
                              struct http_response *response, const struct principal *principal,
                              int64_t *ret_expires_at_us);

/* The same within the transaction that is open, for whom it is signed in already: a new secret in
 * place of sessions that have just ended. The caller holds the account (account_hold()) and answers
 * the error. */
MUST_CHECK bool session_renew(struct api_context *context, const struct http_request *request,
                              struct http_response *response, int64_t *ret_expires_at_us,
                              struct error *reterr);

/* Whether cookies that are set in answer to this request are for TLS only. */
bool session_cookies_are_secure(const struct http_request *request,
                                const struct api_settings *settings);

/* Sets the session's cookie; an empty value with no life takes it away. */
void session_set_cookie(const struct http_request *request, struct http_response *response,
                        const struct api_settings *settings, const char *value, int64_t max_age_s);

#endif
