/* Whether somebody is who they say: password, second factor, and how often either may be tried. */
#ifndef API_SIGN_IN_H
#define API_SIGN_IN_H

#include "api/api.h"

/* Cookie by which a browser is known to have signed in before; it opens nothing. */
#define SIGN_IN_BROWSER_COOKIE "penstock_known_browser"

struct sign_in_proof {
    const char *username;
    const char *password;
    const char *code; /* of the authenticator, or a recovery code; NULL: none given */
};

/* Checks a proof from scratch. False after it has answered: 401, 429 with Retry-After, or an error.
 * What it answers does not tell whether the account exists, nor anything of a second factor before
 * the password is right.
 * ret_browser  for sign_in_remember(), on the arena */
MUST_CHECK bool sign_in_check(struct api_context *context, const struct http_request *request,
                              struct http_response *response, const struct sign_in_proof *proof,
                              struct principal *ret_principal, const char **ret_browser);

/* Sets the cookie that makes the browser known. */
void sign_in_remember(const struct http_request *request, struct http_response *response,
                      const struct api_settings *settings, const char *browser);

/* Checks the proof again that the caller of a session gives before something that a stolen session
 * must not do. Outside a transaction. False after it has answered: 422 at /current_password or
 * /code, 429, or an error.
 * wants_code  also a code of the second factor, which the account must have */
MUST_CHECK bool sign_in_confirm(struct api_context *context, const struct http_request *request,
                                struct http_response *response, const char *password,
                                const char *code, bool wants_code);

/* Counts a proof of the account that is signed in, before it is judged; outside a transaction.
 * False after it has answered: 429, or an error. */
MUST_CHECK bool sign_in_count_proof(struct api_context *context, const struct http_request *request,
                                    struct http_response *response);

/* Takes the count back: the proof was right, or nobody learned anything. */
MUST_CHECK bool sign_in_return_proof(struct api_context *context, struct error *reterr);

/* Answers what went wrong after that. ERROR_STALE of account_hold() is 409: something has ended the
 * session meanwhile. */
void sign_in_fail(const struct http_request *request, struct http_response *response,
                  const struct error *error);

/* Takes an authenticator's code or a recovery code within the open transaction: ret_right says
 * whether it was right and not used before. ERROR_INTERNAL when the secret cannot be decrypted: the
 * servers have another key. */
struct second_factor;
MUST_CHECK bool sign_in_take_code(struct api_context *context, const char *account_id,
                                  const char *clinic_id, const struct second_factor *factor,
                                  const char *code, bool *ret_right, struct error *reterr);

/* What the secret of an account's second factor is bound to when it is encrypted. */
enum { SIGN_IN_SEAL_SIZE = 128 };

void sign_in_seal_context(const char *clinic_id, const char *account_id,
                          char text[SIGN_IN_SEAL_SIZE]);

#endif
