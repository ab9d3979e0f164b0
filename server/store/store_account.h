/* Clinics, accounts, browser sessions and bearer tokens.
 *
 * Lookups by username, session or token come before the clinic is known; they run outside
 * store_begin() through functions of the database that reveal one row for one secret's hash. All
 * other functions run inside a transaction of store_begin(). */
#ifndef STORE_STORE_ACCOUNT_H
#define STORE_STORE_ACCOUNT_H

#include "base/fault.h"
#include "store/store.h"

#include <stddef.h>
#include <stdint.h>

/* Bits; names in role_name(). */
enum role {
    ROLE_ROOM = 1,
    ROLE_CLINICIAN = 2,
    ROLE_PHYSICIAN = 4,
    ROLE_REFERRER = 8,
    ROLE_INTEGRATION = 16,
    ROLE_AUDITOR = 32,
    ROLE_ADMINISTRATOR = 64,
    ROLE_ANY = 127
};

/* Name of a single role bit ("room"), or NULL. */
const char *role_name(unsigned role);

/* Bit of a role's name, or 0. */
unsigned role_from_name(const char *name);

enum { SECRET_HASH_BYTES = 32 };

/* Who makes a request. */
struct principal {
    const char *id; /* account's or token's id */
    const char *clinic_id;
    const char *clinic_name;
    const char *name; /* username or token's name */
    const char *display_name;
    unsigned roles;     /* bits of enum role */
    const char *scopes; /* of a token: all that it may do, "patients:read ..."; NULL: what its roles
                           allow */
    bool is_token;
    const char *certificate_sha256; /* of a token: lower-case hexadecimal SHA-256 of the only client
                                       certificate that it works with; NULL: any, or none */
    const char *session_id;         /* of a browser session; NULL: none */
    bool by_provider;               /* signed in by single sign-on */
    int64_t authenticated_at_s; /* when the provider asked the person, seconds since 1970; 0: not
                                   told, or the session is not just beginning */
    int session_epoch;          /* of an account when it was looked up, for account_hold() */
    unsigned owes;              /* bits of enum principal_owes; by_provider owes nothing */
};

/* What an account must do before anything else. */
enum principal_owes {
    OWES_PASSWORD = 1,     /* somebody else gave the password: change it */
    OWES_SECOND_FACTOR = 2 /* the clinic wants one of these roles */
};

/* What tells whether it is the account's owner who signs in. */
struct credential {
    const char *password_hash;
    int version; /* of the account, for account_renew_hash() */
};

struct account {
    const char *id;
    const char *username;
    const char *display_name;
    unsigned roles;
    bool active;
    int64_t created_at_us;
    int version;
    const char *sign_in_issuer;  /* provider of single sign-on, or NULL */
    const char *sign_in_subject; /* what it calls the person; NULL with the issuer */
    bool must_change_password;
    bool has_second_factor; /* a confirmed one */
};

struct api_token {
    const char *id;
    const char *name;
    const char *prefix; /* first characters, to tell tokens apart */
    unsigned roles;
    const char *scopes;             /* as principal.scopes */
    const char *certificate_sha256; /* as principal.certificate_sha256 */
    int64_t created_at_us;
    int64_t expires_at_us;
    bool expires_soon;          /* within 14 days */
    int64_t rotated_at_us;      /* 0: never */
    int64_t former_until_us;    /* until when its former secrets work; 0: none does */
    int64_t last_used_at_us;    /* 0: never */
    const char *last_used_from; /* address of that request; NULL: not known */
};

struct new_token {
    const char *name;
    const char *prefix;
    const unsigned char *hash; /* SECRET_HASH_BYTES */
    unsigned roles;
    const char *scopes;             /* NULL: what the roles allow */
    const char *certificate_sha256; /* NULL: works without */
    int64_t expires_at_us;
};

/* ---- outside a transaction ---- */

MUST_CHECK bool clinic_create(struct store *store, struct arena *arena, const char *name,
                              const char **ret_id, struct error *reterr);

