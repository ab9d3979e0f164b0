#include "auth/document_signature.h"

#include <fcntl.h>
#include <gnutls/abstract.h>
#include <gnutls/pkcs7.h>
#include <gnutls/x509.h>
#include <sodium.h>
#include <string.h>
#include <sys/stat.h>
#include <time.h>
#include <unistd.h>

enum { FILE_MOST = 64 * 1024, CHAIN_MOST = 10, KEY_ID_BYTES = 32, DAY_S = 24 * 3600 };

#define CERTIFICATE_SETTING "PENSTOCK_SIGNING_CERTIFICATE"
#define KEY_SETTING         "PENSTOCK_SIGNING_KEY"

struct document_signer {
    gnutls_x509_crt_t chain[CHAIN_MOST]; /* the signer's own first */
    unsigned chain_count;
    unsigned char *key; /* PEM text in locked memory */
    size_t key_length;
};

/* ---- reading ---- */

static bool check_private(int file, const char *path, struct error *reterr)
{
    struct stat status;
    if (fstat(file, &status) != 0 || !S_ISREG(status.st_mode)) {
        return error_set(reterr, ERROR_INVALID, KEY_SETTING ": %s is no file", path);
    }
    if ((status.st_mode & (S_IRWXG | S_IRWXO)) != 0 ||
        (status.st_uid != geteuid() && status.st_uid != 0)) {
        return error_set(reterr, ERROR_INVALID,
                         KEY_SETTING ": others than its owner may use %s, or the owner is another "
                                     "user; chmod 0600, chown to the server's user",
                         path);
    }
    return true;
}

/* Reads a whole file into memory of FILE_MOST bytes. */
static bool read_all(int file, unsigned char *bytes, size_t *ret_length)
{
    size_t length = 0;
    ssize_t got = 1;
    while (length < FILE_MOST && got > 0) {
        got = read(file, bytes + length, FILE_MOST - length);
        length += got > 0 ? (size_t)got : 0;
    }
    *ret_length = length;
    return got == 0 && length > 0;
}

static bool read_chain(struct document_signer *signer, const char *path, struct error *reterr)
{
    unsigned char text[FILE_MOST];
    size_t length = 0;
    int file = open(path, O_RDONLY | O_CLOEXEC | O_NOCTTY);
    bool whole = file >= 0 && read_all(file, text, &length);
    if (file >= 0) {
        (void)close(file);
    }
    signer->chain_count = CHAIN_MOST;
    const gnutls_datum_t pem = {text, (unsigned)length};
    if (!whole ||
        gnutls_x509_crt_list_import(signer->chain, &signer->chain_count, &pem, GNUTLS_X509_FMT_PEM,
                                    GNUTLS_X509_CRT_LIST_IMPORT_FAIL_IF_EXCEED) < 1) {
        signer->chain_count = 0;
        return error_set(reterr, ERROR_INVALID,
                         CERTIFICATE_SETTING ": %s holds no certificate in PEM, or more than %d",
                         path, CHAIN_MOST);
    }
    return true;
}

static bool read_key(struct document_signer *signer, const char *path, struct error *reterr)
{
    int file = open(path, O_RDONLY | O_CLOEXEC | O_NOCTTY);
    if (file < 0) {
        return error_set(reterr, ERROR_INVALID, KEY_SETTING ": cannot open %s", path);
    }
    signer->key = sodium_malloc(FILE_MOST); /* locked, with guard pages */
    bool good = signer->key == NULL
                    ? error_set(reterr, ERROR_UNAVAILABLE, "no memory that can be locked for a key")
                    : check_private(file, path, reterr);
    if (good && !read_all(file, signer->key, &signer->key_length)) {
        good = error_set(reterr, ERROR_INVALID, KEY_SETTING ": %s cannot be read", path);
    }
    (void)close(file);
    return good;
}

/* The caller ends it with gnutls_privkey_deinit(), which overwrites it. */
static bool open_key(const struct document_signer *signer, gnutls_privkey_t *ret_key,
                     struct error *reterr)
{
    const gnutls_datum_t pem = {signer->key, (unsigned)signer->key_length};
    if (gnutls_privkey_init(ret_key) != GNUTLS_E_SUCCESS) {
        return error_set(reterr, ERROR_UNAVAILABLE, "no memory for a key");
    }
    if (gnutls_privkey_import_x509_raw(*ret_key, &pem, GNUTLS_X509_FMT_PEM, NULL, 0) !=
        GNUTLS_E_SUCCESS) {
        gnutls_privkey_deinit(*ret_key);
        return error_set(reterr, ERROR_INVALID,
                         KEY_SETTING ": holds no private key in PEM without a passphrase");
    }
    return true;
}

static bool is_of(gnutls_x509_crt_t certificate, gnutls_privkey_t key)
{
    unsigned char one[KEY_ID_BYTES];
    unsigned char other[KEY_ID_BYTES];
    size_t one_length = sizeof one;
    size_t other_length = sizeof other;
    gnutls_pubkey_t public_key = NULL;
    bool same = gnutls_pubkey_init(&public_key) == GNUTLS_E_SUCCESS &&
                gnutls_pubkey_import_privkey(public_key, key, 0, 0) == GNUTLS_E_SUCCESS &&
                gnutls_pubkey_get_key_id(public_key, GNUTLS_KEYID_USE_SHA256, one, &one_length) ==
                    GNUTLS_E_SUCCESS &&
                gnutls_x509_crt_get_key_id(certificate, GNUTLS_KEYID_USE_SHA256, other,
                                           &other_length) == GNUTLS_E_SUCCESS &&
                one_length == other_length && memcmp(one, other, one_length) == 0;
    if (public_key != NULL) {
        gnutls_pubkey_deinit(public_key);
    }
    return same;
}

