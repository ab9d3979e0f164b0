/* The worker's part of a request. */
#include "http/exchange.h"

#include "base/clock.h"
#include "base/log.h"

#include <stdlib.h>

/* Makes request->body out of what came over the wire; false when the answer is decided. */
static bool decode_body(struct exchange *exchange, struct codec *codec)
{
    struct http_request *request = &exchange->request;
    char *decoded = NULL;
    size_t length = 0;
    switch (codec_decode(codec, exchange->body_coding, request->body, request->body_length,
                         request->route->body_limit, &decoded, &length)) {
    case DECODING_OK:
        arena_defer(request->arena, free, decoded);
        request->body = decoded;
        request->body_length = length;
        return true;
    case DECODING_TOO_LARGE:
        http_problem(request, &exchange->response, 413,
                     "The body may have at most %zu bytes once it is decoded.",
                     request->route->body_limit);
        return false;
    case DECODING_DAMAGED:
        http_problem(request, &exchange->response, 400,
                     "The body is not well-formed %s, as its Content-Encoding says it is.",
                     coding_name(exchange->body_coding));
        return false;
    case DECODING_NO_MEMORY:
        break;
    }
    exchange_overloaded(exchange, "There is no memory to decode the body now.");
    return false;
}

static bool load_body(struct exchange *exchange, struct codec *codec)
{
    struct http_request *request = &exchange->request;
    if (!exchange->framing.has_body) {
        return true;
    }
    request->body = body_content(&exchange->body);
    request->body_length = exchange->body.length;
    if (request->body == NULL) {
        log_message(LOG_LEVEL_ERROR, "spool_failed", "a spooled body could not be mapped");
        exchange_overloaded(exchange, "The body could not be kept.");
        return false;
    }
    return exchange->body_coding == CODING_IDENTITY || decode_body(exchange, codec);
}

void exchange_serve(struct exchange *exchange, void *worker, struct codec *codec)
{
    exchange->queue_s = clock_monotonic_s() - exchange->job.queued_s;
    if (load_body(exchange, codec)) {
        exchange->server->options.serve(worker, &exchange->request, &exchange->response);
    }
    exchange_answer(exchange, codec);
}
