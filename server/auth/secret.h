/* Random secrets of sessions and bearer tokens. Only their hash is ever stored. */
#ifndef AUTH_SECRET_H
#define AUTH_SECRET_H

#include "store/store_account.h"

#include <stdbool.h>

enum { SECRET_TEXT_SIZE = 64, SECRET_PREFIX_SIZE = 13 };

/* Begin every bearer token and every link's secret, so that scanners of source code and mail can
 * recognise a leaked one. */
#define SECRET_TOKEN_MARK "pst_"
#define SECRET_LINK_MARK  "psl_"

/* A new secret: `mark`, 32 random bytes in base64url, and 8 hexadecimal digits, the CRC-32 (that of
 * gzip: RFC 1952, section 8) of all before them. */
void secret_new(const char *mark, char text[SECRET_TEXT_SIZE]);

/* Whether a text has the form of a secret of this mark and the right CRC-32. It says nothing about
 * whether anybody was ever given it. */
bool secret_is_well_formed(const char *mark, const char *text);

/* SHA-256 of the text. Enough for 256 random bits; a slow hash would add nothing. */
void secret_hash(const char *text, unsigned char hash[SECRET_HASH_BYTES]);

/* The first characters, by which people tell tokens apart. */
void secret_prefix(const char *text, char prefix[SECRET_PREFIX_SIZE]);

#endif
