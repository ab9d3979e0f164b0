/* The glue to libmicrohttpd 0.9.75. What is known of its ways and relied on here:
 * - The handler's first call comes when the headers are complete. Queueing an answer in that call
 * makes the library close the connection afterwards, so answers to requests without a body wait for
 * the call that ends the request.
 * - The handler is called with data only while the body lasts, and once without data at its end;
 * never at an end that is not the announced one.
 * - The URI callback makes the exchange, the completion callback ends it; both come once a request.
 */
#include "http/daemon.h"

#include "base/clock.h"
#include "base/log.h"

#include <arpa/inet.h>
#include <errno.h>
#include <fcntl.h>
#include <math.h>
#include <microhttpd.h>
#include <netinet/in.h>
#include <stdlib.h>
#include <string.h>
#include <sys/socket.h>
#include <unistd.h>

enum {
    CONNECTION_LIMIT = 768,         /* with spool files below the usual 1,024 descriptors */
    CONNECTION_LIMIT_OF_SITE = 256, /* a bridge is one address; trusted proxies have no limit */
    CONNECTION_MEMORY = 64 * 1024,
    KEEP_ALIVE_S = 75
};

static const double head_most_s = 30;  /* for a handshake, and for a header section */
static const double send_least_s = 30; /* to read an answer of any size */
static const double send_bytes_per_s = 16.0 * 1024.0; /* and this pace for a large one */

/* ------------------------------------------------------------- connections */

static void write_address(const struct sockaddr *address, char text[INET6_ADDRSTRLEN])
{
    struct sockaddr_in v4;
    struct sockaddr_in6 v6;
    if (address->sa_family == AF_INET) {
        memcpy(&v4, address, sizeof v4);
        (void)inet_ntop(AF_INET, &v4.sin_addr, text, INET6_ADDRSTRLEN);
    } else if (address->sa_family == AF_INET6) {
        memcpy(&v6, address, sizeof v6);
        (void)inet_ntop(AF_INET6, &v6.sin6_addr, text, INET6_ADDRSTRLEN);
    }
}

/* Asked before a connection is taken in; the library's own limit would count proxies, too, and
 * every address of a site that has a whole network of them. */
static enum MHD_Result may_connect(void *argument, const struct sockaddr *address, socklen_t size)
{
    (void)size;
    struct http_server *server = argument;
    char text[INET6_ADDRSTRLEN] = "";
    char site[PROXIES_SITE_SIZE];
    write_address(address, text);
    proxies_site(text, site);
    if (proxies_hold(server->proxies, text) ||
        sweeper_count(server->sweeper, site) < CONNECTION_LIMIT_OF_SITE) {
        return MHD_YES;
    }
    return MHD_NO;
}

/* The library is about to close its descriptor; a second one keeps the connection open. */
static void keep_for_a_while(struct http_server *server, int socket)
{
    int kept = fcntl(socket, F_DUPFD_CLOEXEC, 0);
    if (kept >= 0) {
        (void)shutdown(kept, SHUT_WR);
        drainer_take(server->drainer, kept);
    }
}

static double head_deadline_s(const struct http_server *server)
{
    return clock_monotonic_s() + fmin(head_most_s, server->options.request_deadline_s);
}

static void on_connection(void *argument, struct MHD_Connection *connection, void **context,
                          enum MHD_ConnectionNotificationCode code)
{
    struct http_server *server = argument;
    struct client *client = *context;
    if (code == MHD_CONNECTION_NOTIFY_CLOSED) {
        sweeper_remove(server->sweeper, client);
        if (client->lingers) {
            keep_for_a_while(server, client->socket);
        }
        tls_end(server->tls, client->credentials); /* the session is gone already */
        free(client);
        return;
    }
    client = calloc(1, sizeof *client);
    if (client == NULL) {
        log_message(LOG_LEVEL_ERROR, "out_of_memory", "no memory for a connection");
        abort();
    }
    client->socket =
        MHD_get_connection_info(connection, MHD_CONNECTION_INFO_CONNECTION_FD)->connect_fd;
    write_address(
        MHD_get_connection_info(connection, MHD_CONNECTION_INFO_CLIENT_ADDRESS)->client_addr,
        client->address);
    proxies_site(client->address, client->site);
    client->is_proxy = proxies_hold(server->proxies, client->address);
    if (server->tls != NULL) {
        client->session =
            MHD_get_connection_info(connection, MHD_CONNECTION_INFO_GNUTLS_SESSION)->tls_session;
        client->credentials = tls_begin(server->tls, client->session);
    }
    *context = client;
    sweeper_add(server->sweeper, client, head_deadline_s(server));
}

/* ---------------------------------------------------------------- requests */

static void count_in_flight(struct http_server *server, bool begins)
{
    (void)pthread_mutex_lock(&server->lock);
    server->in_flight = begins ? server->in_flight + 1 : server->in_flight - 1;
    if (server->in_flight == 0) {
        (void)pthread_cond_signal(&server->quiet);
    }
    (void)pthread_mutex_unlock(&server->lock);
}

