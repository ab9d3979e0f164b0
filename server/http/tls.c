#include "http/tls.h"

#include "base/log.h"

#include <errno.h>
#include <fcntl.h>
#include <gnutls/abstract.h>
#include <gnutls/gnutls.h>
#include <gnutls/x509.h>
#include <math.h>
#include <pthread.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <time.h>
#include <unistd.h>

enum { FILE_LIMIT = 1024 * 1024, DIGEST_BYTES = 32 };

static const double day_s = 24.0 * 3600.0;
static const double expiry_warning_days = 14;

const char tls_priorities[] =
    "NORMAL:-VERS-ALL:+VERS-TLS1.3:+VERS-TLS1.2"
    ":-KX-ALL:+ECDHE-ECDSA:+ECDHE-RSA"
    ":-CIPHER-ALL:+AES-256-GCM:+CHACHA20-POLY1305:+AES-128-GCM:-MAC-ALL:+AEAD"
    ":-SIGN-RSA-SHA1:-SIGN-ECDSA-SHA1:%SERVER_PRECEDENCE";

/* What the connections of one time share. Freed with the last of them. */
struct tls_credentials {
    gnutls_certificate_credentials_t handle;
    size_t users; /* connections, and the struct tls that hands them out */
    bool asks_client;
};

struct tls {
    struct http_tls_options options;
    pthread_mutex_t lock; /* for `newest` and the counts of users */
    struct tls_credentials *newest;
};

/* ------------------------------------------------------------------- files */

static void wipe(gnutls_datum_t *content)
{
    if (content->data != NULL) {
        explicit_bzero(content->data, content->size);
        free(content->data);
    }
    *content = (gnutls_datum_t){NULL, 0};
}

static bool read_all(int fd, gnutls_datum_t *content)
{
    while (content->size < FILE_LIMIT) {
        ssize_t got = read(fd, content->data + content->size, FILE_LIMIT - content->size);
        if (got < 0 && errno == EINTR) {
            continue;
        }
        if (got <= 0) {
            return got == 0;
        }
        content->size += (unsigned)got;
    }
    errno = EFBIG;
    return false;
}

/* A path may be a slip, such as the key itself, so that only what looks like one is repeated. */
static const char *shown_path(const char *path)
{
    return strpbrk(path, "\r\n") == NULL && strstr(path, "-----") == NULL ? path : "the file";
}

static bool file_fault(const char *setting, const char *path, const char *fault,
                       struct error *reterr)
{
    return error_set(reterr, ERROR_INVALID, "%s: %s %s", setting, shown_path(path), fault);
}

/* The permissions are those of the file that is read, whatever its name stands for a moment later.
 */
static bool check_secret(int fd, const char *setting, const char *path, struct error *reterr)
{
    struct stat about;
    if (fstat(fd, &about) != 0 || !S_ISREG(about.st_mode)) {
        return file_fault(setting, path, "is no file", reterr);
    }
    if ((about.st_mode & (S_IRWXO | S_IWGRP)) != 0) {
        return file_fault(setting, path,
                          "can be read by others than its owner and group, or written by its "
                          "group: chmod 0600 or 0640",
                          reterr);
    }
    return true;
}

static bool read_file(const char *setting, const char *path, bool secret, gnutls_datum_t *content,
                      struct error *reterr)
{
    int fd = open(path, O_RDONLY | O_CLOEXEC | O_NONBLOCK | O_NOCTTY);
    if (fd < 0) {
        const char *why = strerrordesc_np(errno);
        return error_set(reterr, ERROR_INVALID, "%s: %s cannot be opened: %s", setting,
                         shown_path(path), why == NULL ? "unknown error" : why);
    }
    bool good = !secret || check_secret(fd, setting, path, reterr);
    if (good) {
        content->data = malloc(FILE_LIMIT);
        good = content->data != NULL && read_all(fd, content);
        if (!good) {
            (void)file_fault(setting, path, "cannot be read, or is too long", reterr);
            wipe(content);
        }
    }
    (void)close(fd);
    return good;
}

/* ------------------------------------------------------------- credentials */

