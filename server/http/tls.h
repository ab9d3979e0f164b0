/* Certificates and keys for TLS, by GnuTLS: read from PEM files, replaced while the server runs.
 * Private to http/. A session is GnuTLS's gnutls_session_t, as libmicrohttpd hands it out. */
#ifndef HTTP_TLS_H
#define HTTP_TLS_H

#include "base/error.h"
#include "http/http.h"

#include <stdbool.h>

enum { TLS_FINGERPRINT_SIZE = 65 };

struct tls;
struct tls_credentials;

/* GnuTLS's words for what is spoken. TLS 1.2 and 1.3 alone, with forward secrecy, authenticated
 * encryption and signatures better than SHA-1 (RFC 9325, sections 3.1.1, 4.1 and 4.2). */
extern const char tls_priorities[];

/* Reads the files of `options`, whose pointers must outlive the object. ERROR_INVALID names the
 * setting whose file cannot be used; what stands in a file is never part of it. */
MUST_CHECK bool tls_new(const struct http_tls_options *options, struct tls **ret_tls,
                        struct error *reterr);

/* Reads the files anew, for connections that begin from now on. False leaves all as it was. May be
 * called on any thread. */
MUST_CHECK bool tls_reload(struct tls *tls, struct error *reterr);

/* NULL is allowed; no connection may be left. */
void tls_free(struct tls *tls);

/* Gives a session that has not begun its handshake the newest credentials. They are kept until
 * tls_end(), which must come after the session is gone. NULL when the session cannot take them: its
 * handshake then fails. */
struct tls_credentials *tls_begin(struct tls *tls, void *session);
void tls_end(struct tls *tls, struct tls_credentials *credentials);

/* Writes the SHA-256 of the client's certificate (DER, lower-case hexadecimal) when it has shown
 * one that the client authority has signed, that is in force and that may be used by clients (RFC
 * 5280, section 4.2.1.12). After the handshake only. */
MUST_CHECK bool tls_client_fingerprint(void *session, char text[TLS_FINGERPRINT_SIZE]);

/* What libmicrohttpd insists on before it speaks TLS: a function of GnuTLS's type
 * gnutls_certificate_retrieve_function3. It has no certificate to give, because every session gets
 * its own by tls_begin(). */
const void *tls_no_certificate(void);

#endif
