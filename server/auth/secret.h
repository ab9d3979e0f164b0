/* Random secrets of sessions and bearer tokens. Only their hash is ever stored. */
#ifndef AUTH_SECRET_H
#define AUTH_SECRET_H

#include "store/store_account.h"

enum { SECRET_TEXT_SIZE = 64, SECRET_PREFIX_SIZE = 13 };

/* Begins every bearer token, so that scanners of source code can recognise a leaked one. */
#define SECRET_TOKEN_MARK "pst_"

/* A new secret: `mark` and 32 random bytes in base64url. */
void secret_new(const char *mark, char text[SECRET_TEXT_SIZE]);

/* SHA-256 of the text. Enough for 256 random bits; a slow hash would add nothing. */
void secret_hash(const char *text, unsigned char hash[SECRET_HASH_BYTES]);

/* The first characters, by which people tell tokens apart. */
void secret_prefix(const char *text, char prefix[SECRET_PREFIX_SIZE]);

#endif
