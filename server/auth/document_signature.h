/* The clinic's own signature below a signed report: a detached CMS signature (RFC 5652), which
 * anybody checks with the certificate and without this program. It says that this server's key was
 * used for exactly these bytes; who decided to sign stands in the database and in the report.
 *
 * The key lies in locked memory, and is parsed only while something is being signed. */
#ifndef AUTH_DOCUMENT_SIGNATURE_H
#define AUTH_DOCUMENT_SIGNATURE_H

#include "base/arena.h"
#include "base/error.h"

#include <stdbool.h>
#include <stddef.h>

struct document_signer;

/* Reads a PEM file with the certificate, and those that lead to its root after it, and a PEM file
 * with its key, unencrypted, which nobody but its owner may read. ERROR_INVALID, in words that name
 * the setting, when they cannot be used or do not belong together. */
MUST_CHECK bool document_signer_read(const char *certificate_path, const char *key_path,
                                     struct document_signer **ret_signer, struct error *reterr);

/* Overwrites the key. NULL is allowed. */
void document_signer_free(struct document_signer *signer);

/* Whether the certificate has begun and not ended. */
bool document_signer_is_valid(const struct document_signer *signer);

/* Signs bytes: DER, on the arena, with the signing time and the certificates. SHA-256. Threads may
 * share a signer. ERROR_UNAVAILABLE when the certificate is not valid now. */
MUST_CHECK bool document_sign(const struct document_signer *signer, struct arena *arena,
                              const unsigned char *bytes, size_t length,
                              const unsigned char **ret_signature, size_t *ret_length,
                              struct error *reterr);

/* Whole days until the certificate ends; below 0 when it has. */
long document_signer_days_left(const struct document_signer *signer);

#endif