/* Every clinic's id, in order. Only the owner of the schema may ask, never the server's own role.
 * conninfo  the owner's */
MUST_CHECK bool clinic_list(const char *conninfo, struct arena *arena, const char ***ret_ids,
                            size_t *ret_count, struct error *reterr);

/* The account that signs in with `username` and its credential; ERROR_NOT_FOUND when there is
 * none or it is inactive. Usernames are unique over the whole installation, compared in lower case.
 */
MUST_CHECK bool account_for_sign_in(struct store *store, struct arena *arena, const char *username,
                                    struct principal *ret_principal,
                                    struct credential *ret_credential, struct error *reterr);

/* Whoever holds a session (idle and absolute expiry checked, last use noted at most once a minute)
 * or a token. ERROR_NOT_FOUND when unknown, expired or revoked.
 * counts  false: a page asked by itself, which is no use of the session */
MUST_CHECK bool session_principal(struct store *store, struct arena *arena,
                                  const unsigned char hash[SECRET_HASH_BYTES], bool counts,
                                  struct principal *ret_principal, struct error *reterr);
/* client_address  noted with the use; NULL: not known */
MUST_CHECK bool token_principal(struct store *store, struct arena *arena,
                                const unsigned char hash[SECRET_HASH_BYTES],
                                const char *client_address, struct principal *ret_principal,
                                struct error *reterr);

/* ---- inside store_begin() ---- */

/* The roles whose holders must have a second factor, as bits. */
MUST_CHECK bool clinic_second_factor_roles(struct store *store, unsigned *ret_roles,
                                           struct error *reterr);
MUST_CHECK bool clinic_set_second_factor_roles(struct store *store, unsigned roles,
                                               struct error *reterr);

/* ERROR_NOT_FOUND when the transaction's clinic does not exist. */
MUST_CHECK bool clinic_is_known(struct store *store, struct error *reterr);

enum { SESSIONS_MOST = 20, SESSION_ADDRESS_LENGTH = 64, SESSION_USER_AGENT_LENGTH = 200 };

/* Where a session began; both as texts that may be shown. */
struct session_origin {
    const char *address;    /* at most SESSION_ADDRESS_LENGTH bytes */
    const char *user_agent; /* at most SESSION_USER_AGENT_LENGTH bytes */
    bool by_provider;       /* single sign-on: the session owes nothing, see enum principal_owes */
    int64_t authenticated_at_s; /* when the provider asked the person; 0: not told */
};

/* Keeps others from changing an account until the transaction ends. ERROR_STALE when the account is
 * no longer active, or something has ended its sessions since `session_epoch` was read (principal):
 * whoever was judged before that is to get nothing for it. */
MUST_CHECK bool account_hold(struct store *store, const char *account_id, int session_epoch,
                             struct error *reterr);

/* What was judged before the transaction has to be held: account_hold().
 * The session ends `life_s` seconds from now however busy it is. Now is the database's, which also
 * judges whether it is over: the server's clock may differ. An account has SESSIONS_MOST sessions;
 * the oldest end. */
MUST_CHECK bool session_create(struct store *store, const char *account_id,
                               const unsigned char hash[SECRET_HASH_BYTES],
                               const struct session_origin *origin, int64_t life_s,
                               int64_t *ret_expires_at_us, struct error *reterr);
MUST_CHECK bool session_delete(struct store *store, const unsigned char hash[SECRET_HASH_BYTES],
                               struct error *reterr);

struct session {
    const char *id;
    int64_t created_at_us;
    int64_t last_used_at_us;
    int64_t expires_at_us;
    const char *address;
    const char *user_agent;
};

/* The sessions of an account that are not over, newest first; at most SESSIONS_MOST. */
MUST_CHECK bool session_list(struct store *store, struct arena *arena, const char *account_id,
                             struct session **ret_items, size_t *ret_count, struct error *reterr);

/* Whether the provider of single sign-on asked the person for a proof at most `within_s` before
 * now, by the database's clock. Not when it only recognised them, nor in a session of a password.
 */
