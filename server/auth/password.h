/* Passwords: what is acceptable, and argon2id hashes (libsodium). */
#ifndef AUTH_PASSWORD_H
#define AUTH_PASSWORD_H

#include "base/arena.h"
#include "base/compiler.h"
#include "base/error.h"

#include <stdbool.h>
#include <stddef.h>

enum { PASSWORD_MIN_LENGTH = 12, PASSWORD_MAX_LENGTH = 128 };

/* Prepares libsodium. Call once, before any thread starts. False when it cannot be used. */
MUST_CHECK bool password_library_start(void);

/* NULL when the password may be chosen, else what is wrong with it, as a sentence.
 *
 * Length and a block list, no composition rules: NIST SP 800-63B, section 5.1.1.2 (from memory).
 * A password that holds the username is refused too. */
const char *password_objection(const char *password, const char *username);

/* Hash to store, on the arena. At most two hashes are computed at a time in the process, since each
 * takes 64 MiB and a core; one more caller waits for half a second. False (ERROR_UNAVAILABLE) when
 * all of them are busy or memory is short: try again. */
MUST_CHECK bool password_hash(struct arena *arena, const char *password, const char **ret_hash,
                              struct error *reterr);

/* Whether the password belongs to the hash. A NULL or empty hash takes as long and is never right,
 * so that an unknown username, and an account without a password, cannot be told from a wrong
 * password by the clock. Fails as password_hash(). */
MUST_CHECK bool password_verify(const char *password, const char *hash, bool *ret_right,
                                struct error *reterr);

#endif
