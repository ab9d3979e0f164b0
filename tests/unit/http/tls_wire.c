#include "tls_wire.h"

#include <fcntl.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <time.h>
#include <unistd.h>

#include <cmocka.h>

enum { DAY_S = 24 * 3600, DIGEST = 32, HANDSHAKE_MS = 10000 };

static void fingerprint_of(const gnutls_datum_t *der, char text[65])
{
    unsigned char digest[DIGEST];
    size_t size = sizeof digest;
    assert_int_equal(gnutls_fingerprint(GNUTLS_DIG_SHA256, der, digest, &size), 0);
    for (size_t i = 0; i < sizeof digest; i++) {
        (void)snprintf(text + 2 * i, 3, "%02x", digest[i]);
    }
}

static void set_use(gnutls_x509_crt_t crt, enum certificate_use use)
{
    static const char loopback[] = {127, 0, 0, 1};
    assert_int_equal(gnutls_x509_crt_set_ca_status(crt, use == USE_AUTHORITY), 0);
    if (use == USE_AUTHORITY) {
        assert_int_equal(gnutls_x509_crt_set_key_usage(crt, GNUTLS_KEY_KEY_CERT_SIGN), 0);
        return;
    }
    assert_int_equal(gnutls_x509_crt_set_key_usage(crt, GNUTLS_KEY_DIGITAL_SIGNATURE), 0);
    const char *purpose = use == USE_SERVER ? GNUTLS_KP_TLS_WWW_SERVER : GNUTLS_KP_TLS_WWW_CLIENT;
    assert_int_equal(gnutls_x509_crt_set_key_purpose_oid(crt, purpose, 0), 0);
    if (use == USE_SERVER) {
        assert_int_equal(gnutls_x509_crt_set_subject_alt_name(crt, GNUTLS_SAN_IPADDRESS, loopback,
                                                              sizeof loopback, GNUTLS_FSAN_SET),
                         0);
    }
}

void certificate_new(struct certificate *certificate, enum certificate_use use, int days,
                     const struct certificate *issuer)
{
    static unsigned serials;
    static const char *const names[] = {"Test authority", "127.0.0.1", "Test room"};
    unsigned char serial[] = {1, (unsigned char)++serials};
    assert_int_equal(gnutls_x509_privkey_init(&certificate->key), 0);
    assert_int_equal(gnutls_x509_privkey_generate(certificate->key, GNUTLS_PK_ECDSA,
                                                  GNUTLS_CURVE_TO_BITS(GNUTLS_ECC_CURVE_SECP256R1),
                                                  0),
                     0);
    gnutls_x509_crt_t crt;
    assert_int_equal(gnutls_x509_crt_init(&crt), 0);
    assert_int_equal(gnutls_x509_crt_set_version(crt, 3), 0);
    assert_int_equal(gnutls_x509_crt_set_serial(crt, serial, sizeof serial), 0);
    assert_int_equal(gnutls_x509_crt_set_dn_by_oid(crt, GNUTLS_OID_X520_COMMON_NAME, 0, names[use],
                                                   (unsigned)strlen(names[use])),
                     0);
    time_t now = time(NULL);
    assert_int_equal(gnutls_x509_crt_set_activation_time(crt, now - (time_t)10 * DAY_S), 0);
    assert_int_equal(gnutls_x509_crt_set_expiration_time(crt, now + (time_t)days * DAY_S), 0);
    assert_int_equal(gnutls_x509_crt_set_key(crt, certificate->key), 0);
    set_use(crt, use);
    assert_int_equal(gnutls_x509_crt_sign2(crt, issuer == NULL ? crt : issuer->crt,
                                           issuer == NULL ? certificate->key : issuer->key,
                                           GNUTLS_DIG_SHA256, 0),
                     0);
    gnutls_datum_t der;
    assert_int_equal(gnutls_x509_crt_export2(crt, GNUTLS_X509_FMT_DER, &der), 0);
    fingerprint_of(&der, certificate->fingerprint);
    gnutls_free(der.data);
    certificate->crt = crt;
}

