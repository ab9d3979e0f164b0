/* What an HTTP exchange is to the rest of the server: a request, a response, a table of routes.
 *
 * libmicrohttpd is seen only behind this header. The table of routes is handed in, so the transport
 * knows no resource; who may do what is the table's business, not this layer's. */
#ifndef HTTP_HTTP_H
#define HTTP_HTTP_H

#include "base/arena.h"
#include "base/error.h"
#include "base/fault.h"

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

enum http_method {
    HTTP_GET,
    HTTP_HEAD, /* reaches a handler as HTTP_GET; the transport drops the body */
    HTTP_POST,
    HTTP_PUT,
    HTTP_PATCH,
    HTTP_DELETE,
    HTTP_OPTIONS, /* answered by the transport from the table */
    HTTP_METHOD_COUNT
};

enum { HTTP_PATH_PARAMETERS_MAX = 4, HTTP_RESPONSE_HEADERS_MAX = 12 };

enum http_route_flags {
    HTTP_ROUTE_PUBLIC = 1,  /* answers without a credential */
    HTTP_ROUTE_INLINE = 2,  /* answered on the event thread: must neither block nor use the store */
    HTTP_ROUTE_HEAVY = 4,   /* counts against the limit of heavy requests at a time */
    HTTP_ROUTE_CREATES = 8, /* a POST that creates: takes Idempotency-Key */
    HTTP_ROUTE_REQUIRES_MATCH = 16, /* a change of something versioned: needs If-Match */
    HTTP_ROUTE_SECRET_PATH = 32,    /* what follows its first segment is a secret: problems do not
                                       repeat the path */
    HTTP_ROUTE_SECRET =
        64, /* carries secrets: body and arena are overwritten before they are freed */
    HTTP_ROUTE_HEAVY_DOCUMENT = 128 /* heavy but for application/json: what is drawn or set takes
                                       longer than what is read */
};

struct http_request;
struct http_response;

/* One endpoint. `handler`, `resource` and `action` mean nothing to the transport; `serve` reads
 * them. */
struct http_route {
    enum http_method method;
    const char *pattern; /* "/v1/patients/{id}": a brace segment matches one non-empty segment */
    void (*handler)(void *context, struct http_request *request, struct http_response *response);
    unsigned resource;       /* what it is about, and what is done to it: enum access_resource */
    unsigned action;         /* and enum access_action */
    unsigned flags;          /* bits of enum http_route_flags */
    size_t body_limit;       /* bytes on the wire and after decoding; 0: no body allowed */
    const char *consumes[4]; /* media types of a body, NULL-terminated; else 415 */
    const char *produces[5]; /* media types on offer, preferred first; none acceptable: 406 */
};

struct http_request {
    struct arena *arena;
    const char *id; /* X-Request-Id: the client's if well-formed, else ours */
    enum http_method method;
    const char *path;  /* decoded, without query */
    const char *query; /* as sent, still encoded, without "?"; "" when there is none */
    const struct http_route *route;
    const char *parameters[HTTP_PATH_PARAMETERS_MAX]; /* values of the brace segments, in order */
    const char *accepted;   /* the media type to answer with, one of route->produces */
    const char *media_type; /* of the body, lower-case, without parameters; NULL without body */
    /* Decoded (gzip, zstd), NUL-terminated; "" without body, and before http_request_load_body().
     */
    const char *body;
    size_t body_length;
    const char *client_address; /* numeric; behind a trusted proxy the client's, not the proxy's */
    /* SHA-256 of the certificate that the client has shown and the client authority has signed, as
     * 64 lower-case hexadecimal digits; NULL without one. */
    const char *client_certificate;
    const char *host; /* whom the client asked: Host, or a trusted proxy's X-Forwarded-Host; may be
                         NULL */
    bool secure;      /* TLS from the client to here, or to a trusted proxy */
    bool is_head;     /* a HEAD that came as HTTP_GET */
    double started_s; /* clock_monotonic_s() when the headers were complete */
    void *transport;  /* private to http/ */
};

/* Makes request->body out of what came over the wire. serve() calls it once it knows that the
 * caller may be served: decoding costs time and memory that no stranger is to spend. False when the
 * body cannot be had (400, 413, 503); `response` then is the answer. Once loaded it stays, also
 * when the request comes back by http_answer_later(); then, and without a body, nothing happens. */
MUST_CHECK bool http_request_load_body(struct http_request *request,
                                       struct http_response *response);

/* A request header's value by case-insensitive name, or NULL. Lives as long as the request. */
const char *http_request_header(const struct http_request *request, const char *name);

/* A query parameter's decoded value, or NULL. */
const char *http_request_query(const struct http_request *request, const char *name);

/* Names of query parameters that are not in `known` (NULL-terminated) become faults with the
 * pointer "?name". */
void http_request_check_query(const struct http_request *request, const char *const known[],
                              struct fault_list *faults);

/* A cookie's value on the request's arena, or NULL. */
const char *http_request_cookie(const struct http_request *request, const char *name);

struct http_header {
    const char *name;
    const char *value;
};

/* The answer. A fresh one is 500 without body; all memory it points at lives on the request's
 * arena or is static. */
struct http_response {
    int status;
    const char *media_type; /* NULL without body */
    const void *body;
    size_t body_length;
    const char *etag;   /* with its quotes, or NULL */
    bool cacheable;     /* false: Cache-Control: no-store */
    bool shared_static; /* body is static: the transport need not copy it */
    size_t header_count;
    struct http_header headers[HTTP_RESPONSE_HEADERS_MAX];
    /* A 200 may be asked for in parts (RFC 9110, section 14). Such an answer is never compressed: a
     * coding would put other bytes under the same ETag. */
    bool ranges;
    double split_s[3]; /* seconds spent in parse, compute, store: Server-Timing and log */
    double again_at_s; /* private to http/, see http_answer_later(); 0: this is the answer */
};

