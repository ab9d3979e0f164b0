/* What can be refused before a byte of the body is read. Each step answers by itself and returns
 * false; exchange_admit() lists them in order. */
#include "http/exchange.h"

#include "base/clock.h"
#include "base/text.h"
#include "base/uuid.h"
#include "http/conditional.h"
#include "http/negotiate.h"
#include "http/router.h"

#include <microhttpd.h>
#include <string.h>
#include <strings.h>

struct collection {
    struct header_table *headers;
    bool overflowed;
    bool has_nul;
};

static enum MHD_Result collect(void *argument, enum MHD_ValueKind kind, const char *key,
                               size_t key_size, const char *value, size_t value_size)
{
    (void)kind;
    struct collection *collection = argument;
    struct header_table *headers = collection->headers;
    if (headers->count == HEADERS_MAX) {
        collection->overflowed = true;
        return MHD_NO;
    }
    const char *text = value == NULL ? "" : value;
    if (strlen(key) != key_size || strlen(text) != value_size) {
        collection->has_nul = true;
        return MHD_NO;
    }
    headers->items[headers->count++] = (struct http_header){key, text};
    return MHD_YES;
}

static bool read_headers(struct exchange *exchange, const char *version)
{
    struct collection collection = {&exchange->headers, false, false};
    (void)MHD_get_connection_values_n(exchange->connection, MHD_HEADER_KIND, collect, &collection);
    struct http_request *request = &exchange->request;
    const char *id = http_request_header(request, "X-Request-Id");
    if (id != NULL && headers_is_request_id(id)) {
        request->id = id;
    } else {
        char *own = arena_alloc(request->arena, UUID_TEXT_SIZE);
        uuid_new(own);
        request->id = own;
    }
    if (collection.overflowed) {
        http_problem(request, &exchange->response, 431, "There are more than %d header fields.",
                     HEADERS_MAX);
        return false;
    }
    if (collection.has_nul || !seams_are_sound(&exchange->section, &exchange->headers)) {
        http_problem(request, &exchange->response, 400,
                     "The header section is malformed: a line that does not end in CRLF, a folded "
                     "line, or a NUL.");
        return false;
    }
    if (!exchange_find_client(exchange)) {
        return false;
    }
    struct header_problem problem;
    int minor = strcmp(version, MHD_HTTP_VERSION_1_0) == 0 ? 0 : 1;
    if (!headers_check(&exchange->headers, minor, &exchange->framing, &problem)) {
        http_problem(request, &exchange->response, problem.status, "%s", problem.detail);
        return false;
    }
    exchange->must_close = exchange->framing.has_body;
    return true;
}

/* RFC 9112, section 3.2.2 has the target win; whoever sends two different ones has a purpose. */
static bool names_same_host(struct exchange *exchange)
{
    const struct target *target = &exchange->target;
    const char *host = http_request_header(&exchange->request, "Host");
    return target->authority == NULL || host == NULL || strcasecmp(target->authority, host) == 0;
}

static bool read_target(struct exchange *exchange)
{
    const char *problem = NULL;
    bool parsed =
        target_parse(exchange->request.arena, exchange->raw_target, &exchange->target, &problem);
    const struct http_server_options *options = &exchange->server->options;
    exchange->hides_path =
        router_hides_path(options->routes, options->route_count, &exchange->target);
    if (!parsed) {
        http_problem(&exchange->request, &exchange->response, 400, "%s", problem);
        return false;
    }
    if (!names_same_host(exchange)) {
        http_problem(&exchange->request, &exchange->response, 400,
                     "The request target names another host than the header field Host.");
        return false;
    }
    exchange->request.path = exchange->target.path;
    exchange->request.query = exchange->target.raw_query;
    return true;
}

/* OPTIONS is answered from the table; "*" means the server as a whole. */
static bool answer_options(struct exchange *exchange, unsigned methods)
{
    http_respond(&exchange->response, 204, NULL, NULL, 0);
    http_response_header(&exchange->response, "Allow",
                         router_allow(exchange->request.arena, methods));
    return false;
}

static bool find_route(struct exchange *exchange)
{
    struct http_request *request = &exchange->request;
    bool options = exchange->method_known && exchange->method == HTTP_OPTIONS;
    if (exchange->target.asterisk) {
        if (options) {
            return answer_options(exchange, (1U << HTTP_METHOD_COUNT) - 1);
        }
        http_problem(request, &exchange->response, 400, "The target * is for OPTIONS only.");
        return false;
    }
    struct route_match match;
    router_find(exchange->server->options.routes, exchange->server->options.route_count,
                exchange->method_known ? exchange->method : HTTP_OPTIONS, &exchange->target,
                &match);
    if (match.methods == 0) {
        http_problem(request, &exchange->response, 404, "There is nothing at this path.");
        return false;
    }
    if (options) {
        return answer_options(exchange, match.methods);
    }
    if (match.route == NULL) {
        const char *allow = router_allow(request->arena, match.methods);
        http_problem(request, &exchange->response, 405, "This path takes %s.", allow);
        http_response_header(&exchange->response, "Allow", allow);
        return false;
    }
    request->route = match.route;
    request->method = match.route->method;
    request->is_head = exchange->method == HTTP_HEAD;
    memcpy(request->parameters, match.parameters, sizeof request->parameters);
    return true;
}

static bool check_expectation(struct exchange *exchange)
{
    const char *expect = http_request_header(&exchange->request, "Expect");
    if (expect == NULL || strcasecmp(expect, "100-continue") == 0) {
        return true;
    }
    http_problem(&exchange->request, &exchange->response, 417,
                 "The only expectation that can be met is 100-continue.");
    return false;
}

