#include "config.h"

#include "auth/web_fetch.h"
#include "base/log.h"

#include <errno.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#define FILE_SUFFIX "_FILE"

enum { FILE_SUFFIX_LENGTH = sizeof FILE_SUFFIX - 1, VALUE_LIMIT = 16 * 1024, VARIABLE_SIZE = 64 };

struct setting {
    const char *name;
    const char *fallback;
    const char *meaning;
};

enum setting_index {
    SETTING_ADDRESS,
    SETTING_BODY_MEMORY,
    SETTING_DATABASE,
    SETTING_KEY_FILE,
    SETTING_LOG_LEVEL,
    SETTING_OIDC_CA,
    SETTING_OIDC_CLIENT_ID,
    SETTING_OIDC_CLIENT_SECRET,
    SETTING_OIDC_ISSUER,
    SETTING_OIDC_NAME,
    SETTING_OWNER_DATABASE,
    SETTING_PORT,
    SETTING_PUBLIC_URL,
    SETTING_QUEUE,
    SETTING_SECURE_COOKIES,
    SETTING_SIGNING_CERTIFICATE,
    SETTING_SIGNING_KEY,
    SETTING_TLS_CERTIFICATE,
    SETTING_TLS_CLIENT_CA,
    SETTING_TLS_KEY,
    SETTING_TRUSTED_PROXIES,
    SETTING_WORKERS,
    SETTING_COUNT
};

static const struct setting SETTINGS[SETTING_COUNT] = {
    [SETTING_ADDRESS] = {"PENSTOCK_ADDRESS", "127.0.0.1", "numeric address to listen on"},
    [SETTING_BODY_MEMORY] = {"PENSTOCK_BODY_MEMORY", "8",
                             "MiB of a request's body that are kept in memory; a longer one goes "
                             "to a file in /var/tmp"},
    [SETTING_DATABASE] =
        {"PENSTOCK_DATABASE", "",
         "libpq connection string of the server's own role; several hosts allowed"},
    [SETTING_KEY_FILE] = {"PENSTOCK_KEY_FILE", "",
                          "file with the key under which second factors are kept: 32 bytes, raw or "
                          "in base64, mode 0600; the same for every server of a database"},
    [SETTING_LOG_LEVEL] = {"PENSTOCK_LOG_LEVEL", "info", "debug, info, warning or error"},
    [SETTING_OIDC_CA] = {"PENSTOCK_OIDC_CA", "",
                         "file of certificates to trust for the sign-in provider, in place of "
                         "the system's"},
    [SETTING_OIDC_CLIENT_ID] = {"PENSTOCK_OIDC_CLIENT_ID", "",
                                "what the sign-in provider calls this server"},
    [SETTING_OIDC_CLIENT_SECRET] = {"PENSTOCK_OIDC_CLIENT_SECRET", "",
                                    "secret agreed with the sign-in provider, better given as "
                                    "PENSTOCK_OIDC_CLIENT_SECRET_FILE; "
                                    "not set: a public client"},
    [SETTING_OIDC_ISSUER] = {"PENSTOCK_OIDC_ISSUER", "",
                             "issuer of the sign-in provider (OpenID Connect); not set: no single "
                             "sign-on"},
    [SETTING_OIDC_NAME] = {"PENSTOCK_OIDC_NAME", "",
                           "name of the sign-in provider, as people know it"},
    [SETTING_OWNER_DATABASE] =
        {"PENSTOCK_OWNER_DATABASE", "",
         "connection string for migrate, clinic, administrator, recompute, retention, erase and "
         "verify; default PENSTOCK_DATABASE"},
    [SETTING_PORT] = {"PENSTOCK_PORT", "8080", "port to listen on; 0 takes any free one"},
    [SETTING_PUBLIC_URL] = {"PENSTOCK_PUBLIC_URL", "",
                            "address of this server as browsers see it, https://host; also what "
                            "links and the codes on paper lead to"},
    [SETTING_QUEUE] = {"PENSTOCK_QUEUE", "256", "requests that may wait for a worker"},
    [SETTING_SECURE_COOKIES] = {"PENSTOCK_SECURE_COOKIES", "auto",
                                "yes, no or auto (yes unless the address is loopback and the "
                                "request came without TLS)"},
    [SETTING_SIGNING_CERTIFICATE] = {"PENSTOCK_SIGNING_CERTIFICATE", "",
                                     "PEM file of the clinic's certificate and those that lead to "
                                     "its root; signed reports then get a detached CMS signature"},
    [SETTING_SIGNING_KEY] = {"PENSTOCK_SIGNING_KEY", "",
                             "PEM file of that certificate's key, mode 0600, without passphrase"},
    [SETTING_TLS_CERTIFICATE] = {"PENSTOCK_TLS_CERTIFICATE", "",
                                 "PEM file of the certificate and those that lead to its root; "
                                 "makes the server speak TLS. SIGHUP reads it anew"},
    [SETTING_TLS_CLIENT_CA] = {"PENSTOCK_TLS_CLIENT_CA", "",
                               "PEM file; clients may show a certificate that it signed"},
    [SETTING_TLS_KEY] = {"PENSTOCK_TLS_KEY", "",
                         "PEM file of the certificate's key, not readable by others"},
    [SETTING_TRUSTED_PROXIES] = {"PENSTOCK_TRUSTED_PROXIES", "",
                                 "addresses and networks, comma-separated, whose X-Forwarded-For, "
                                 "-Proto, -Host and Penstock-Client-Certificate are believed"},
    [SETTING_WORKERS] = {"PENSTOCK_WORKERS", "4",
                         "threads that serve requests, each with a database connection"},
};

