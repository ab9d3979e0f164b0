/* Encryption of secrets that the server itself must be able to read again: XChaCha20-Poly1305
 * (libsodium) under a key that is in a file and never in the database. */
#ifndef AUTH_SEALING_H
#define AUTH_SEALING_H

#include "base/compiler.h"
#include "base/error.h"

#include <stdbool.h>
#include <stddef.h>

enum {
    SEALING_KEY_BYTES = 32,
    SEALING_OVERHEAD = 24 + 16 /* nonce and authentication tag */
};

struct sealing_key;

/* Reads a key of 32 bytes: raw, or as base64 with or without a line's end. Nobody but the file's
 * owner may have any right to it, and that is whoever runs the server, or root. The key is held in
 * memory that is locked and guarded. */
MUST_CHECK bool sealing_key_read(const char *path, struct sealing_key **ret_key,
                                 struct error *reterr);

/* Overwrites and frees. NULL is allowed. */
void sealing_key_free(struct sealing_key *key);

/* Encrypts `length` bytes into length + SEALING_OVERHEAD. `context` says what it is for and whose
 * it is: opening it for anything else fails. */
void seal(const struct sealing_key *key, const char *context, const void *plain, size_t length,
          unsigned char *ret_sealed);

/* Decrypts into sealed_length - SEALING_OVERHEAD bytes; false when it is not what seal() made under
 * this key with this context. */
MUST_CHECK bool unseal(const struct sealing_key *key, const char *context,
                       const unsigned char *sealed, size_t sealed_length, void *ret_plain);

#endif