static bool check_credential(struct exchange *exchange)
{
    const struct http_server_options *options = &exchange->server->options;
    if ((exchange->request.route->flags & HTTP_ROUTE_PUBLIC) != 0 ||
        options->has_credential == NULL || options->has_credential(&exchange->request)) {
        return true;
    }
    http_problem(&exchange->request, &exchange->response, 401,
                 "Sign in, or send a bearer token in the header field Authorization.");
    http_response_header(&exchange->response, "WWW-Authenticate", "Bearer");
    return false;
}

void exchange_overloaded(struct exchange *exchange, const char *reason)
{
    http_problem(&exchange->request, &exchange->response, 503, "%s", reason);
    http_response_header(&exchange->response, "Retry-After", "1");
}

static bool check_load(struct exchange *exchange)
{
    if ((exchange->request.route->flags & HTTP_ROUTE_INLINE) != 0 ||
        worker_pool_has_room(exchange->server->pool)) {
        return true;
    }
    exchange_overloaded(exchange, "Too many requests are waiting. Try again in a moment.");
    return false;
}

/* "a, b and c" would be prettier; a list is easier to read by machines and people alike. */
static const char *join(struct arena *arena, const char *const items[])
{
    struct text text;
    text_init(&text, arena, 400);
    for (size_t i = 0; items[i] != NULL; i++) {
        text_append(&text, i == 0 ? "" : ", ");
        text_append(&text, items[i]);
    }
    return text.data;
}

static bool choose_answer_type(struct exchange *exchange)
{
    struct http_request *request = &exchange->request;
    const char *const *produces = request->route->produces;
    if (produces[0] == NULL) {
        return true;
    }
    request->accepted = negotiate_media_type(http_request_header(request, "Accept"), produces);
    if (request->accepted != NULL) {
        return true;
    }
    http_problem(request, &exchange->response, 406, "What is here can be had as %s.",
                 join(request->arena, produces));
    return false;
}

static bool is_consumed(const struct http_route *route, const char *type)
{
    if (route->consumes[0] == NULL) {
        return true;
    }
    for (size_t i = 0; type != NULL && route->consumes[i] != NULL; i++) {
        if (strcmp(route->consumes[i], type) == 0) {
            return true;
        }
    }
    return false;
}

static bool check_body_type(struct exchange *exchange)
{
    struct http_request *request = &exchange->request;
    const char *field = http_request_header(request, "Content-Type");
    request->media_type = field == NULL ? NULL : negotiate_content_type(request->arena, field);
    if (!is_consumed(request->route, request->media_type)) {
        http_problem(request, &exchange->response, 415,
                     "The body must have a Content-Type out of: %s; text in UTF-8.",
                     join(request->arena, request->route->consumes));
        return false;
    }
    if (!coding_parse(http_request_header(request, "Content-Encoding"), &exchange->body_coding)) {
        http_problem(request, &exchange->response, 415,
                     "The Content-Encoding of a body is gzip, zstd or none.");
        http_response_header(&exchange->response, "Accept-Encoding", "gzip, zstd");
        return false;
    }
    return true;
}

/* A body where none is taken is refused as too large: the limit there is 0 bytes. */
static bool check_body(struct exchange *exchange)
{
    const struct http_route *route = exchange->request.route;
    if (!exchange->framing.has_body) {
        return true;
    }
    if (route->body_limit == 0) {
        http_problem(&exchange->request, &exchange->response, 413, "No body is taken here.");
        return false;
    }
    if (exchange->framing.length > route->body_limit) {
        http_problem(&exchange->request, &exchange->response, 413,
                     "The body may have at most %zu bytes.", route->body_limit);
        return false;
    }
    return check_body_type(exchange);
}

static bool check_precondition(struct exchange *exchange)
{
    if ((exchange->request.route->flags & HTTP_ROUTE_REQUIRES_MATCH) == 0 ||
        http_request_header(&exchange->request, "If-Match") != NULL) {
        return true;
    }
    http_problem(&exchange->request, &exchange->response, 428,
                 "Send the ETag that you have read in the header field If-Match.");
    return false;
}

static size_t section_length(struct MHD_Connection *connection)
{
    const union MHD_ConnectionInfo *info =
        MHD_get_connection_info(connection, MHD_CONNECTION_INFO_REQUEST_HEADER_SIZE);
    return info == NULL ? 0 : info->header_size;
}

static bool is_heavy(const struct http_request *request)
{
    const unsigned flags = request->route->flags;
    return (flags & HTTP_ROUTE_HEAVY) != 0 || ((flags & HTTP_ROUTE_HEAVY_DOCUMENT) != 0 &&
                                               strcmp(request->accepted, "application/json") != 0);
}

bool exchange_admit(struct exchange *exchange, const char *method, const char *version)
{
    exchange->request.started_s = clock_monotonic_s();
    exchange->must_close = true; /* until it is certain where this request ends */
    exchange->section.method = method;
    exchange->section.version = version;
    exchange->section.length = section_length(exchange->connection);
    exchange->method_known = router_method(method, &exchange->method);
    if (!read_headers(exchange, version) || !read_target(exchange) || !find_route(exchange) ||
        !check_expectation(exchange) || !check_credential(exchange) || !check_load(exchange) ||
        !choose_answer_type(exchange) || !check_body(exchange) || !check_precondition(exchange)) {
        return false;
    }
    exchange->must_close = false;
    exchange->job.heavy = is_heavy(&exchange->request);
    body_init(&exchange->body, &exchange->server->budget, exchange->request.route->body_limit,
              exchange->framing.length);
    exchange->body.is_secret = (exchange->request.route->flags & HTTP_ROUTE_SECRET) != 0;
    if (exchange->body.is_secret) {
        arena_keep_secret(exchange->arena);
    }
    return true;
}