/* What the environment or a file says, or NULL. Filled by read_values(), kept for good. */
static const char *values[SETTING_COUNT];

static const char *value_of(enum setting_index index)
{
    const char *value = values[index];
    return value == NULL || value[0] == '\0' ? SETTINGS[index].fallback : value;
}

static bool is_setting(const char *name, size_t length)
{
    for (size_t i = 0; i < SETTING_COUNT; i++) {
        if (strlen(SETTINGS[i].name) == length && memcmp(SETTINGS[i].name, name, length) == 0) {
            return true;
        }
    }
    return false;
}

/* A slip in the name of a file's variable would leave a setting at its default. Other programs of
 * this repository have variables of their own. */
static bool check_file_names(struct error *reterr)
{
    static const char *const OTHERS[] = {"PENSTOCK_ROOM_", "PENSTOCK_TEST_",
                                         "PENSTOCK_ADMIN_PASSWORD_FILE"};
    for (char **variable = environ; *variable != NULL; variable++) {
        const char *name = *variable;
        size_t length = strcspn(name, "=");
        bool file =
            length > FILE_SUFFIX_LENGTH && strncmp(name, "PENSTOCK_", 9) == 0 &&
            memcmp(name + length - FILE_SUFFIX_LENGTH, FILE_SUFFIX, FILE_SUFFIX_LENGTH) == 0;
        for (size_t i = 0; file && i < sizeof OTHERS / sizeof OTHERS[0]; i++) {
            file = strncmp(name, OTHERS[i], strlen(OTHERS[i])) != 0;
        }
        if (file && !is_setting(name, length) && !is_setting(name, length - FILE_SUFFIX_LENGTH)) {
            return error_set(reterr, ERROR_INVALID, "%.*s belongs to no setting", (int)length,
                             name);
        }
    }
    return true;
}

/* The content is never repeated: it may be a secret. */
static bool read_value_file(const char *variable, const char *path, const char **ret_value,
                            struct error *reterr)
{
    FILE *file = fopen(path, "re");
    if (file == NULL) {
        return error_set(reterr, ERROR_INVALID, "%s: %s cannot be opened: %s", variable, path,
                         strerrordesc_np(errno));
    }
    char *text = calloc(1, VALUE_LIMIT + 1);
    size_t length = text == NULL ? 0 : fread(text, 1, VALUE_LIMIT, file);
    bool whole = text != NULL && ferror(file) == 0 && fgetc(file) == EOF;
    (void)fclose(file);
    if (whole && length > 0 && text[length - 1] == '\n') {
        text[--length] = '\0';
    }
    if (!whole || strlen(text) != length || strpbrk(text, "\r\n") != NULL) {
        free(text);
        return error_set(reterr, ERROR_INVALID,
                         "%s: %s must hold one line of at most %d bytes, the value itself",
                         variable, path, VALUE_LIMIT);
    }
    *ret_value = text;
    return true;
}

static bool read_value(enum setting_index index, struct error *reterr)
{
    char variable[VARIABLE_SIZE];
    (void)snprintf(variable, sizeof variable, "%s" FILE_SUFFIX, SETTINGS[index].name);
    /* Read before any thread starts. NOLINTBEGIN(concurrency-mt-unsafe) */
    const char *given = getenv(SETTINGS[index].name);
    const char *path = getenv(variable);
    /* NOLINTEND(concurrency-mt-unsafe) */
    values[index] = given;
    if (path == NULL || path[0] == '\0') {
        return true;
    }
    if (given != NULL && given[0] != '\0') {
        return error_set(reterr, ERROR_INVALID, "%s and %s are both given", SETTINGS[index].name,
                         variable);
    }
    return read_value_file(variable, path, &values[index], reterr);
}

static bool read_values(struct error *reterr)
{
    if (!check_file_names(reterr)) {
        return false;
    }
    for (size_t i = 0; i < SETTING_COUNT; i++) {
        if (!read_value((enum setting_index)i, reterr)) {
            return false;
        }
    }
    return true;
}

static bool read_number(enum setting_index index, unsigned least, unsigned most,
                        unsigned *ret_number, struct error *reterr)
{
    const char *text = value_of(index);
    char *end = NULL;
    errno = 0;
    unsigned long number = strtoul(text, &end, 10);
    if (strspn(text, "0123456789") != strlen(text) || *end != '\0' || errno != 0 ||
        number < least || number > most) {
        return error_set(reterr, ERROR_INVALID, "%s must be a number from %u to %u",
                         SETTINGS[index].name, least, most);
    }
    *ret_number = (unsigned)number;
    return true;
}