static bool check_pair(const struct document_signer *signer, struct error *reterr)
{
    gnutls_privkey_t key = NULL;
    if (!open_key(signer, &key, reterr)) {
        return false;
    }
    bool same = is_of(signer->chain[0], key);
    gnutls_privkey_deinit(key);
    return same || error_set(reterr, ERROR_INVALID,
                             KEY_SETTING
                             ": is not the key of the first certificate of " CERTIFICATE_SETTING);
}

/* ---- signing ---- */

static bool make(const struct document_signer *signer, gnutls_privkey_t key,
                 const gnutls_datum_t *data, gnutls_datum_t *ret_der)
{
    gnutls_pkcs7_t cms = NULL;
    if (gnutls_pkcs7_init(&cms) != GNUTLS_E_SUCCESS) {
        return false;
    }
    bool good = gnutls_pkcs7_sign(cms, signer->chain[0], key, data, NULL, NULL, GNUTLS_DIG_SHA256,
                                  GNUTLS_PKCS7_INCLUDE_TIME | GNUTLS_PKCS7_INCLUDE_CERT) ==
                GNUTLS_E_SUCCESS;
    for (unsigned i = 1; good && i < signer->chain_count; i++) {
        good = gnutls_pkcs7_set_crt(cms, signer->chain[i]) == GNUTLS_E_SUCCESS;
    }
    good = good && gnutls_pkcs7_export2(cms, GNUTLS_X509_FMT_DER, ret_der) == GNUTLS_E_SUCCESS;
    gnutls_pkcs7_deinit(cms);
    return good;
}

static bool sign(const struct document_signer *signer, struct arena *arena,
                 const unsigned char *bytes, size_t length, const unsigned char **ret_signature,
                 size_t *ret_length, struct error *reterr)
{
    gnutls_privkey_t key = NULL;
    if (!open_key(signer, &key, reterr)) {
        return false;
    }
    gnutls_datum_t der = {NULL, 0};
    /* A copy: the library takes what it does not change as what it may. */
    unsigned char *content = arena_alloc(arena, length + 1);
    memcpy(content, length == 0 ? (const unsigned char *)"" : bytes, length);
    const gnutls_datum_t data = {content, (unsigned)length};
    bool good = make(signer, key, &data, &der);
    gnutls_privkey_deinit(key);
    if (!good) {
        return error_set(reterr, ERROR_INVALID, KEY_SETTING ": its kind cannot sign documents");
    }
    unsigned char *copy = arena_alloc(arena, der.size);
    memcpy(copy, der.data, der.size);
    *ret_signature = copy;
    *ret_length = der.size;
    gnutls_free(der.data);
    return true;
}

bool document_signer_is_valid(const struct document_signer *signer)
{
    time_t now = time(NULL);
    return now >= gnutls_x509_crt_get_activation_time(signer->chain[0]) &&
           now <= gnutls_x509_crt_get_expiration_time(signer->chain[0]);
}

bool document_sign(const struct document_signer *signer, struct arena *arena,
                   const unsigned char *bytes, size_t length, const unsigned char **ret_signature,
                   size_t *ret_length, struct error *reterr)
{
    if (!document_signer_is_valid(signer)) {
        return error_set(reterr, ERROR_UNAVAILABLE,
                         CERTIFICATE_SETTING ": the certificate is not valid now");
    }
    return sign(signer, arena, bytes, length, ret_signature, ret_length, reterr);
}

/* Whether the kind of key can do it is seen at the start, not with the first report. */
static bool try_it(const struct document_signer *signer, struct error *reterr)
{
    struct arena *arena = arena_new();
    const unsigned char *signature = NULL;
    size_t length = 0;
    bool good = sign(signer, arena, (const unsigned char *)"a", 1, &signature, &length, reterr);
    arena_free(arena);
    return good;
}

bool document_signer_read(const char *certificate_path, const char *key_path,
                          struct document_signer **ret_signer, struct error *reterr)
{
    struct document_signer *signer = sodium_malloc(sizeof *signer);
    if (signer == NULL) {
        return error_set(reterr, ERROR_UNAVAILABLE, "no memory that can be locked for a key");
    }
    *signer = (struct document_signer){0};
    if (!read_chain(signer, certificate_path, reterr) || !read_key(signer, key_path, reterr) ||
        !check_pair(signer, reterr) || !try_it(signer, reterr)) {
        document_signer_free(signer);
        return false;
    }
    /* NOLINTNEXTLINE(clang-analyzer-core.NonNullParamChecker): read_key() has set it */
    (void)sodium_mprotect_readonly(signer->key);
    *ret_signer = signer;
    return true;
}

void document_signer_free(struct document_signer *signer)
{
    if (signer == NULL) {
        return;
    }
    for (unsigned i = 0; i < signer->chain_count; i++) {
        gnutls_x509_crt_deinit(signer->chain[i]);
    }
    sodium_free(signer->key); /* overwrites it */
    sodium_free(signer);
}

long document_signer_days_left(const struct document_signer *signer)
{
    time_t left_s = gnutls_x509_crt_get_expiration_time(signer->chain[0]) - time(NULL);
    return (long)(left_s / DAY_S) - (left_s < 0 ? 1 : 0);
}
