#include "auth/secret.h"

#include <sodium.h>
#include <stdio.h>
#include <string.h>

_Static_assert(SECRET_HASH_BYTES == crypto_hash_sha256_BYTES, "secrets are kept as SHA-256");

void secret_new(const char *mark, char text[SECRET_TEXT_SIZE])
{
    unsigned char bytes[32];
    char encoded[sodium_base64_ENCODED_LEN(sizeof bytes, sodium_base64_VARIANT_URLSAFE_NO_PADDING)];
    randombytes_buf(bytes, sizeof bytes);
    sodium_bin2base64(encoded, sizeof encoded, bytes, sizeof bytes,
                      sodium_base64_VARIANT_URLSAFE_NO_PADDING);
    (void)snprintf(text, SECRET_TEXT_SIZE, "%s%s", mark, encoded);
    sodium_memzero(bytes, sizeof bytes);
    sodium_memzero(encoded, sizeof encoded);
}

void secret_hash(const char *text, unsigned char hash[SECRET_HASH_BYTES])
{
    crypto_hash_sha256(hash, (const unsigned char *)text, strlen(text));
}

void secret_prefix(const char *text, char prefix[SECRET_PREFIX_SIZE])
{
    (void)snprintf(prefix, SECRET_PREFIX_SIZE, "%.12s", text);
}
