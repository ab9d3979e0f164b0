#include "auth/secret.h"

#include <sodium.h>
#include <stdio.h>
#include <string.h>
#include <zlib.h>

enum { RANDOM_TEXT_LENGTH = 43, CHECKSUM_LENGTH = 8 };

_Static_assert(SECRET_HASH_BYTES == crypto_hash_sha256_BYTES, "secrets are kept as SHA-256");

static const char BASE64URL[] = "ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789-_";

static unsigned long checksum(const char *text, size_t length)
{
    return crc32_z(0, (const unsigned char *)text, length);
}

static void append_checksum(char text[SECRET_TEXT_SIZE])
{
    size_t length = strlen(text);
    (void)snprintf(text + length, SECRET_TEXT_SIZE - length, "%08lx", checksum(text, length));
}

void secret_new(const char *mark, char text[SECRET_TEXT_SIZE])
{
    unsigned char bytes[32];
    char encoded[sodium_base64_ENCODED_LEN(sizeof bytes, sodium_base64_VARIANT_URLSAFE_NO_PADDING)];
    randombytes_buf(bytes, sizeof bytes);
    sodium_bin2base64(encoded, sizeof encoded, bytes, sizeof bytes,
                      sodium_base64_VARIANT_URLSAFE_NO_PADDING);
    (void)snprintf(text, SECRET_TEXT_SIZE, "%s%s", mark, encoded);
    append_checksum(text);
    sodium_memzero(bytes, sizeof bytes);
    sodium_memzero(encoded, sizeof encoded);
}

bool secret_is_well_formed(const char *mark, const char *text)
{
    size_t mark_length = strlen(mark);
    size_t covered = mark_length + RANDOM_TEXT_LENGTH;
    if (strlen(text) != covered + CHECKSUM_LENGTH || strncmp(text, mark, mark_length) != 0 ||
        strspn(text + mark_length, BASE64URL) < RANDOM_TEXT_LENGTH) {
        return false;
    }
    char right[CHECKSUM_LENGTH + 1];
    (void)snprintf(right, sizeof right, "%08lx", checksum(text, covered));
    return strcmp(text + covered, right) == 0;
}

void secret_hash(const char *text, unsigned char hash[SECRET_HASH_BYTES])
{
    crypto_hash_sha256(hash, (const unsigned char *)text, strlen(text));
}

void secret_prefix(const char *text, char prefix[SECRET_PREFIX_SIZE])
{
    (void)snprintf(prefix, SECRET_PREFIX_SIZE, "%.12s", text);
}
