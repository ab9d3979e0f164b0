/* ID tokens of OpenID Connect: is this text a statement of that provider about who signs in here?
 *
 * The rules are those of OpenID Connect Core 1.0, section 3.1.3.7, and RFC 8725. Nothing in the
 * token chooses what it is judged by: the keys are the provider's, of the algorithms only RS256,
 * PS256 and ES256 are taken, and the key has to be made for the one that the header names. */
#ifndef AUTH_ID_TOKEN_H
#define AUTH_ID_TOKEN_H

#include "base/arena.h"

#include <jansson.h>
#include <stddef.h>
#include <stdint.h>

enum {
    ID_TOKEN_MOST_BYTES = 16 * 1024,
    ID_TOKEN_SUBJECT_MOST_BYTES = 255, /* OpenID Connect Core 1.0, section 2 */
    ID_TOKEN_KEYS_MOST = 100,
    ID_TOKEN_SKEW_S = 60,     /* how far the provider's clock and ours may differ */
    ID_TOKEN_AGE_MOST_S = 600 /* since `iat`: as long as a sign-in may take */
};

/* What a token is held against. */
struct id_token_expectation {
    const char *issuer;
    const char *client_id;
    const char *nonce; /* of this sign-in */
    int64_t now_s;     /* seconds since 1970-01-01T00:00:00Z */
};

/* The first check that failed. */
enum id_token_fault {
    ID_TOKEN_GOOD,
    ID_TOKEN_TOO_LONG,
    ID_TOKEN_MALFORMED,   /* not three parts of base64url that hold JSON objects and a signature */
    ID_TOKEN_HEADER,      /* names a type, an extension or a key source that is not taken */
    ID_TOKEN_ALGORITHM,   /* none of RS256, PS256, ES256 */
    ID_TOKEN_KEYS,        /* the provider's keys are no key set */
    ID_TOKEN_KEY_UNKNOWN, /* no key fits; newer keys may hold it */
    ID_TOKEN_SIGNATURE,
    ID_TOKEN_ISSUER,
    ID_TOKEN_AUDIENCE,
    ID_TOKEN_PARTY, /* azp */
    ID_TOKEN_EXPIRED,
    ID_TOKEN_ISSUED,  /* iat in the future or too long ago */
    ID_TOKEN_NOT_YET, /* nbf */
    ID_TOKEN_NONCE,
    ID_TOKEN_SUBJECT,
    ID_TOKEN_FAULT_COUNT
};

/* What failed, in words for the log. */
const char *id_token_fault_text(enum id_token_fault fault);

/* Who signed in, and when they proved it to the provider. */
struct id_token_person {
    const char *subject;        /* `sub` */
    int64_t authenticated_at_s; /* `auth_time`, seconds since 1970-01-01T00:00:00Z; 0: not told. May
                                   lie long ago: providers have sessions of their own */
};

/* Judges a token in JWS compact serialisation (RFC 7515, section 7.1).
 * keys        the provider's JWK set (RFC 7517, section 5)
 * ret_person  with ID_TOKEN_GOOD, on the arena */
enum id_token_fault id_token_check(struct arena *arena, const char *token, const json_t *keys,
                                   const struct id_token_expectation *expected,
                                   struct id_token_person *ret_person);

#endif