void certificate_free(struct certificate *certificate)
{
    gnutls_x509_crt_deinit(certificate->crt);
    gnutls_x509_privkey_deinit(certificate->key);
}

static void write_file(const char *file, const gnutls_datum_t *content, unsigned mode)
{
    (void)unlink(file);
    int fd = open(file, O_WRONLY | O_CREAT | O_EXCL | O_CLOEXEC, 0600);
    assert_true(fd >= 0);
    assert_int_equal(write(fd, content->data, content->size), (ssize_t)content->size);
    assert_int_equal(fchmod(fd, mode), 0);
    (void)close(fd);
}

void certificate_write(const struct certificate *certificate, const char *file)
{
    gnutls_datum_t pem;
    assert_int_equal(gnutls_x509_crt_export2(certificate->crt, GNUTLS_X509_FMT_PEM, &pem), 0);
    write_file(file, &pem, 0644);
    gnutls_free(pem.data);
}

void certificate_write_key(const struct certificate *certificate, const char *file, unsigned mode)
{
    gnutls_datum_t pem;
    assert_int_equal(gnutls_x509_privkey_export2(certificate->key, GNUTLS_X509_FMT_PEM, &pem), 0);
    write_file(file, &pem, mode);
    gnutls_free(pem.data);
}

static ssize_t send_record(void *session, const void *bytes, size_t length)
{
    return gnutls_record_send(session, bytes, length);
}

/* A new session ticket is no data, and no end. */
static ssize_t receive_record(void *session, void *bytes, size_t length)
{
    ssize_t got = 0;
    do {
        got = gnutls_record_recv(session, bytes, length);
    } while (got == GNUTLS_E_AGAIN || got == GNUTLS_E_INTERRUPTED);
    return got;
}

bool tls_client_open(struct tls_client *client, uint16_t port, const struct tls_wishes *wishes)
{
    memset(client, 0, sizeof *client);
    wire_open(&client->wire, port);
    assert_int_equal(gnutls_certificate_allocate_credentials(&client->credentials), 0);
    if (wishes->authority != NULL) {
        gnutls_x509_crt_t crt = wishes->authority->crt;
        assert_int_equal(gnutls_certificate_set_x509_trust(client->credentials, &crt, 1), 1);
    }
    if (wishes->certificate != NULL) {
        gnutls_x509_crt_t crt = wishes->certificate->crt;
        assert_int_equal(
            gnutls_certificate_set_x509_key(client->credentials, &crt, 1, wishes->certificate->key),
            0);
    }
    /* Shown whoever the server says it would take. */
    assert_int_equal(gnutls_init(&client->session, GNUTLS_CLIENT | GNUTLS_FORCE_CLIENT_CERT), 0);
    assert_int_equal(
        gnutls_priority_set_direct(
            client->session, wishes->priorities == NULL ? "NORMAL" : wishes->priorities, NULL),
        0);
    assert_int_equal(
        gnutls_credentials_set(client->session, GNUTLS_CRD_CERTIFICATE, client->credentials), 0);
    if (wishes->authority != NULL) {
        gnutls_session_set_verify_cert(client->session, "127.0.0.1", 0);
    }
    gnutls_transport_set_int(client->session, client->wire.socket);
    gnutls_handshake_set_timeout(client->session, HANDSHAKE_MS);
    gnutls_record_set_timeout(client->session, WIRE_PATIENCE_MS);
    int code = 0;
    do {
        code = gnutls_handshake(client->session);
    } while (code < 0 && gnutls_error_is_fatal(code) == 0);
    client->wire.session = client->session;
    client->wire.send = send_record;
    client->wire.receive = receive_record;
    return code == 0;
}

void tls_client_close(struct tls_client *client)
{
    gnutls_deinit(client->session);
    gnutls_certificate_free_credentials(client->credentials);
    wire_close(&client->wire);
}

void tls_client_server(struct tls_client *client, char fingerprint[65])
{
    unsigned count = 0;
    const gnutls_datum_t *chain = gnutls_certificate_get_peers(client->session, &count);
    assert_true(chain != NULL && count > 0);
    fingerprint_of(&chain[0], fingerprint);
}
