/* The clinic's detached signature: keys of every usual kind, what is refused, what others verify.
 * Keys and certificates are made with GnuTLS here; openssl is the judge in tests/api. */
#include "auth/document_signature.h"
#include "auth/password.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>
#include <fcntl.h>
#include <gnutls/abstract.h>
#include <gnutls/pkcs7.h>
#include <gnutls/x509.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <time.h>
#include <unistd.h>

enum { DAY_S = 24 * 3600 };

static char certificate_path[64];
static char key_path[64];

static void write_file(const char *path, const gnutls_datum_t *text, mode_t mode)
{
    int file = open(path, O_WRONLY | O_CREAT | O_TRUNC | O_CLOEXEC, 0600);
    assert_true(file >= 0);
    assert_int_equal(write(file, text->data, text->size), text->size);
    assert_int_equal(fchmod(file, mode), 0);
    assert_int_equal(close(file), 0);
}

/* Writes a key and its own certificate, which is valid from and until so many days from now. */
static void make(gnutls_pk_algorithm_t kind, unsigned bits, int from_days, int until_days)
{
    static const unsigned char serial[] = {1};
    gnutls_x509_privkey_t key = NULL;
    gnutls_x509_crt_t certificate = NULL;
    gnutls_datum_t text = {NULL, 0};
    assert_int_equal(gnutls_x509_privkey_init(&key), 0);
    assert_int_equal(gnutls_x509_privkey_generate(key, kind, bits, 0), 0);
    assert_int_equal(gnutls_x509_crt_init(&certificate), 0);
    assert_int_equal(gnutls_x509_crt_set_version(certificate, 3), 0);
    assert_int_equal(gnutls_x509_crt_set_serial(certificate, serial, sizeof serial), 0);
    assert_int_equal(gnutls_x509_crt_set_dn(certificate, "CN=A clinic", NULL), 0);
    assert_int_equal(
        gnutls_x509_crt_set_activation_time(certificate, time(NULL) + (time_t)from_days * DAY_S),
        0);
    assert_int_equal(gnutls_x509_crt_set_expiration_time(
                         certificate, time(NULL) + (time_t)until_days * DAY_S + DAY_S / 2),
                     0);
    assert_int_equal(gnutls_x509_crt_set_key(certificate, key), 0);
    assert_int_equal(gnutls_x509_crt_sign2(certificate, certificate, key, GNUTLS_DIG_SHA256, 0), 0);
    assert_int_equal(gnutls_x509_crt_export2(certificate, GNUTLS_X509_FMT_PEM, &text), 0);
    write_file(certificate_path, &text, 0644);
    gnutls_free(text.data);
    assert_int_equal(gnutls_x509_privkey_export2_pkcs8(key, GNUTLS_X509_FMT_PEM, NULL, 0, &text),
                     0);
    write_file(key_path, &text, 0600);
    gnutls_free(text.data);
    gnutls_x509_crt_deinit(certificate);
    gnutls_x509_privkey_deinit(key);
}

static struct document_signer *reads(void)
{
    struct document_signer *signer = NULL;
    struct error error = {0};
    if (!document_signer_read(certificate_path, key_path, &signer, &error)) {
        fail_msg("%s", error.detail);
    }
    return signer;
}

static void is_refused(const char *words)
{
    struct document_signer *signer = NULL;
    struct error error = {0};
    assert_false(document_signer_read(certificate_path, key_path, &signer, &error));
    assert_int_equal(error.kind, ERROR_INVALID);
    assert_non_null(strstr(error.detail, "PENSTOCK_SIGNING_"));
    assert_non_null(strstr(error.detail, words));
    assert_null(signer);
}

/* Whether the signature in `der` is one of the bytes, by the certificate that it brings along. */
static bool verifies(const unsigned char *der, size_t length, const char *bytes)
{
    gnutls_pkcs7_t cms = NULL;
    gnutls_x509_crt_t certificate = NULL;
    gnutls_datum_t raw = {NULL, 0};
    /* The library takes what it only reads as what it may change.
     * NOLINTBEGIN(performance-no-int-to-ptr) */
    const gnutls_datum_t signature = {(unsigned char *)(uintptr_t)der, (unsigned)length};
    const gnutls_datum_t data = {(unsigned char *)(uintptr_t)bytes, (unsigned)strlen(bytes)};
    /* NOLINTEND(performance-no-int-to-ptr) */
    assert_int_equal(gnutls_pkcs7_init(&cms), 0);
    assert_int_equal(gnutls_pkcs7_import(cms, &signature, GNUTLS_X509_FMT_DER), 0);
    assert_int_equal(gnutls_pkcs7_get_crt_raw2(cms, 0, &raw), 0);
    assert_int_equal(gnutls_x509_crt_init(&certificate), 0);
    assert_int_equal(gnutls_x509_crt_import(certificate, &raw, GNUTLS_X509_FMT_DER), 0);
    bool good = gnutls_pkcs7_verify_direct(cms, certificate, 0, &data, 0) == GNUTLS_E_SUCCESS;
    gnutls_free(raw.data);
    gnutls_x509_crt_deinit(certificate);
    gnutls_pkcs7_deinit(cms);
    return good;
}

