/* Single sign-on: sign-ins that are on their way, and the accounts they lead to
 * (schema/0011_single_sign_on.sql). */
#ifndef STORE_STORE_SINGLE_SIGN_ON_H
#define STORE_STORE_SINGLE_SIGN_ON_H

#include "store/store_account.h"

/* What is kept while the browser is at the provider. */
struct sign_in_attempt {
    const char *nonce;
    const char *code_verifier;
    const char *next; /* path of the page to go on to */
};

/* ---- outside a transaction: the clinic is not known yet ---- */

/* Keeps an attempt for `life_s` seconds, under the hashes of its state and of the browser's cookie.
 * How many may be begun is the caller's to limit: throttle_single_sign_on(). */
MUST_CHECK bool sign_in_attempt_begin(struct store *store,
                                      const unsigned char state_hash[SECRET_HASH_BYTES],
                                      const unsigned char browser_hash[SECRET_HASH_BYTES],
                                      const struct sign_in_attempt *attempt, int life_s,
                                      struct error *reterr);

/* Gives what was kept and forgets it. ERROR_NOT_FOUND when there is no such attempt, it was taken
 * before, its time is over, or another browser began it. */
MUST_CHECK bool sign_in_attempt_take(struct store *store, struct arena *arena,
                                     const unsigned char state_hash[SECRET_HASH_BYTES],
                                     const unsigned char browser_hash[SECRET_HASH_BYTES],
                                     struct sign_in_attempt *ret_attempt, struct error *reterr);

/* The active account of an issuer's subject; ERROR_NOT_FOUND when there is none. */
MUST_CHECK bool account_for_subject(struct store *store, struct arena *arena, const char *issuer,
                                    const char *subject, struct principal *ret_principal,
                                    struct error *reterr);

/* ---- inside store_begin() ---- */

/* Sets who the account is at a provider, or with NULL and NULL that it is nobody; ends its
 * sessions. ERROR_CONFLICT ("single_sign_on") when another account of the installation is that. */
MUST_CHECK bool account_set_subject(struct store *store, const char *id, const char *issuer,
                                    const char *subject, struct error *reterr);

#endif
