#include "auth/sealing.h"

#include <fcntl.h>
#include <sodium.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

enum { FILE_MOST = 128 };

_Static_assert(SEALING_KEY_BYTES == crypto_aead_xchacha20poly1305_ietf_KEYBYTES, "a key's size");
_Static_assert(SEALING_OVERHEAD == crypto_aead_xchacha20poly1305_ietf_NPUBBYTES +
                                       crypto_aead_xchacha20poly1305_ietf_ABYTES,
               "what sealing adds");

struct sealing_key {
    unsigned char bytes[SEALING_KEY_BYTES];
};

static bool is_private(int file, const char *path, struct error *reterr)
{
    struct stat status;
    if (fstat(file, &status) != 0 || !S_ISREG(status.st_mode)) {
        return error_set(reterr, ERROR_INVALID, "PENSTOCK_KEY_FILE: %s is no file", path);
    }
    if ((status.st_mode & (S_IRWXG | S_IRWXO)) != 0 ||
        (status.st_uid != geteuid() && status.st_uid != 0)) {
        return error_set(reterr, ERROR_INVALID,
                         "PENSTOCK_KEY_FILE: others than its owner may use %s, or the owner is "
                         "another user; chmod 0600, chown to the server's user",
                         path);
    }
    return true;
}

static bool decode(const unsigned char *text, size_t length, unsigned char *key)
{
    if (length == SEALING_KEY_BYTES) {
        memcpy(key, text, SEALING_KEY_BYTES);
        return true;
    }
    size_t decoded = 0;
    const char *end = NULL;
    return sodium_base642bin(key, SEALING_KEY_BYTES, (const char *)text, length, " \r\n", &decoded,
                             &end, sodium_base64_VARIANT_ORIGINAL) == 0 &&
           end == (const char *)text + length && decoded == SEALING_KEY_BYTES;
}

static bool read_key(int file, const char *path, struct sealing_key *key, struct error *reterr)
{
    unsigned char text[FILE_MOST];
    ssize_t length = read(file, text, sizeof text);
    bool good = length > 0 && decode(text, (size_t)length, key->bytes);
    sodium_memzero(text, sizeof text);
    return good || error_set(reterr, ERROR_INVALID,
                             "PENSTOCK_KEY_FILE: %s does not hold 32 bytes, raw or in base64: head "
                             "-c 32 /dev/urandom | base64 > FILE",
                             path);
}

bool sealing_key_read(const char *path, struct sealing_key **ret_key, struct error *reterr)
{
    int file = open(path, O_RDONLY | O_CLOEXEC | O_NOCTTY);
    if (file < 0) {
        return error_set(reterr, ERROR_INVALID, "PENSTOCK_KEY_FILE: cannot open %s", path);
    }
    struct sealing_key *key = sodium_malloc(sizeof *key); /* locked, with guard pages */
    bool good = key != NULL && is_private(file, path, reterr) && read_key(file, path, key, reterr);
    (void)close(file);
    if (key == NULL) {
        return error_set(reterr, ERROR_UNAVAILABLE, "no memory that can be locked for a key");
    }
    if (!good) {
        sodium_free(key);
        return false;
    }
    (void)sodium_mprotect_readonly(key);
    *ret_key = key;
    return true;
}

void sealing_key_free(struct sealing_key *key)
{
    sodium_free(key);
}

void seal(const struct sealing_key *key, const char *context, const void *plain, size_t length,
          unsigned char *ret_sealed)
{
    unsigned char *nonce = ret_sealed;
    unsigned char *text = ret_sealed + crypto_aead_xchacha20poly1305_ietf_NPUBBYTES;
    randombytes_buf(nonce, crypto_aead_xchacha20poly1305_ietf_NPUBBYTES);
    (void)crypto_aead_xchacha20poly1305_ietf_encrypt(text, NULL, plain, length,
                                                     (const unsigned char *)context,
                                                     strlen(context), NULL, nonce, key->bytes);
}

bool unseal(const struct sealing_key *key, const char *context, const unsigned char *sealed,
            size_t sealed_length, void *ret_plain)
{
    const size_t nonce_length = crypto_aead_xchacha20poly1305_ietf_NPUBBYTES;
    return sealed_length >= SEALING_OVERHEAD &&
           crypto_aead_xchacha20poly1305_ietf_decrypt(
               ret_plain, NULL, NULL, sealed + nonce_length, sealed_length - nonce_length,
               (const unsigned char *)context, strlen(context), sealed, key->bytes) == 0;
}
