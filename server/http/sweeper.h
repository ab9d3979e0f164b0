/* Deadlines of connections. The library's own timeout starts anew with every byte, so a client that
 * drips could hold a connection for ever; the sweeper shuts the socket of whoever is late. */
#ifndef HTTP_SWEEPER_H
#define HTTP_SWEEPER_H

#include "base/compiler.h"
#include "base/error.h"
#include "http/proxies.h"
#include "http/tls.h"

#include <netinet/in.h>
#include <stdbool.h>

struct sweeper;

/* An open connection. The event thread makes and frees it. */
struct client {
    int socket;
    double deadline_s; /* clock_monotonic_s(); infinite while the server is the one to act */
    struct client *previous;
    struct client *next;
    char address[INET6_ADDRSTRLEN];
    char site[PROXIES_SITE_SIZE]; /* whose connections are counted together */
    bool is_proxy;                /* a trusted one */
    void *session;                /* of TLS, or NULL */
    struct tls_credentials *credentials;
    bool certificate_read; /* whether the two below are known */
    bool certified;        /* the client has shown a good certificate */
    char certificate[TLS_FINGERPRINT_SIZE];
    bool lingers; /* its last request was answered before its body was read */
};

/* Starts the sweeping thread. */
MUST_CHECK bool sweeper_new(struct sweeper **ret_sweeper, struct error *reterr);

/* Ends the thread. NULL is allowed; no client may be left. */
void sweeper_free(struct sweeper *sweeper);

void sweeper_add(struct sweeper *sweeper, struct client *client, double deadline_s);
void sweeper_set(struct sweeper *sweeper, struct client *client, double deadline_s);

/* How many open connections come from a site. */
size_t sweeper_count(struct sweeper *sweeper, const char *site);

/* After this the client's socket is not touched any more and may be closed. */
void sweeper_remove(struct sweeper *sweeper, struct client *client);

#endif