/* The request line is complete. The raw target is kept, since the library unescapes it in place. */
static void *on_request_line(void *argument, const char *target, struct MHD_Connection *connection)
{
    struct http_server *server = argument;
    struct arena *arena = arena_new();
    struct exchange *exchange = arena_alloc(arena, sizeof *exchange);
    exchange->arena = arena;
    exchange->server = server;
    exchange->connection = connection;
    exchange->client =
        MHD_get_connection_info(connection, MHD_CONNECTION_INFO_SOCKET_CONTEXT)->socket_context;
    exchange->raw_target = arena_strdup(arena, target == NULL ? "" : target);
    exchange->section.target = target == NULL ? "" : target;
    exchange->section.target_length = strlen(exchange->raw_target);
    exchange->target.raw_path = "*";
    exchange->request.arena = arena;
    exchange->request.transport = exchange;
    exchange->request.body = "";
    exchange->request.path = "";
    exchange->request.query = "";
    exchange->request.client_address = exchange->client->address;
    exchange->request.secure = server->tls != NULL;
    memcpy(exchange->site, exchange->client->site, sizeof exchange->site);
    exchange->parked.job = &exchange->job;
    exchange->parked.address = exchange->site;
    exchange->response.status = 500;
    sweeper_set(server->sweeper, exchange->client, head_deadline_s(server));
    count_in_flight(server, true);
    return exchange;
}

static void on_completed(void *argument, struct MHD_Connection *connection, void **context,
                         enum MHD_RequestTerminationCode code)
{
    (void)connection;
    (void)code;
    struct http_server *server = argument;
    struct exchange *exchange = *context;
    *context = NULL;
    if (!exchange->logged) {
        exchange_log(exchange, 0);
    }
    if (exchange->answer != NULL) {
        MHD_destroy_response(exchange->answer);
    }
    sweeper_set(server->sweeper, exchange->client, clock_monotonic_s() + KEEP_ALIVE_S);
    body_free(&exchange->body);
    arena_free(exchange->run_arena);
    arena_free(exchange->arena);
    count_in_flight(server, false);
}

static enum MHD_Result send_answer(struct exchange *exchange)
{
    struct MHD_Response *answer = exchange->answer;
    exchange->answer = NULL;
    if (answer == NULL) {
        return MHD_NO;
    }
    double length = (double)exchange->answer_length;
    sweeper_set(exchange->server->sweeper, exchange->client,
                clock_monotonic_s() +
                    fmin(send_least_s, exchange->server->options.request_deadline_s) +
                    length / send_bytes_per_s);
    enum MHD_Result result =
        MHD_queue_response(exchange->connection, (unsigned)exchange->response.status, answer);
    MHD_destroy_response(answer);
    return result;
}

/* An answer that the event thread gives itself. */
static enum MHD_Result answer_now(struct exchange *exchange)
{
    exchange_answer(exchange, NULL);
    exchange->stage = STAGE_ANSWERED;
    return send_answer(exchange);
}

static enum MHD_Result on_headers(struct exchange *exchange, const char *method,
                                  const char *version)
{
    struct http_server *server = exchange->server;
    exchange->stage = STAGE_BODY;
    sweeper_set(server->sweeper, exchange->client,
                clock_monotonic_s() + server->options.request_deadline_s);
    if (exchange_admit(exchange, method, version)) {
        return MHD_YES;
    }
    exchange->decided = true;
    exchange->client->lingers = exchange->must_close && exchange->framing.has_body;
    return exchange->must_close ? answer_now(exchange) : MHD_YES;
}

/* Suspends first and hands over then: a worker may resume at once. */
static enum MHD_Result hand_to_worker(struct exchange *exchange)
{
    exchange->stage = STAGE_SERVING;
    sweeper_set(exchange->server->sweeper, exchange->client, (double)INFINITY);
    MHD_suspend_connection(exchange->connection);
    worker_pool_push(exchange->server->pool, &exchange->job);
    return MHD_YES;
}

static enum MHD_Result on_request_end(struct exchange *exchange)
{
    struct http_request *request = &exchange->request;
    if (exchange->decided) {
        return answer_now(exchange);
    }
    if (exchange->body.state == BODY_TOO_LARGE) {
        http_problem(request, &exchange->response, 413, "The body may have at most %zu bytes.",
                     request->route->body_limit);
        return answer_now(exchange);
    }
    if (exchange->body.state == BODY_NO_ROOM) {
        exchange_overloaded(exchange, "There is no room to keep the body now.");
        return answer_now(exchange);
    }
    if ((request->route->flags & HTTP_ROUTE_INLINE) != 0) {
        exchange->server->options.serve_inline(exchange->server->options.context, request,
                                               &exchange->response);
        return answer_now(exchange);
    }
    if (!worker_pool_has_room(exchange->server->pool)) {
        exchange_overloaded(exchange, "Too many requests are waiting. Try again in a moment.");
        return answer_now(exchange);
    }
    return hand_to_worker(exchange);
}