/* The key in the buffer is wiped; GnuTLS wipes its own copy when the credentials are freed. */
static bool load_pair(gnutls_certificate_credentials_t handle,
                      const struct http_tls_options *options, struct error *reterr)
{
    gnutls_datum_t certificate = {NULL, 0};
    gnutls_datum_t key = {NULL, 0};
    if (!read_file("PENSTOCK_TLS_CERTIFICATE", options->certificate_file, false, &certificate,
                   reterr) ||
        !read_file("PENSTOCK_TLS_KEY", options->key_file, true, &key, reterr)) {
        wipe(&certificate);
        return false;
    }
    int code = gnutls_certificate_set_x509_key_mem2(handle, &certificate, &key, GNUTLS_X509_FMT_PEM,
                                                    NULL, 0);
    wipe(&key);
    wipe(&certificate);
    return code >= 0 || error_set(reterr, ERROR_INVALID,
                                  "PENSTOCK_TLS_CERTIFICATE (%s) and PENSTOCK_TLS_KEY (%s) are no "
                                  "pair in PEM: %s",
                                  shown_path(options->certificate_file),
                                  shown_path(options->key_file), gnutls_strerror(code));
}

static bool load_client_ca(gnutls_certificate_credentials_t handle,
                           const struct http_tls_options *options, struct error *reterr)
{
    gnutls_datum_t authority = {NULL, 0};
    if (options->client_ca_file == NULL) {
        return true;
    }
    if (!read_file("PENSTOCK_TLS_CLIENT_CA", options->client_ca_file, false, &authority, reterr)) {
        return false;
    }
    int count = gnutls_certificate_set_x509_trust_mem(handle, &authority, GNUTLS_X509_FMT_PEM);
    wipe(&authority);
    return count > 0 || file_fault("PENSTOCK_TLS_CLIENT_CA", options->client_ca_file,
                                   "holds no certificate in PEM", reterr);
}

/* So that a log tells in time that a certificate runs out, and which of the two is in use. */
static void log_expiry(gnutls_certificate_credentials_t handle)
{
    gnutls_x509_crt_t *chain = NULL;
    unsigned count = 0;
    if (gnutls_certificate_get_x509_crt(handle, 0, &chain, &count) < 0 || count == 0) {
        return;
    }
    time_t expires = gnutls_x509_crt_get_expiration_time(chain[0]);
    double days = difftime(expires, time(NULL)) / day_s;
    log_message(days < expiry_warning_days ? LOG_LEVEL_WARNING : LOG_LEVEL_INFO, "tls_certificate",
                "the certificate %s %.1f days %s", days < 0 ? "expired" : "expires", fabs(days),
                days < 0 ? "ago" : "from now");
    for (unsigned i = 0; i < count; i++) {
        gnutls_x509_crt_deinit(chain[i]);
    }
    gnutls_free(chain);
}

static void credentials_free(struct tls_credentials *credentials)
{
    if (credentials->handle != NULL) {
        gnutls_certificate_free_credentials(credentials->handle);
    }
    free(credentials);
}

static bool credentials_load(const struct http_tls_options *options,
                             struct tls_credentials **ret_credentials, struct error *reterr)
{
    struct tls_credentials *credentials = calloc(1, sizeof *credentials);
    if (credentials == NULL) {
        return error_set(reterr, ERROR_UNAVAILABLE, "no memory for TLS credentials");
    }
    credentials->users = 1;
    credentials->asks_client = options->client_ca_file != NULL;
    if (gnutls_certificate_allocate_credentials(&credentials->handle) < 0) {
        credentials_free(credentials);
        return error_set(reterr, ERROR_UNAVAILABLE, "no memory for TLS credentials");
    }
    if (!load_pair(credentials->handle, options, reterr) ||
        !load_client_ca(credentials->handle, options, reterr)) {
        credentials_free(credentials);
        return false;
    }
    log_expiry(credentials->handle);
    *ret_credentials = credentials;
    return true;
}

