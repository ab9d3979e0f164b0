/* Sign-in with the hospital's own provider: the authorisation code flow of OpenID Connect Core 1.0
 * with PKCE (RFC 7636), as RFC 9700 advises.
 *
 * What the provider says of itself (OpenID Connect Discovery 1.0) and its keys are kept for an
 * hour. All functions but openid_new() and openid_free() may be called by several threads. */
#ifndef AUTH_OPENID_H
#define AUTH_OPENID_H

#include "auth/id_token.h"
#include "auth/secret.h"
#include "base/arena.h"
#include "base/error.h"

#include <stdbool.h>

/* Texts are borrowed as long as the openid lives; NULL or "" is not set. */
struct openid_settings {
    const char *issuer;        /* not set: no single sign-on, and the rest counts for nothing */
    const char *client_id;     /* what the provider calls this server */
    const char *client_secret; /* not set: a public client */
    const char *name;          /* of the provider, as people know it */
    const char *public_url;    /* this server, as browsers see it: "https://penstock.example" */
    const char *ca_file;       /* certificates to trust in place of the system's */
};

/* Path of the redirect URI below public_url. */
#define OPENID_RETURN_PATH "/sign-in/return"

enum { OPENID_CODE_MOST_BYTES = 4096, OPENID_CHALLENGE_SIZE = 44 };

struct openid;

/* Asks nothing of the provider yet. ERROR_INVALID names the setting that cannot be used. */
MUST_CHECK bool openid_new(const struct openid_settings *settings, struct openid **ret_openid,
                           struct error *reterr);

/* NULL is allowed. */
void openid_free(struct openid *openid);

/* What the button says; never NULL. */
const char *openid_name(const struct openid *openid);

/* Whether browsers reach this server by https alone, so that cookies may be Secure. */
bool openid_is_secure(const struct openid *openid);

/* `iss` of every account that signs in this way. */
const char *openid_issuer(const struct openid *openid);

/* What one sign-in is recognised by. */
struct openid_attempt {
    char state[SECRET_TEXT_SIZE];
    char nonce[SECRET_TEXT_SIZE];
    char code_verifier[SECRET_TEXT_SIZE];
};

/* Begins a sign-in: fresh secrets, and the address to send the browser to, on the arena.
 * asks_anew  the provider is to ask the person again, also within its own session; whether it did,
 *            the ID token tells
 * ERROR_UNAVAILABLE when the provider does not answer, ERROR_INVALID when it cannot be used. */
MUST_CHECK bool openid_begin(struct openid *openid, struct arena *arena, bool asks_anew,
                             struct openid_attempt *ret_attempt, const char **ret_address,
                             struct error *reterr);

/* What the browser brought back, and what the attempt had kept. */
struct openid_return {
    const char *code;
    const char *issuer; /* `iss` (RFC 9207), or NULL */
    const char *nonce;
    const char *code_verifier;
};

/* Ends a sign-in: exchanges the code for an ID token, judges it, and gives the person.
 * ERROR_UNAVAILABLE: the provider does not answer. ERROR_NOT_FOUND: it does not take the code.
 * ERROR_INVALID: its answer is not to be trusted. The detail holds nothing secret. */
MUST_CHECK bool openid_finish(struct openid *openid, struct arena *arena,
                              const struct openid_return *returned,
                              struct id_token_person *ret_person, struct error *reterr);

/* The S256 challenge of a verifier (RFC 7636, section 4.2). */
void openid_challenge(const char *code_verifier, char challenge[OPENID_CHALLENGE_SIZE]);

#endif
