/* The worker's part of a request. */
#include "http/exchange.h"

#include "base/clock.h"
#include "base/log.h"

#include <poll.h>
#include <stdlib.h>
#include <string.h>

static const double pause_least_s = 0.05; /* whatever a handler asks for, it does not spin */

struct decoded_body {
    char *bytes;
    size_t length;
};

static void free_decoded_secret(void *opaque)
{
    struct decoded_body *body = opaque;
    explicit_bzero(body->bytes, body->length);
    free(body->bytes);
}

/* Not on the arena of one run: the body outlives it. */
static void keep_decoded(struct exchange *exchange, char *decoded, size_t length)
{
    exchange->request.body = decoded;
    exchange->request.body_length = length;
    if (arena_is_secret(exchange->arena)) {
        struct decoded_body *body = arena_alloc(exchange->arena, sizeof *body);
        *body = (struct decoded_body){decoded, length};
        arena_defer(exchange->arena, free_decoded_secret, body);
    } else {
        arena_defer(exchange->arena, free, decoded);
    }
}

static bool refuse_for_now(const struct http_request *request, struct http_response *response,
                           const char *reason)
{
    http_problem(request, response, 503, "%s", reason);
    http_response_header(response, "Retry-After", "1");
    return false;
}

static bool refuse_decoding(struct exchange *exchange, struct http_response *response,
                            enum decoding outcome)
{
    struct http_request *request = &exchange->request;
    switch (outcome) {
    case DECODING_TOO_LARGE:
        http_problem(request, response, 413,
                     "The body may have at most %zu bytes once it is decoded.",
                     request->route->body_limit);
        return false;
    case DECODING_DAMAGED:
        http_problem(request, response, 400,
                     "The body is not well-formed %s, as its Content-Encoding says it is.",
                     coding_name(exchange->body_coding));
        return false;
    case DECODING_OK:
    case DECODING_NO_MEMORY:
        break;
    }
    return refuse_for_now(request, response, "There is no memory to decode the body now.");
}

static bool decode_body(struct exchange *exchange, struct http_response *response)
{
    struct http_request *request = &exchange->request;
    char *decoded = NULL;
    size_t length = 0;
    enum decoding outcome =
        codec_decode(exchange->codec, exchange->body_coding, request->body, request->body_length,
                     request->route->body_limit, &decoded, &length);
    if (outcome != DECODING_OK) {
        request->body = "";
        request->body_length = 0;
        return refuse_decoding(exchange, response, outcome);
    }
    keep_decoded(exchange, decoded, length);
    return true;
}

bool http_request_load_body(struct http_request *request, struct http_response *response)
{
    struct exchange *exchange = exchange_of(request);
    if (exchange == NULL || exchange->codec == NULL || exchange->body_loaded ||
        !exchange->framing.has_body) {
        return true;
    }
    exchange->body_loaded = true;
    request->body = body_content(&exchange->body);
    request->body_length = exchange->body.length;
    if (request->body == NULL) {
        log_message(LOG_LEVEL_WARNING, "spool_failed",
                    "no room to end a spooled body, or it could not be mapped");
        request->body = "";
        request->body_length = 0;
        return refuse_for_now(request, response, "The body could not be kept.");
    }
    return exchange->body_coding == CODING_IDENTITY || decode_body(exchange, response);
}

/* Whether the client has closed the connection, or at least its side of it. One that only ends its
 * side still gets its answer, but nobody can be kept waiting who may be gone. */
static bool client_has_ended(const struct exchange *exchange)
{
    struct pollfd watched = {.fd = exchange->client->socket, .events = POLLRDHUP};
    return poll(&watched, 1, 0) != 0;
}

bool http_answer_later(struct http_request *request, struct http_response *response, double pause_s)
{
    struct exchange *exchange = exchange_of(request);
    if (exchange == NULL || (request->route->flags & (HTTP_ROUTE_HEAVY | HTTP_ROUTE_INLINE)) != 0) {
        return false;
    }
    struct http_server *server = exchange->server;
    double now_s = clock_monotonic_s();
    double end_s = request->started_s + server->options.waiting_most_s;
    if (now_s >= end_s || client_has_ended(exchange) ||
        !parking_hold(server->parking, &exchange->parked)) {
        return false;
    }
    double again_at_s = now_s + (pause_s > pause_least_s ? pause_s : pause_least_s);
    *response = (struct http_response){.status = 500};
    response->again_at_s = again_at_s < end_s ? again_at_s : end_s;
    return true;
}

/* What one run has left is dropped before the next, or a long wait would pile it up; only the first
 * run's lies on the exchange's own arena. */
static void park(struct exchange *exchange)
{
    double again_at_s = exchange->response.again_at_s;
    exchange->response = (struct http_response){.status = 500};
    exchange->request.arena = exchange->arena;
    arena_free(exchange->run_arena);
    exchange->run_arena = NULL;
    exchange->runs_again = true;
    parking_put(exchange->server->parking, &exchange->parked, again_at_s);
}

static void begin_again(struct exchange *exchange)
{
    exchange->parked_s += exchange->job.queued_s - exchange->parked.since_s;
    exchange->run_arena = arena_new();
    if (arena_is_secret(exchange->arena)) {
        arena_keep_secret(exchange->run_arena);
    }
    exchange->request.arena = exchange->run_arena;
}

bool exchange_serve(struct exchange *exchange, void *worker, struct codec *codec)
{
    exchange->queue_s += clock_monotonic_s() - exchange->job.queued_s;
    if (exchange->runs_again) {
        begin_again(exchange);
    }
    exchange->codec = codec;
    exchange->server->options.serve(worker, &exchange->request, &exchange->response);
    exchange->codec = NULL;
    if (exchange->response.again_at_s > 0) {
        park(exchange);
        return false;
    }
    parking_release(exchange->server->parking, &exchange->parked);
    exchange_answer(exchange, codec);
    return true;
}
