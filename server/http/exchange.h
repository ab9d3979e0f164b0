/* One request and its answer on their way through the transport. Private to http/.
 *
 * An exchange belongs to one thread at a time: to the event thread until it is queued for a worker,
 * to the worker until it resumes the connection, then to the event thread again. A worker may park
 * it instead; then it belongs to the parking's thread until that queues it again. */
#ifndef HTTP_EXCHANGE_H
#define HTTP_EXCHANGE_H

#include "http/body.h"
#include "http/drainer.h"
#include "http/encoding.h"
#include "http/headers.h"
#include "http/http.h"
#include "http/parking.h"
#include "http/proxies.h"
#include "http/seams.h"
#include "http/sweeper.h"
#include "http/target.h"
#include "http/tls.h"
#include "http/worker.h"

#include <pthread.h>
#include <stdatomic.h>
#include <stdbool.h>
#include <stdint.h>

struct MHD_Connection;
struct MHD_Daemon;
struct MHD_Response;

enum exchange_stage {
    STAGE_HEADERS, /* the header section is still coming in */
    STAGE_BODY,    /* the body is coming in, or is about to end */
    STAGE_SERVING, /* queued for or held by a worker, or parked; the connection is suspended */
    STAGE_ANSWERED /* `answer` is ready to be sent */
};

struct exchange {
    struct job job;          /* first, so that the pool's jobs are exchanges */
    struct arena *arena;     /* holds the exchange and what lasts as long */
    struct arena *run_arena; /* of a second or later run of the handler, else NULL */
    struct http_request request;
    struct http_response response;
    struct http_server *server;
    struct MHD_Connection *connection;
    struct client *client;
    char site[PROXIES_SITE_SIZE]; /* whose requests are counted together */
    enum exchange_stage stage;
    enum http_method method; /* as sent: tells HEAD from GET */
    bool method_known;
    bool hides_path; /* the path is a secret, whatever is done with it */
    bool decided;    /* `response` is final before the request has been read to its end */
    bool must_close; /* the connection cannot carry another request */
    bool logged;
    const char *raw_target;
    struct request_section section;
    struct target target;
    struct header_table headers;
    struct framing framing;
    enum coding body_coding;
    struct body body;
    bool body_loaded;
    struct codec *codec; /* of the worker that serves it */
    struct parked parked;
    bool runs_again; /* the handler has run before */
    double queue_s;  /* time spent waiting for a worker */
    double parked_s; /* time spent parked */
    struct MHD_Response *answer;
    size_t answer_length;
};

struct http_server {
    struct http_server_options options;
    struct MHD_Daemon *daemon;
    struct tls *tls; /* NULL: plain HTTP */
    struct proxies *proxies;
    struct worker_pool *pool;
    struct parking *parking;
    struct sweeper *sweeper;
    struct drainer *drainer;
    struct body_budget budget; /* event thread only */
    uint16_t port;
    atomic_bool draining; /* answers carry Connection: close */
    pthread_mutex_t lock;
    pthread_cond_t quiet; /* in_flight has become 0 */
    size_t in_flight;     /* requests whose request line has arrived and whose answer is not sent */
};

/* The exchange behind a request; NULL when the request was not made by the transport (a test). */
struct exchange *exchange_of(const struct http_request *request);

/* Looks at the header section alone: routing, framing, credential, negotiation, body. False when
 * the answer is already decided; exchange->response then holds it. */
MUST_CHECK bool exchange_admit(struct exchange *exchange, const char *method, const char *version);

/* Tells the request who its client is, and drops what others than a trusted proxy say about that.
 * False when the answer is decided: the proxy speaks nonsense. */
MUST_CHECK bool exchange_find_client(struct exchange *exchange);

/* The worker's part: calls serve(), prepares the answer. False when the handler
 * wants to be asked again: then the exchange is parked and must not be touched. */
MUST_CHECK bool exchange_serve(struct exchange *exchange, void *worker, struct codec *codec);

/* Turns exchange->response into exchange->answer: conditional request, range, compression (when
 * `codec` is not NULL), common headers; and writes the log line. */
void exchange_answer(struct exchange *exchange, struct codec *codec);

/* Writes the one log line of the request; `status` 0 means that no answer was given. */
void exchange_log(struct exchange *exchange, int status);

/* 503 with Retry-After. */
void exchange_overloaded(struct exchange *exchange, const char *reason);

#endif
