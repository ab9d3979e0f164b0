/* Certificates made for one test, and a client that speaks TLS. */
#ifndef TESTS_TLS_WIRE_H
#define TESTS_TLS_WIRE_H

#include "wire.h"

#include <gnutls/gnutls.h>
#include <gnutls/x509.h>
#include <stdbool.h>
#include <stdint.h>

struct certificate {
    gnutls_x509_privkey_t key;
    gnutls_x509_crt_t crt;
    char fingerprint[65]; /* SHA-256, lower-case hexadecimal */
};

enum certificate_use { USE_AUTHORITY, USE_SERVER, USE_CLIENT };

/* In force from a day ago until `days` from now; signed by `issuer`, or by itself when NULL. */
void certificate_new(struct certificate *certificate, enum certificate_use use, int days,
                     const struct certificate *issuer);
void certificate_free(struct certificate *certificate);

/* Writes PEM files. */
void certificate_write(const struct certificate *certificate, const char *file);
void certificate_write_key(const struct certificate *certificate, const char *file, unsigned mode);

struct tls_client {
    struct wire wire;
    gnutls_certificate_credentials_t credentials;
    gnutls_session_t session;
};

struct tls_wishes {
    const char *priorities;                /* NULL: the library's */
    const struct certificate *authority;   /* whom the server's certificate must be from */
    const struct certificate *certificate; /* to show, or NULL */
};

/* Connects and shakes hands; false when that fails. tls_client_close() in any case. */
bool tls_client_open(struct tls_client *client, uint16_t port, const struct tls_wishes *wishes);
void tls_client_close(struct tls_client *client);

/* The fingerprint of the server's certificate. */
void tls_client_server(struct tls_client *client, char fingerprint[65]);

#endif
