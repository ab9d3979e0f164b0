/* A server with a small table of its own, on a free loopback port. */
#ifndef TESTS_SERVICE_H
#define TESTS_SERVICE_H

#include "http/http.h"

#include <pthread.h>

enum { SERVICE_WAITING = 200, SERVICE_SAMPLES = 2600 };

enum { SERVICE_BODY_LIMIT = 4096, SERVICE_UPLOAD_LIMIT = 3 * 1024 * 1024 };

struct service {
    struct http_server *server;
    uint16_t port;
    pthread_mutex_t lock;
    pthread_cond_t changed;
    unsigned served;  /* requests that have reached a handler */
    unsigned at_gate; /* handlers that wait at the gate */
    bool open;        /* the gate */
    double pause_s;   /* for which /news puts a request off */
    bool news;        /* what /news waits for */
    unsigned looks;   /* times that /news was run without news */
    unsigned dropped; /* runs of /news whose memory has been given back */
    unsigned waiting; /* different n in "/news?n=" that were put off */
    bool put_off[SERVICE_WAITING];
};

struct service_limits {
    unsigned workers;
    unsigned heavy_limit;
    unsigned queue_limit;
    double deadline_s;
};

struct service_waiting {
    unsigned limit;
    double most_s;
    double pause_s;
};

/* Plenty of everything. */
extern const struct service_limits service_ample;
extern const struct service_waiting service_patient;

/* Beyond the usual: TLS, proxies; zeroed for none. */
struct service_access {
    struct http_tls_options tls;
    const char *trusted_proxies;
    unsigned waiting_limit_per_address; /* 0: as many as in all */
};

void service_start(struct service *service, const struct service_limits *limits);
void service_start_waiting(struct service *service, const struct service_limits *limits,
                           const struct service_waiting *waiting);
void service_start_with(struct service *service, const struct service_limits *limits,
                        const struct service_waiting *waiting, const struct service_access *access);
void service_stop(struct service *service);

/* Waits until `count` handlers wait at the gate. */
void service_await_gate(struct service *service, unsigned count);
void service_open_gate(struct service *service);

/* Waits until /news has been run that many times without news, or has put that many off. */
void service_await_looks(struct service *service, unsigned count);
void service_await_waiting(struct service *service, unsigned count);
void service_tell_news(struct service *service);

unsigned service_served(struct service *service);
unsigned service_dropped(struct service *service);

/* FNV-1a, 32 bits: what POST /echo and /uploads answer as "sum". */
uint32_t service_sum(const void *bytes, size_t length);

/* cmocka's set-up and tear-down around a service with ample limits. */
int service_set_up(void **state);
int service_tear_down(void **state);

#endif
