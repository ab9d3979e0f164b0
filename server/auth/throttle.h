/* Brakes on guessing passwords and codes that nobody can use to keep a colleague out.
 *
 * An attempt is counted before the password is hashed, and taken back when it was no failure, so
 * that any number at once and any number of servers stay within the limits. A browser that has
 * signed in to the account before counts by itself, whatever others do. All others count together:
 * of one name and address, of one name (NIST SP 800-63B revision 4, section 3.2.2: at most 100),
 * and of one address. Names that exist and names that do not are treated alike. */
#ifndef AUTH_THROTTLE_H
#define AUTH_THROTTLE_H

#include "auth/secret.h"
#include "store/store_attempt.h"

enum {
    THROTTLE_BROWSER_MOST = 10,  /* failures in a row of a known browser */
    THROTTLE_PAIR_MOST = 10,     /* of a name from one address, in THROTTLE_SPAN_S */
    THROTTLE_ADDRESS_MOST = 100, /* from one address, in THROTTLE_SPAN_S */
    THROTTLE_NAME_MOST = 100,    /* of a name from strange browsers, in THROTTLE_NAME_SPAN_S */
    THROTTLE_CODE_MOST = 5,      /* wrong codes of a name, in THROTTLE_SPAN_S */
    THROTTLE_INSIDE_MOST = 10,   /* wrong passwords of an account that is signed in, the same */
    THROTTLE_NAMING_MOST = 20,   /* patients named by somebody who may see but few, and not found */
    THROTTLE_SINGLE_MOST = 60,   /* begun with a provider by one network and not ended well, in
                                    THROTTLE_SINGLE_SPAN_S */
    THROTTLE_SPAN_S = 15 * 60,
    THROTTLE_SINGLE_SPAN_S = 10 * 60,
    THROTTLE_NAME_SPAN_S = 60 * 60,
    THROTTLE_BROWSER_LIFE_S = 90 * 24 * 60 * 60
};

/* One attempt to sign in. */
struct throttle {
    struct store *store;
    bool is_known; /* the browser is known to the account */
    bool has_browser;
    struct known_browser browser;
    struct attempt_count counts[3];
    struct attempt_count code; /* see throttle_code() */
};

/* Counts an attempt. ret_wait_s is 0 when it may be made, else how long to wait.
 * username  as typed
 * address   numeric; of IPv6 the first 64 bits count, which one customer has
 * browser   secret of the browser's cookie, or NULL */
MUST_CHECK bool throttle_begin(struct throttle *throttle, struct store *store, const char *username,
                               const char *address, const char *browser, int *ret_wait_s,
                               struct error *reterr);

/* Takes the attempt back: it was no failure, or nobody learned anything. */
MUST_CHECK bool throttle_return(const struct throttle *throttle, struct error *reterr);

/* After signing in: takes the attempt back and makes the browser known. `secret` receives what its
 * cookie is to hold: the secret it showed, when that is one that was given out, else a new one. */
MUST_CHECK bool throttle_succeed(const struct throttle *throttle, const char *browser,
                                 char secret[SECRET_TEXT_SIZE], struct error *reterr);

/* Counts a code of the second factor, which has a limit of its own. A known browser counts by
 * itself here too. */
MUST_CHECK bool throttle_code(struct throttle *throttle, int *ret_wait_s, struct error *reterr);
MUST_CHECK bool throttle_code_return(const struct throttle *throttle, struct error *reterr);

/* The count of proofs that an account gives again while it is signed in; for attempt_claim() and
 * attempt_return(). */
struct attempt_count throttle_inside(const char *account_id);

/* The same for patients whom an account or token names by number and birth date. */
struct attempt_count throttle_naming(const char *principal_id);

/* The count of sign-ins that a network begins with the provider; taken back when one ends well. For
 * attempt_claim() and attempt_return(). */
struct attempt_count throttle_single_sign_on(const char *address);

/* What of an address counts: "192.0.2.7", "2001:db8:0:1::/64"; an IPv4 address within IPv6 as the
 * former. The address itself when it is none. */
enum { THROTTLE_NETWORK_SIZE = 64 };

void throttle_network(const char *address, char network[THROTTLE_NETWORK_SIZE]);

#endif
