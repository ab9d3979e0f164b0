/* From the response of a handler to what is sent. */
#include "http/exchange.h"

#include "base/clock.h"
#include "base/log.h"
#include "base/text.h"
#include "http/conditional.h"
#include "http/negotiate.h"
#include "http/range.h"
#include "http/router.h"

#include <math.h>
#include <microhttpd.h>
#include <stdlib.h>
#include <string.h>
#include <strings.h>

enum { COMPRESS_FROM = 1024, TIMING_LIMIT = 200 };

enum { LOG_FIELDS_ALWAYS = 8, LOG_FIELDS_MAX = LOG_FIELDS_ALWAYS + 4 };

/* On every answer, unless the handler has set a field of that name itself. */
static const struct http_header security_headers[] = {
    {"Content-Security-Policy",
     "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' data:; "
     "font-src 'self'; connect-src 'self'; base-uri 'none'; form-action 'self'; "
     "frame-ancestors 'none'"},
    {"X-Content-Type-Options", "nosniff"},
    {"Referrer-Policy", "no-referrer"},
    {"Cross-Origin-Opener-Policy", "same-origin"},
    {"Cross-Origin-Resource-Policy", "same-origin"},
    {"Permissions-Policy", "accelerometer=(), camera=(), display-capture=(), geolocation=(), "
                           "gyroscope=(), magnetometer=(), microphone=(), midi=(), payment=(), "
                           "screen-wake-lock=(), serial=(), usb=()"},
    {"X-Frame-Options", "DENY"}, /* for what does not know frame-ancestors */
};

/* Two years. Only over TLS: RFC 6797, section 7.2. */
static const char stay_with_tls[] = "max-age=63072000";

static const char *const split_names[] = {"parse", "compute", "store"};

static bool is_textual(const char *media_type)
{
    static const char *const exact[] = {"application/json", "application/javascript",
                                        "application/xml", "image/svg+xml"};
    size_t length = strcspn(media_type, "; ");
    if (strncasecmp(media_type, "text/", 5) == 0) {
        return true;
    }
    if (length > 5 && strncasecmp(media_type + length - 5, "+json", 5) == 0) {
        return true;
    }
    for (size_t i = 0; i < sizeof exact / sizeof exact[0]; i++) {
        if (strlen(exact[i]) == length && strncasecmp(media_type, exact[i], length) == 0) {
            return true;
        }
    }
    return false;
}

static bool is_compressible(const struct http_response *response)
{
    return !response->ranges && response->body_length >= COMPRESS_FROM &&
           response->media_type != NULL && is_textual(response->media_type) &&
           http_response_field(response, "Content-Encoding") == NULL;
}

/* RFC 9110 section 13.1.2: a reader that already has this revision gets no body. */
static void check_not_modified(struct exchange *exchange)
{
    struct http_response *response = &exchange->response;
    if (response->status != 200 || response->etag == NULL || exchange->request.method != HTTP_GET) {
        return;
    }
    const char *known = http_request_header(&exchange->request, "If-None-Match");
    if (known != NULL && conditional_matches(known, response->etag, true)) {
        http_respond(response, 304, NULL, NULL, 0);
    }
}

/* RFC 9110 section 14: the part that was asked for, of an answer that may be had in parts. Only GET
 * knows ranges (section 14.2), so a HEAD describes the whole. */
static void cut_range(struct exchange *exchange)
{
    struct http_response *response = &exchange->response;
    if (!response->ranges || response->status != 200) {
        return;
    }
    struct http_request *request = &exchange->request;
    size_t whole = response->body_length;
    struct range part = {0, 0};
    enum range_kind kind = RANGE_WHOLE;
    if (exchange->method == HTTP_GET &&
        range_is_current(http_request_header(request, "If-Range"), response->etag)) {
        kind = range_parse(http_request_header(request, "Range"), whole, &part);
    }
    if (kind == RANGE_UNSATISFIABLE) {
        response->header_count = 0; /* they describe what is not sent */
        http_problem(request, response, 416, "Of this answer there are %zu bytes.", whole);
        http_response_header(response, "Content-Range",
                             arena_printf(request->arena, "bytes */%zu", whole));
    } else if (kind == RANGE_PART) {
        response->status = 206;
        response->body = (const char *)response->body + part.first;
        response->body_length = part.length;
        http_response_header(response, "Content-Range",
                             arena_printf(request->arena, "bytes %zu-%zu/%zu", part.first,
                                          part.first + part.length - 1, whole));
    }
    http_response_header(response, "Accept-Ranges", "bytes");
}

/* Returns the coding's name when the body was replaced by a smaller one. */
static const char *compress(struct exchange *exchange, struct codec *codec)
{
    struct http_response *response = &exchange->response;
    enum coding coding =
        negotiate_coding(http_request_header(&exchange->request, "Accept-Encoding"));
    void *encoded = NULL;
    size_t length = 0;
    if (!codec_encode(codec, coding, response->body, response->body_length, &encoded, &length)) {
        return NULL;
    }
    arena_defer(exchange->request.arena, free, encoded);
    response->body = encoded;
    response->body_length = length;
    return coding_name(coding);
}

static void add(struct MHD_Response *answer, const char *name, const char *value)
{
    if (MHD_add_response_header(answer, name, value) != MHD_YES) {
        log_message(LOG_LEVEL_ERROR, "bad_header", "%s left out of an answer", name);
    }
}