bool tls_new(const struct http_tls_options *options, struct tls **ret_tls, struct error *reterr)
{
    struct tls *tls = calloc(1, sizeof *tls);
    if (tls == NULL) {
        return error_set(reterr, ERROR_UNAVAILABLE, "no memory for TLS");
    }
    tls->options = *options;
    if (!credentials_load(options, &tls->newest, reterr)) {
        free(tls);
        return false;
    }
    (void)pthread_mutex_init(&tls->lock, NULL);
    *ret_tls = tls;
    return true;
}

bool tls_reload(struct tls *tls, struct error *reterr)
{
    struct tls_credentials *fresh = NULL;
    if (!credentials_load(&tls->options, &fresh, reterr)) {
        return false;
    }
    (void)pthread_mutex_lock(&tls->lock);
    struct tls_credentials *old = tls->newest;
    tls->newest = fresh;
    (void)pthread_mutex_unlock(&tls->lock);
    tls_end(tls, old);
    return true;
}

void tls_free(struct tls *tls)
{
    if (tls == NULL) {
        return;
    }
    tls_end(tls, tls->newest);
    (void)pthread_mutex_destroy(&tls->lock);
    free(tls);
}

/* ---------------------------------------------------------------- sessions */

struct tls_credentials *tls_begin(struct tls *tls, void *session)
{
    (void)pthread_mutex_lock(&tls->lock);
    struct tls_credentials *credentials = tls->newest;
    credentials->users++;
    (void)pthread_mutex_unlock(&tls->lock);
    if (gnutls_credentials_set(session, GNUTLS_CRD_CERTIFICATE, credentials->handle) < 0) {
        tls_end(tls, credentials);
        return NULL;
    }
    gnutls_certificate_server_set_request(session, credentials->asks_client ? GNUTLS_CERT_REQUEST
                                                                            : GNUTLS_CERT_IGNORE);
    return credentials;
}

void tls_end(struct tls *tls, struct tls_credentials *credentials)
{
    if (credentials == NULL) {
        return;
    }
    (void)pthread_mutex_lock(&tls->lock);
    bool last = --credentials->users == 0;
    (void)pthread_mutex_unlock(&tls->lock);
    if (last) {
        credentials_free(credentials);
    }
}

bool tls_client_fingerprint(void *session, char text[TLS_FINGERPRINT_SIZE])
{
    static const char digits[] = "0123456789abcdef";
    static unsigned char client_purpose[] = GNUTLS_KP_TLS_WWW_CLIENT;
    unsigned count = 0;
    const gnutls_datum_t *chain = gnutls_certificate_get_peers(session, &count);
    if (chain == NULL || count == 0) {
        return false;
    }
    gnutls_typed_vdata_st purpose = {GNUTLS_DT_KEY_PURPOSE_OID, client_purpose, 0};
    unsigned faults = 0;
    if (gnutls_certificate_verify_peers(session, &purpose, 1, &faults) < 0 || faults != 0) {
        log_message(LOG_LEVEL_INFO, "client_certificate_ignored", "verification status 0x%x",
                    faults);
        return false;
    }
    unsigned char digest[DIGEST_BYTES];
    size_t size = sizeof digest;
    if (gnutls_fingerprint(GNUTLS_DIG_SHA256, &chain[0], digest, &size) < 0) {
        return false;
    }
    for (size_t i = 0; i < sizeof digest; i++) {
        text[2 * i] = digits[digest[i] >> 4];
        text[2 * i + 1] = digits[digest[i] & 15];
    }
    text[TLS_FINGERPRINT_SIZE - 1] = '\0';
    return true;
}

static int give_none(gnutls_session_t session, const struct gnutls_cert_retr_st *info,
                     gnutls_pcert_st **certificates, unsigned *certificate_count,
                     gnutls_ocsp_data_st **staples, unsigned *staple_count, gnutls_privkey_t *key,
                     unsigned *flags)
{
    (void)session;
    (void)info;
    *certificates = NULL;
    *certificate_count = 0;
    *staples = NULL;
    *staple_count = 0;
    *key = NULL;
    *flags = 0;
    return -1;
}

const void *tls_no_certificate(void)
{
    gnutls_certificate_retrieve_function3 *function = give_none;
    const void *pointer = NULL;
    memcpy(&pointer, &function, sizeof pointer);
    return pointer;
}