void http_response_header(struct http_response *response, const char *name, const char *value);

/* The value that a handler has set for a field, by case-insensitive name, or NULL. */
const char *http_response_field(const struct http_response *response, const char *name);

/* Answers with a body on the arena (or static). */
void http_respond(struct http_response *response, int status, const char *media_type,
                  const void *body, size_t body_length);

/* Says "nothing new yet" in place of an answer: true when the request will be handed to serve()
 * once more in about `pause_s` (at least 0.05 s), with a fresh response, from the start. Meanwhile
 * no worker is held. What the handler put into `response` before is dropped; its status becomes
 * 500, so that whoever ends a transaction by the status rolls back. Answering after all takes it
 * back.
 *
 * False when the handler must answer now, because the request has waited for
 * options.waiting_most_s since started_s, as many wait as may (in all, or from this address), the
 * client has ended its side of the connection, the server is stopping, or the route is
 * HTTP_ROUTE_HEAVY or HTTP_ROUTE_INLINE; `response` is untouched then. A request that was let wait
 * keeps its place until it is answered, so only time, client and stop can end it. */
MUST_CHECK bool http_answer_later(struct http_request *request, struct http_response *response,
                                  double pause_s);

/* Whether the handler said http_answer_later(), so that this is no answer yet. */
bool http_answers_later(const struct http_response *response);

/* Answers application/problem+json (RFC 9457): type, title, status, detail, instance. */
void http_problem(const struct http_request *request, struct http_response *response, int status,
                  const char *format, ...) PRINTF_LIKE(4, 5);

/* The same with a type of its own, for a program that has to tell it apart: "/problems/<type>". */
void http_problem_of_type(const struct http_request *request, struct http_response *response,
                          int status, const char *type, const char *detail);

/* The same with `errors: [{pointer, detail}]`, one for each fault. */
void http_problem_faults(const struct http_request *request, struct http_response *response,
                         int status, const struct fault_list *faults);

/* Standard reason phrase, e.g. "Not Found". */
const char *http_status_title(int status);

/* Whether the If-Match (or If-None-Match) field value names `etag`; "*" matches anything. The
 * comparison is strong, as If-Match wants it: a weak tag matches nothing. The transport itself
 * answers a GET with 304 when If-None-Match names the answer's etag. */
bool http_etag_matches(const char *field, const char *etag);

/* PEM files, read at the start and by http_server_reload(). */
struct http_tls_options {
    const char *certificate_file; /* the server's, then those that lead to its root; NULL: no TLS */
    const char *key_file;         /* not readable by others than its owner and group */
    const char
        *client_ca_file; /* clients may show a certificate that it signed; NULL: none asked */
};

struct http_server_options {
    const char *address; /* "127.0.0.1" or "::1" */
    uint16_t port;       /* 0: any free one, see http_server_port() */
    struct http_tls_options tls;
    /* Comma-separated addresses and networks of proxies whose X-Forwarded-For, -Proto, -Host and
     * Penstock-Client-Certificate count; those fields of others are dropped. NULL: nobody. */
    const char *trusted_proxies;
    const struct http_route *routes;
    size_t route_count;
    void *context;        /* handed to the callbacks below */
    unsigned workers;     /* threads that serve requests */
    unsigned heavy_limit; /* most workers on HTTP_ROUTE_HEAVY requests at a time, < workers */
    unsigned queue_limit; /* most requests waiting for a worker; beyond: 503 with Retry-After */
    /* Within this a body must have arrived. A handshake, a header section and (but for its size)
     * the reading of an answer have as long, at most 30 s. */
    double request_deadline_s;
    size_t body_memory; /* a longer body, and those that together exceed 16 times as much, go
                           to a file */
    /* What http_answer_later() allows. */
    unsigned waiting_limit;               /* most requests that wait at a time; 0: none may */
    unsigned waiting_limit_per_address;   /* most of one client address */
    double waiting_most_s;                /* longest that one waits, from started_s */
    void *(*worker_start)(void *context); /* on the worker's thread; its value goes to serve() */
    void (*worker_stop)(void *worker);
    /* Must call http_request_load_body() before it reads the body. */
    void (*serve)(void *worker, struct http_request *request, struct http_response *response);
    /* HTTP_ROUTE_INLINE routes; on the event thread, `context` in place of a worker */
    void (*serve_inline)(void *context, struct http_request *request,
                         struct http_response *response);
    /* Says before the body is read whether a credential is shown at all: false gives 401. */
    bool (*has_credential)(const struct http_request *request);
};

struct http_server;

/* Listens and serves until http_server_stop(). The options' pointers must outlive the server. */
MUST_CHECK bool http_server_start(const struct http_server_options *options,
                                  struct http_server **ret_server, struct error *reterr);

/* The port that is listened on. */
uint16_t http_server_port(const struct http_server *server);

/* Reads certificate, key and client authority anew, for connections that begin from now on; open
 * ones stay as they are. False, with everything as it was, when the new files cannot be used.
 * Nothing happens without TLS. */
MUST_CHECK bool http_server_reload(struct http_server *server, struct error *reterr);

/* Accepts no more connections, finishes every request already accepted (at most `patience_s`), and
 * frees the server. What waits by http_answer_later() runs once more at once, and must answer. */
void http_server_stop(struct http_server *server, double patience_s);

#endif