static void keys_of_usual_kinds_sign(void **state)
{
    (void)state;

    static const struct {
        gnutls_pk_algorithm_t kind;
        unsigned bits;
    } kinds[] = {
        {GNUTLS_PK_RSA, 2048},
        {GNUTLS_PK_ECDSA, GNUTLS_CURVE_TO_BITS(GNUTLS_ECC_CURVE_SECP256R1)},
        {GNUTLS_PK_ECDSA, GNUTLS_CURVE_TO_BITS(GNUTLS_ECC_CURVE_SECP384R1)},
    };

    for (size_t i = 0; i < sizeof kinds / sizeof kinds[0]; i++) {
        struct arena *arena = arena_new();
        const unsigned char *signature = NULL;
        size_t length = 0;
        struct error error = {0};
        make(kinds[i].kind, kinds[i].bits, -1, 10);
        struct document_signer *signer = reads();
        assert_int_equal(document_signer_days_left(signer), 10);
        assert_true(document_sign(signer, arena, (const unsigned char *)"a report", 8, &signature,
                                  &length, &error));
        assert_true(verifies(signature, length, "a report"));
        assert_false(verifies(signature, length, "a rePort"));
        document_signer_free(signer);
        arena_free(arena);
    }
}

static void certificates_that_are_over_sign_nothing(void **state)
{
    (void)state;
    static const int spans[][2] = {{-10, -2}, {2, 10}};
    for (int i = 0; i < 2; i++) {
        struct arena *arena = arena_new();
        const unsigned char *signature = NULL;
        size_t length = 0;
        struct error error = {0};
        make(GNUTLS_PK_ECDSA, GNUTLS_CURVE_TO_BITS(GNUTLS_ECC_CURVE_SECP256R1), spans[i][0],
             spans[i][1]);
        struct document_signer *signer = reads();
        assert_true(i == 1 || document_signer_days_left(signer) < 0);
        assert_false(document_sign(signer, arena, (const unsigned char *)"a", 1, &signature,
                                   &length, &error));
        assert_int_equal(error.kind, ERROR_UNAVAILABLE);
        document_signer_free(signer);
        arena_free(arena);
    }
}

static void what_cannot_be_used_is_refused(void **state)
{
    (void)state;
    static unsigned char words[] = "-----BEGIN NOTHING-----\n";
    const gnutls_datum_t nonsense = {words, sizeof words - 1};
    const unsigned bits = GNUTLS_CURVE_TO_BITS(GNUTLS_ECC_CURVE_SECP256R1);
    make(GNUTLS_PK_ECDSA, bits, -1, 10);
    assert_int_equal(chmod(key_path, 0640), 0);
    is_refused("chmod 0600");
    write_file(key_path, &nonsense, 0600);
    is_refused("no private key");
    assert_int_equal(truncate(key_path, 0), 0);
    is_refused("cannot be read");
    assert_int_equal(unlink(key_path), 0);
    is_refused("cannot open");
    make(GNUTLS_PK_ECDSA, bits, -1, 10);
    write_file(certificate_path, &nonsense, 0644);
    is_refused("no certificate");
    assert_int_equal(unlink(certificate_path), 0);
    is_refused("no certificate");
    /* A certificate of another key. */
    char kept[sizeof key_path + 8];
    (void)snprintf(kept, sizeof kept, "%s.kept", key_path);
    make(GNUTLS_PK_ECDSA, bits, -1, 10);
    assert_int_equal(rename(key_path, kept), 0);
    make(GNUTLS_PK_ECDSA, bits, -1, 10);
    assert_int_equal(rename(kept, key_path), 0);
    is_refused("not the key");
    document_signer_free(NULL);
}

static int set_up(void **state)
{
    (void)state;
    (void)snprintf(certificate_path, sizeof certificate_path, "/tmp/penstock-signer-%d.pem",
                   (int)getpid());
    (void)snprintf(key_path, sizeof key_path, "/tmp/penstock-signer-%d.key", (int)getpid());
    return password_library_start() ? 0 : -1;
}

static int tear_down(void **state)
{
    (void)state;
    (void)unlink(certificate_path);
    (void)unlink(key_path);
    return 0;
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(keys_of_usual_kinds_sign),
        cmocka_unit_test(certificates_that_are_over_sign_nothing),
        cmocka_unit_test(what_cannot_be_used_is_refused),
    };
    return cmocka_run_group_tests_name("auth: document signature", tests, set_up, tear_down);
}