static enum MHD_Result on_call(void *argument, struct MHD_Connection *connection, const char *url,
                               const char *method, const char *version, const char *upload,
                               size_t *upload_size, void **context)
{
    (void)argument;
    (void)connection;
    (void)url;
    struct exchange *exchange = *context;
    switch (exchange->stage) {
    case STAGE_HEADERS:
        return on_headers(exchange, method, version);
    case STAGE_BODY:
        if (*upload_size > 0) {
            size_t length = *upload_size;
            *upload_size = 0;
            return body_append(&exchange->body, upload, length) ? MHD_YES : MHD_NO;
        }
        return on_request_end(exchange);
    case STAGE_ANSWERED:
        return send_answer(exchange);
    case STAGE_SERVING:
        break;
    }
    return MHD_YES;
}

/* ------------------------------------------------------------------ daemon */

/* The format alone: the arguments may hold parts of a request. */
static void on_library_log(void *argument, const char *format, va_list arguments)
    __attribute__((format(printf, 2, 0)));

static void on_library_log(void *argument, const char *format, va_list arguments)
{
    (void)argument;
    (void)arguments;
    log_message(LOG_LEVEL_DEBUG, "http_library", "%s", format);
}

static bool read_address(const struct http_server_options *options,
                         struct sockaddr_storage *address, unsigned *ret_flags)
{
    struct sockaddr_in v4 = {.sin_family = AF_INET, .sin_port = htons(options->port)};
    struct sockaddr_in6 v6 = {.sin6_family = AF_INET6, .sin6_port = htons(options->port)};
    if (inet_pton(AF_INET, options->address, &v4.sin_addr) == 1) {
        memcpy(address, &v4, sizeof v4);
        *ret_flags = 0;
        return true;
    }
    if (inet_pton(AF_INET6, options->address, &v6.sin6_addr) == 1) {
        memcpy(address, &v6, sizeof v6);
        *ret_flags = MHD_USE_IPv6;
        return true;
    }
    return false;
}

static struct MHD_Daemon *start(struct http_server *server, const struct sockaddr_storage *address,
                                unsigned family)
{
    /* It only reads them, though it wants them writable. */
    const void *constant[] = {tls_priorities, tls_no_certificate()};
    void *values[2];
    memcpy(values, constant, sizeof values);
    const struct MHD_OptionItem tls[] = {{MHD_OPTION_HTTPS_PRIORITIES, 0, values[0]},
                                         {MHD_OPTION_HTTPS_CERT_CALLBACK2, 0, values[1]},
                                         {MHD_OPTION_END, 0, NULL}};
    const struct MHD_OptionItem *more = server->tls == NULL ? &tls[2] : tls;
    unsigned flags =
        MHD_USE_EPOLL_INTERNALLY | MHD_ALLOW_SUSPEND_RESUME | MHD_USE_ERROR_LOG | family;
    flags |= server->tls == NULL ? 0 : (unsigned)MHD_USE_TLS;
    return MHD_start_daemon(
        flags, server->options.port, may_connect, server, on_call, server,    /* the logger first */
        MHD_OPTION_EXTERNAL_LOGGER, on_library_log, NULL,                     /* */
        MHD_OPTION_SOCK_ADDR, (const struct sockaddr *)(const void *)address, /* */
        MHD_OPTION_CONNECTION_LIMIT, (unsigned)CONNECTION_LIMIT,              /* */
        MHD_OPTION_ARRAY, more,                                               /* */
        MHD_OPTION_CONNECTION_MEMORY_LIMIT, (size_t)CONNECTION_MEMORY,        /* */
        MHD_OPTION_CONNECTION_TIMEOUT, (unsigned)KEEP_ALIVE_S,                /* */
        MHD_OPTION_NOTIFY_CONNECTION, on_connection, server,                  /* */
        MHD_OPTION_URI_LOG_CALLBACK, on_request_line, server,                 /* */
        MHD_OPTION_NOTIFY_COMPLETED, on_completed, server,                    /* */
        MHD_OPTION_SIGPIPE_HANDLED_BY_APP, 1, MHD_OPTION_END);
}

bool daemon_start(struct http_server *server, struct error *reterr)
{
    struct sockaddr_storage address;
    memset(&address, 0, sizeof address);
    unsigned family = 0;
    if (!read_address(&server->options, &address, &family)) {
        return error_set(reterr, ERROR_INVALID, "%s is no numeric address",
                         server->options.address);
    }
    errno = 0;
    server->daemon = start(server, &address, family);
    if (server->daemon == NULL) {
        return error_set(reterr, ERROR_UNAVAILABLE, "cannot listen on %s port %u: %s",
                         server->options.address, (unsigned)server->options.port,
                         errno == 0 ? "refused" : strerrordesc_np(errno));
    }
    server->port = MHD_get_daemon_info(server->daemon, MHD_DAEMON_INFO_BIND_PORT)->port;
    return true;
}

void daemon_resume(struct exchange *exchange)
{
    exchange->stage = STAGE_ANSWERED;
    MHD_resume_connection(exchange->connection);
}

int daemon_quiesce(struct http_server *server)
{
    return MHD_quiesce_daemon(server->daemon);
}

void daemon_stop(struct http_server *server, int listener)
{
    MHD_stop_daemon(server->daemon);
    if (listener != MHD_INVALID_SOCKET) {
        (void)close(listener);
    }
}
