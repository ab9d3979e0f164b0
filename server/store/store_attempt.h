/* Brakes on guessing: attempts counted before the clinic is known (schema/0010_sign_in.sql). How
 * many are allowed is the caller's to say: server/auth/throttle.h. All of it outside store_begin(),
 * each call a transaction of its own, so that several servers count together. */
#ifndef STORE_STORE_ATTEMPT_H
#define STORE_STORE_ATTEMPT_H

#include "store/store_account.h"

enum { ATTEMPT_COUNTS_MAX = 4 };

/* Something attempts have in common, and how many of them may fail within how long. */
struct attempt_count {
    unsigned char key[SECRET_HASH_BYTES];
    int most;
    int span_s;
};

/* Counts an attempt under every one of the (at most ATTEMPT_COUNTS_MAX) keys before it is made, or
 * under none when one is full. ret_wait_s is 0, or how long to wait. */
MUST_CHECK bool attempt_claim(struct store *store, const struct attempt_count counts[],
                              size_t count, int *ret_wait_s, struct error *reterr);

/* Takes an attempt back that was no failure. */
MUST_CHECK bool attempt_return(struct store *store, const struct attempt_count counts[],
                               size_t count, struct error *reterr);

/* A browser that has signed in to an account before. */
struct known_browser {
    unsigned char account_key[SECRET_HASH_BYTES];
    unsigned char browser_hash[SECRET_HASH_BYTES];
};

/* Counts an attempt of a browser, if it is known to the account. After `most` failures in a row the
 * trust is withdrawn, and the browser waits for `wait_s` before it is a stranger. */
MUST_CHECK bool browser_claim(struct store *store, const struct known_browser *browser, int most,
                              int wait_s, bool *ret_known, int *ret_wait_s, struct error *reterr);

/* Takes an attempt back that was no failure; the trust lasts for `life_s` from now. */
MUST_CHECK bool browser_return(struct store *store, const struct known_browser *browser, int life_s,
                               struct error *reterr);

/* Makes the browser known to the account, without failures. */
MUST_CHECK bool browser_trust(struct store *store, const struct known_browser *browser, int life_s,
                              struct error *reterr);

/* Whether the browser is known to any account: its cookie is one that was given out. */
MUST_CHECK bool browser_is_known(struct store *store, const unsigned char hash[SECRET_HASH_BYTES],
                                 bool *ret_known, struct error *reterr);

#endif