static bool read_log_level(struct error *reterr)
{
    static const char *const NAMES[] = {"debug", "info", "warning", "error"};
    const char *text = value_of(SETTING_LOG_LEVEL);
    for (size_t i = 0; i < sizeof NAMES / sizeof NAMES[0]; i++) {
        if (strcmp(NAMES[i], text) == 0) {
            log_set_level((enum log_level)i);
            return true;
        }
    }
    return error_set(reterr, ERROR_INVALID,
                     "PENSTOCK_LOG_LEVEL must be debug, info, warning or error");
}

static bool read_secure_cookies(struct config *config, struct error *reterr)
{
    const char *text = value_of(SETTING_SECURE_COOKIES);
    config->follow_cookies = strcmp(text, "auto") == 0;
    if (config->follow_cookies) {
        config->secure_cookies =
            strncmp(config->address, "127.", 4) != 0 && strcmp(config->address, "::1") != 0;
        return true;
    }
    config->secure_cookies = strcmp(text, "yes") == 0;
    return config->secure_cookies || strcmp(text, "no") == 0 ||
           error_set(reterr, ERROR_INVALID, "PENSTOCK_SECURE_COOKIES must be yes, no or auto");
}

static const char *path_of(enum setting_index index)
{
    const char *path = value_of(index);
    return path[0] == '\0' ? NULL : path;
}

static bool read_signing(struct config *config, struct error *reterr)
{
    config->signing_certificate = path_of(SETTING_SIGNING_CERTIFICATE);
    config->signing_key = path_of(SETTING_SIGNING_KEY);
    return (config->signing_certificate == NULL) == (config->signing_key == NULL) ||
           error_set(
               reterr, ERROR_INVALID,
               "PENSTOCK_SIGNING_CERTIFICATE and PENSTOCK_SIGNING_KEY must be given both or none");
}

static bool read_tls(struct config *config, struct error *reterr)
{
    config->tls_certificate = path_of(SETTING_TLS_CERTIFICATE);
    config->tls_key = path_of(SETTING_TLS_KEY);
    config->tls_client_ca = path_of(SETTING_TLS_CLIENT_CA);
    if ((config->tls_certificate == NULL) != (config->tls_key == NULL)) {
        return error_set(
            reterr, ERROR_INVALID,
            "PENSTOCK_TLS_CERTIFICATE and PENSTOCK_TLS_KEY must be given both or none");
    }
    return config->tls_client_ca == NULL || config->tls_certificate != NULL ||
           error_set(reterr, ERROR_INVALID,
                     "PENSTOCK_TLS_CLIENT_CA needs PENSTOCK_TLS_CERTIFICATE and PENSTOCK_TLS_KEY");
}

static bool check_public_url(struct error *reterr)
{
    const char *url = value_of(SETTING_PUBLIC_URL);
    return url[0] == '\0' || web_address_is_origin(url) ||
           error_set(reterr, ERROR_INVALID,
                     "PENSTOCK_PUBLIC_URL must be the https address of this server, without a "
                     "path");
}

static void read_openid(struct openid_settings *settings)
{
    settings->issuer = value_of(SETTING_OIDC_ISSUER);
    settings->client_secret = value_of(SETTING_OIDC_CLIENT_SECRET);
    settings->client_id = value_of(SETTING_OIDC_CLIENT_ID);
    settings->name = value_of(SETTING_OIDC_NAME);
    settings->ca_file = value_of(SETTING_OIDC_CA);
    settings->public_url = value_of(SETTING_PUBLIC_URL);
}

bool config_read(struct config *ret_config, struct error *reterr)
{
    if (!read_values(reterr)) {
        return false;
    }
    struct config config = {
        .address = value_of(SETTING_ADDRESS),
        .database = value_of(SETTING_DATABASE),
        .owner_database = value_of(SETTING_OWNER_DATABASE),
        .key_file = value_of(SETTING_KEY_FILE),
        .trusted_proxies = value_of(SETTING_TRUSTED_PROXIES),
    };
    unsigned port = 0;
    if (!read_log_level(reterr) || !read_number(SETTING_PORT, 0, UINT16_MAX, &port, reterr) ||
        !read_number(SETTING_BODY_MEMORY, 1, 64, &config.body_memory_mib, reterr) ||
        !read_number(SETTING_QUEUE, 1, 100000, &config.queue, reterr) ||
        !read_number(SETTING_WORKERS, 2, 256, &config.workers, reterr) ||
        !read_secure_cookies(&config, reterr) || !read_tls(&config, reterr) ||
        !check_public_url(reterr) || !read_signing(&config, reterr)) {
        return false;
    }
    read_openid(&config.openid);
    config.port = (uint16_t)port;
    if (config.owner_database[0] == '\0') {
        config.owner_database = config.database;
    }
    *ret_config = config;
    return true;
}

void config_print_help(void)
{
    for (size_t i = 0; i < SETTING_COUNT; i++) {
        printf("  %-25s %s (default \"%s\")\n", SETTINGS[i].name, SETTINGS[i].meaning,
               SETTINGS[i].fallback);
    }
    printf("Any NAME may also be given as NAME_FILE, the path of a file that holds the value.\n");
}
