#include "config.h"

#include "base/log.h"

#include <errno.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

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
    SETTING_OWNER_DATABASE,
    SETTING_PORT,
    SETTING_QUEUE,
    SETTING_SECURE_COOKIES,
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
    [SETTING_OWNER_DATABASE] = {"PENSTOCK_OWNER_DATABASE", "",
                                "connection string for migrate, clinic, administrator, recompute, "
                                "retention and verify; default "
                                "PENSTOCK_DATABASE"},
    [SETTING_PORT] = {"PENSTOCK_PORT", "8080", "port to listen on; 0 takes any free one"},
    [SETTING_QUEUE] = {"PENSTOCK_QUEUE", "256", "requests that may wait for a worker"},
    [SETTING_SECURE_COOKIES] = {"PENSTOCK_SECURE_COOKIES", "auto",
                                "yes, no or auto (yes unless the address is loopback)"},
    [SETTING_WORKERS] = {"PENSTOCK_WORKERS", "4",
                         "threads that serve requests, each with a database connection"},
};

static const char *value_of(enum setting_index index)
{
    /* Read before any thread starts. NOLINTNEXTLINE(concurrency-mt-unsafe) */
    const char *value = getenv(SETTINGS[index].name);
    return value == NULL || value[0] == '\0' ? SETTINGS[index].fallback : value;
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

static bool read_secure_cookies(const char *address, bool *ret_secure, struct error *reterr)
{
    const char *text = value_of(SETTING_SECURE_COOKIES);
    if (strcmp(text, "auto") == 0) {
        *ret_secure = strncmp(address, "127.", 4) != 0 && strcmp(address, "::1") != 0;
        return true;
    }
    *ret_secure = strcmp(text, "yes") == 0;
    return *ret_secure || strcmp(text, "no") == 0 ||
           error_set(reterr, ERROR_INVALID, "PENSTOCK_SECURE_COOKIES must be yes, no or auto");
}

bool config_read(struct config *ret_config, struct error *reterr)
{
    struct config config = {
        .address = value_of(SETTING_ADDRESS),
        .database = value_of(SETTING_DATABASE),
        .owner_database = value_of(SETTING_OWNER_DATABASE),
        .key_file = value_of(SETTING_KEY_FILE),
    };
    unsigned port = 0;
    if (!read_log_level(reterr) || !read_number(SETTING_PORT, 0, UINT16_MAX, &port, reterr) ||
        !read_number(SETTING_BODY_MEMORY, 1, 64, &config.body_memory_mib, reterr) ||
        !read_number(SETTING_QUEUE, 1, 100000, &config.queue, reterr) ||
        !read_number(SETTING_WORKERS, 2, 256, &config.workers, reterr) ||
        !read_secure_cookies(config.address, &config.secure_cookies, reterr)) {
        return false;
    }
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
        printf("  %-24s %s (default \"%s\")\n", SETTINGS[i].name, SETTINGS[i].meaning,
               SETTINGS[i].fallback);
    }
}
