/* Who is signed in proves again that they are there, before something that is theirs alone to do:
 * with the password, and the second factor's code where the account has one; or by having just
 * given a proof to the provider of single sign-on, who has the password. */
#ifndef API_PERSON_PROOF_H
#define API_PERSON_PROOF_H

#include "api/api.h"

/* How long ago the provider may have asked for that proof. */
enum { PERSON_PROOF_FRESH_S = 10 * 60 };

#define API_PROBLEM_FRESH_SIGN_IN "fresh-sign-in-required"

struct person_proof {
    const char *password; /* NULL: not given, as the next one */
    const char *code;
};

/* Takes the members current_password and code of an object. */
void person_proof_take(struct json_reader *reader, struct person_proof *ret_proof);

/* Judges it, outside a transaction; a wrong proof counts (sign_in_confirm()). False after it has
 * answered: 422 at /current_password or /code, 403 with the type fresh-sign-in-required, 429, or an
 * error. The caller begins its change with person_proof_begin(). */
MUST_CHECK bool person_proof_check(struct api_context *context, const struct http_request *request,
                                   struct http_response *response,
                                   const struct person_proof *proof);

/* Begins the transaction in which something is done for the proof; ERROR_STALE when the session has
 * ended meanwhile: sign_in_fail(). */
MUST_CHECK bool person_proof_begin(struct api_context *context, struct error *reterr);

#endif