MUST_CHECK bool session_is_fresh(struct store *store, const char *account_id,
                                 const char *session_id, int within_s, bool *ret_fresh,
                                 struct error *reterr);

/* Ends one; ERROR_NOT_FOUND when the account has none such. */
MUST_CHECK bool session_end(struct store *store, const char *account_id, const char *session_id,
                            struct error *reterr);

/* Ends all of an account but `kept_id`, which may be NULL, and what is about to begin one: see
 * account_hold(). */
MUST_CHECK bool session_end_all(struct store *store, const char *account_id, const char *kept_id,
                                struct error *reterr);

/* ERROR_CONFLICT when the username is taken. An empty hash: no password opens it. */
MUST_CHECK bool account_create(struct store *store, struct arena *arena, const char *username,
                               const char *display_name, const char *password_hash, unsigned roles,
                               const char **ret_id, struct error *reterr);
MUST_CHECK bool account_get(struct store *store, struct arena *arena, const char *id,
                            struct account *ret_account, struct error *reterr);

/* NULL or negative leaves a column as it is. ERROR_STALE when the version is no longer `version`.
 * Setting active to 0 or the password also ends the account's sessions. */
struct account_change {
    const char *display_name;
    const char *password_hash;
    int roles;                /* bits, or -1 */
    int active;               /* 0, 1, or -1 */
    int must_change_password; /* 0, 1, or -1 */
};

MUST_CHECK bool account_update(struct store *store, const char *id, int version,
                               const struct account_change *change, struct error *reterr);
/* The owner's own change of password: the account owes none any more, and all its sessions end. */
MUST_CHECK bool account_set_password(struct store *store, const char *id, const char *password_hash,
                                     struct error *reterr);

/* Stores the same password hashed anew, unless the account was changed since `version`. */
MUST_CHECK bool account_renew_hash(struct store *store, const char *id, int version,
                                   const char *password_hash, struct error *reterr);

/* Makes the first administrator of the transaction's clinic. ERROR_CONFLICT when it has an active
 * one, or the username is taken; of two at once one wins. */
MUST_CHECK bool administrator_create_first(struct store *store, struct arena *arena,
                                           const char *username, const char *password_hash,
                                           const char **ret_id, struct error *reterr);

/* Lets a locked-out administrator of the transaction's clinic in again: a new password, no second
 * factor, no sessions. ERROR_NOT_FOUND when there is no active one of that name. */
MUST_CHECK bool administrator_recover(struct store *store, struct arena *arena,
                                      const char *username, const char *password_hash,
                                      const char **ret_id, struct error *reterr);

MUST_CHECK bool account_list(struct store *store, struct arena *arena,
                             const struct store_page *page, struct account **ret_items,
                             size_t *ret_count, const char **ret_next_cursor, struct error *reterr);

MUST_CHECK bool token_create(struct store *store, struct arena *arena,
                             const struct new_token *token, const char **ret_id,
                             struct error *reterr);
/* ERROR_NOT_FOUND when there is none or it is revoked; one that has expired is found. */
MUST_CHECK bool token_get(struct store *store, struct arena *arena, const char *id,
                          struct api_token *ret_token, struct error *reterr);
/* Gives the token another secret, and from now the length of life that it had. The secrets that it
 * has had work for `overlap_s` more, but no longer than they would have. However many rotate it at
 * once, no secret that one of them was given is lost before the shortest overlap has passed.
 * ERROR_NOT_FOUND as token_get(). */
MUST_CHECK bool token_rotate(struct store *store, const char *id,
                             const unsigned char hash[SECRET_HASH_BYTES], const char *prefix,
                             int overlap_s, struct error *reterr);
MUST_CHECK bool token_list(struct store *store, struct arena *arena, const struct store_page *page,
                           struct api_token **ret_items, size_t *ret_count,
                           const char **ret_next_cursor, struct error *reterr);
/* Revokes; ERROR_NOT_FOUND when there is no such token. */
MUST_CHECK bool token_revoke(struct store *store, const char *id, struct error *reterr);

#endif
