/* Passwords: what is acceptable, and argon2id hashes (libsodium).
 *
 * After NIST SP 800-63B, revision 4 (August 2025), section 3.1.1.2: length and a block list, no
 * rules of composition, all of Unicode, nothing cut off. Text is brought into Normalization Form C
 * (utf8proc) before it is hashed, so that two keyboards that spell a letter differently agree. */
#ifndef AUTH_PASSWORD_H
#define AUTH_PASSWORD_H

#include "base/arena.h"
#include "base/compiler.h"
#include "base/error.h"

#include <stdbool.h>
#include <stddef.h>

/* The least is in code points, as the standard counts: a password alone may sign in. The most is in
 * bytes, at least 128 characters of any script where the standard asks for 64. */
enum { PASSWORD_MIN_CHARACTERS = 15, PASSWORD_MAX_BYTES = 512 };

/* Prepares libsodium. Call once, before any thread starts. False when it cannot be used. */
MUST_CHECK bool password_library_start(void);

/* Whose password it is to be; what is not known is NULL. */
struct password_owner {
    const char *username;
    const char *display_name;
    const char *clinic_name;
};

/* NULL when the password may be chosen, else what is wrong with it, as a sentence.
 *
 * The whole password is compared, never a part of it: it must not be among the common ones
 * (common_passwords.txt), repeat a short pattern, or be nothing but common words, rows of the
 * keyboard or the alphabet, and names of the owner, the clinic or this service in a row, with up to
 * six digits and any separators between. Upper and lower case count alike there.
 * password  UTF-8 */
const char *password_objection(const char *password, const struct password_owner *owner);

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

/* Whether a hash was made at another cost than password_hash() takes today: hash again while the
 * password is at hand. */
bool password_hash_is_outdated(const char *hash);

#endif