static void add_timing(struct exchange *exchange, struct MHD_Response *answer)
{
    struct text text;
    text_init(&text, exchange->request.arena, TIMING_LIMIT);
    for (size_t i = 0; i < sizeof split_names / sizeof split_names[0]; i++) {
        if (exchange->response.split_s[i] > 0) {
            text_printf(&text, "%s%s;dur=%.3f", text.length == 0 ? "" : ", ", split_names[i],
                        exchange->response.split_s[i] * 1e3);
        }
    }
    if (text.length > 0) {
        add(answer, "Server-Timing", text.data);
    }
}

static void add_content_type(struct exchange *exchange, struct MHD_Response *answer)
{
    const char *type = exchange->response.media_type;
    if (type == NULL) {
        return;
    }
    if (strncasecmp(type, "text/", 5) == 0 && strchr(type, ';') == NULL) {
        type = arena_printf(exchange->request.arena, "%s; charset=utf-8", type);
    }
    add(answer, "Content-Type", type);
}

static void add_vary(struct exchange *exchange, struct MHD_Response *answer, bool compressible)
{
    const struct http_route *route = exchange->request.route;
    bool by_type = route != NULL && route->produces[0] != NULL && route->produces[1] != NULL;
    if (by_type && compressible) {
        add(answer, "Vary", "Accept, Accept-Encoding");
    } else if (by_type || compressible) {
        add(answer, "Vary", by_type ? "Accept" : "Accept-Encoding");
    }
}

static void add_headers(struct exchange *exchange, struct MHD_Response *answer)
{
    const struct http_response *response = &exchange->response;
    add(answer, "X-Request-Id", exchange->request.id);
    for (size_t i = 0; i < response->header_count; i++) {
        add(answer, response->headers[i].name, response->headers[i].value);
    }
    for (size_t i = 0; i < sizeof security_headers / sizeof security_headers[0]; i++) {
        if (http_response_field(response, security_headers[i].name) == NULL) {
            add(answer, security_headers[i].name, security_headers[i].value);
        }
    }
    if (exchange->request.secure) {
        add(answer, "Strict-Transport-Security", stay_with_tls);
    }
    if (!response->cacheable) {
        add(answer, "Cache-Control", "no-store");
    } else if (http_response_field(response, "Cache-Control") == NULL) {
        add(answer, "Cache-Control", "no-cache");
    }
    if (response->etag != NULL) {
        add(answer, "ETag", response->etag);
    }
    if (exchange->must_close || atomic_load(&exchange->server->draining)) {
        add(answer, "Connection", "close");
    }
}

/* To the microsecond: more digits are noise. */
static double milliseconds(double seconds)
{
    return round(seconds * 1e6) / 1e3;
}

void exchange_log(struct exchange *exchange, int status)
{
    const struct http_request *request = &exchange->request;
    const double *split_s = exchange->response.split_s;
    exchange->logged = true;
    double now_s = clock_monotonic_s();
    double started_s = request->started_s > 0 ? request->started_s : now_s;
    struct log_field fields[LOG_FIELDS_MAX] = {
        {"request_id", request->id == NULL ? "" : request->id, 0},
        {"method", exchange->method_known ? router_method_name(exchange->method) : "", 0},
        {"route", request->route == NULL ? "" : request->route->pattern, 0},
        {"status", NULL, status},
        {"bytes_in", NULL, (double)(exchange->body.length + exchange->body.dropped)},
        {"bytes_out", NULL, (double)exchange->answer_length},
        {"duration_ms", NULL, milliseconds(now_s - started_s)},
        {"queue_ms", NULL, milliseconds(exchange->queue_s)},
    };
    size_t count = LOG_FIELDS_ALWAYS;
    if (exchange->parked_s > 0) {
        fields[count++] = (struct log_field){"parked_ms", NULL, milliseconds(exchange->parked_s)};
    }
    if (split_s[0] > 0 || split_s[1] > 0 || split_s[2] > 0) {
        fields[count++] = (struct log_field){"parse_ms", NULL, milliseconds(split_s[0])};
        fields[count++] = (struct log_field){"compute_ms", NULL, milliseconds(split_s[1])};
        fields[count++] = (struct log_field){"store_ms", NULL, milliseconds(split_s[2])};
    }
    log_event(LOG_LEVEL_INFO, status == 0 ? "request_abandoned" : "request", fields, count);
}

void exchange_answer(struct exchange *exchange, struct codec *codec)
{
    struct http_response *response = &exchange->response;
    check_not_modified(exchange);
    cut_range(exchange);
    bool compressible = codec != NULL && is_compressible(response);
    const char *coding = compressible ? compress(exchange, codec) : NULL;
    /* The library only reads the body, though it wants it writable; it lives on the arena until the
     * answer is sent. */
    void *body = NULL;
    memcpy(&body, &response->body, sizeof body);
    struct MHD_Response *answer =
        MHD_create_response_from_buffer(response->body_length, body, MHD_RESPMEM_PERSISTENT);
    exchange->answer = answer;
    exchange->answer_length = response->body_length;
    if (answer != NULL) {
        add_headers(exchange, answer);
        add_content_type(exchange, answer);
        add_timing(exchange, answer);
        add_vary(exchange, answer, compressible);
        if (coding != NULL) {
            add(answer, "Content-Encoding", coding);
        }
    }
    exchange_log(exchange, response->status);
}
