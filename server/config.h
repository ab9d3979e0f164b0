/* Settings, read from the environment once at start. */
#ifndef SERVER_CONFIG_H
#define SERVER_CONFIG_H

#include "auth/openid.h"
#include "base/error.h"

#include <stdbool.h>
#include <stdint.h>

struct config {
    const char *address;
    uint16_t port; /* 0: any free port */
    const char *database;
    const char *owner_database;
    unsigned workers;
    unsigned queue;
    unsigned body_memory_mib;
    bool secure_cookies;             /* always */
    bool follow_cookies;             /* where a request came by TLS */
    const char *key_file;            /* "": none */
    const char *signing_certificate; /* paths; NULL: reports are not signed with a key */
    const char *signing_key;
    const char *tls_certificate; /* paths; NULL: plain HTTP */
    const char *tls_key;
    const char *tls_client_ca;
    const char *trusted_proxies;
    struct openid_settings openid;
};

/* Reads PENSTOCK_*, or the files that PENSTOCK_*_FILE name; every text lives as long as the
 * process. An unusable value is an error that names the variable and what it may be. */
MUST_CHECK bool config_read(struct config *ret_config, struct error *reterr);

/* Prints the settings with their defaults and meanings. */
void config_print_help(void);

#endif
