/* Codes of an authenticator: TOTP (RFC 6238) with SHA-1, steps of 30 s and 6 digits, which is what
 * authenticators agree on; made by liboath. And recovery codes, which stand in for a lost one. */
#ifndef AUTH_ONE_TIME_CODE_H
#define AUTH_ONE_TIME_CODE_H

#include "auth/secret.h"
#include "base/arena.h"

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

enum {
    ONE_TIME_SECRET_BYTES = 20, /* RFC 4226, section 4, R6 */
    ONE_TIME_STEP_S = 30,
    ONE_TIME_DIGITS = 6,
    ONE_TIME_CODE_SIZE = 9, /* 8 digits at most, and the NUL */
    RECOVERY_CODE_SIZE = 20 /* "abcd-efgh-ijkl-mnop": 80 random bits */
};

/* The code of a time step. False when liboath refuses.
 * digits  6 to 8 */
MUST_CHECK bool one_time_code(const unsigned char *secret, size_t length, int64_t step,
                              unsigned digits, char code[ONE_TIME_CODE_SIZE]);

/* The step of a time. */
int64_t one_time_step(int64_t time_us);

/* The step, of the one of `now_us` and its two neighbours, whose code it is; -1 when of none. Takes
 * the same time for every code. RFC 6238, section 5.2, recommends one step of tolerance. */
int64_t one_time_code_step(const unsigned char *secret, size_t length, int64_t now_us,
                           const char *code);

/* In base32 (RFC 4648, section 6), without padding; NULL when there is no memory. */
const char *one_time_secret_text(struct arena *arena, const unsigned char *secret, size_t length);

/* The address that authenticators take: otpauth://totp/CLINIC:NAME?secret=...&issuer=CLINIC
 * (the "Key URI Format" of common use; from memory). */
const char *one_time_uri(struct arena *arena, const char *secret_text, const char *username,
                         const char *clinic_name);

/* A new recovery code. */
void recovery_code_new(char text[RECOVERY_CODE_SIZE]);

/* Hash of a code as typed: case and separators do not count. Whether it can be one at all. */
MUST_CHECK bool recovery_code_hash(const char *text, unsigned char hash[SECRET_HASH_BYTES]);

#endif
