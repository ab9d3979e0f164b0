#include "service.h"

#include "base/log.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stdint.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>

#include <cmocka.h>

enum { PATIENCE_S = 20, LONG_TEXT = 100000 };

const struct service_limits service_ample = {2, 1, 64, 30};
const struct service_waiting service_patient = {SERVICE_WAITING, PATIENCE_S, 0.05};

uint32_t service_sum(const void *bytes, size_t length)
{
    const unsigned char *at = bytes;
    uint32_t sum = 2166136261U;
    for (size_t i = 0; i < length; i++) {
        sum = (sum ^ at[i]) * 16777619U;
    }
    return sum;
}

static void answer_json(struct http_request *request, struct http_response *response, char *json)
{
    (void)request;
    http_respond(response, 200, "application/json", json, strlen(json));
}

static void handle_item(void *context, struct http_request *request, struct http_response *response)
{
    (void)context;
    char *body = arena_printf(request->arena, "{\"id\":\"%s\",\"as\":\"%s\",\"method\":%d}",
                              request->parameters[0], request->accepted, (int)request->method);
    response->etag = "\"7\"";
    http_respond(response, 200, request->accepted, body, strlen(body));
}

static void handle_echo(void *context, struct http_request *request, struct http_response *response)
{
    (void)context;
    assert_int_equal(request->body[request->body_length], '\0');
    answer_json(request, response,
                arena_printf(request->arena, "{\"length\":%zu,\"sum\":%u,\"type\":\"%s\"}",
                             request->body_length,
                             (unsigned)service_sum(request->body, request->body_length),
                             request->media_type == NULL ? "" : request->media_type));
}

static void handle_gate(void *context, struct http_request *request, struct http_response *response)
{
    struct service *service = context;
    (void)pthread_mutex_lock(&service->lock);
    service->at_gate++;
    (void)pthread_cond_broadcast(&service->changed);
    while (!service->open) {
        (void)pthread_cond_wait(&service->changed, &service->lock);
    }
    service->at_gate--;
    (void)pthread_mutex_unlock(&service->lock);
    answer_json(request, response, arena_strdup(request->arena, "{\"passed\":true}"));
}

static void handle_long_text(void *context, struct http_request *request,
                             struct http_response *response)
{
    (void)context;
    char *text = arena_alloc(request->arena, LONG_TEXT + 1);
    for (size_t i = 0; i < LONG_TEXT; i++) {
        text[i] = "time,flow\n"[i % 10];
    }
    response->etag = "\"3\"";
    response->split_s[0] = 0.001;
    response->split_s[2] = 0.0025;
    http_respond(response, 200, request->accepted, text, LONG_TEXT);
}

static void handle_page(void *context, struct http_request *request, struct http_response *response)
{
    (void)context;
    (void)request;
    static const char page[] = "<!doctype html><title>x</title>";
    response->cacheable = true;
    response->shared_static = true;
    http_response_header(response, "Content-Security-Policy", "default-src 'none'");
    http_respond(response, 200, "text/html", page, sizeof page - 1);
}

static bool look_for_news(struct service *service)
{
    (void)pthread_mutex_lock(&service->lock);
    bool news = service->news;
    service->looks += news ? 0 : 1;
    (void)pthread_cond_broadcast(&service->changed);
    (void)pthread_mutex_unlock(&service->lock);
    return news;
}

static void note_wait(struct service *service, const char *number)
{
    unsigned long n = number == NULL ? 0 : strtoul(number, NULL, 10);
    assert_true(n < SERVICE_WAITING);
    (void)pthread_mutex_lock(&service->lock);
    service->waiting += service->put_off[n] ? 0 : 1;
    service->put_off[n] = true;
    (void)pthread_cond_broadcast(&service->changed);
    (void)pthread_mutex_unlock(&service->lock);
}

static void note_drop(void *object)
{
    struct service *service = object;
    (void)pthread_mutex_lock(&service->lock);
    service->dropped++;
    (void)pthread_mutex_unlock(&service->lock);
}

static void handle_news(void *context, struct http_request *request, struct http_response *response)
{
    struct service *service = context;
    arena_defer(request->arena, note_drop, service);
    bool news = look_for_news(service);
    assert_int_equal(response->status, 500); /* fresh */
    http_response_header(response, "X-News", news ? "yes" : "no");
    if (!news && http_answer_later(request, response, service->pause_s)) {
        note_wait(service, http_request_query(request, "n"));
        return;
    }
    answer_json(request, response,
                arena_printf(request->arena, "{\"news\":%s,\"sum\":%u}", news ? "true" : "false",
                             (unsigned)service_sum(request->body, request->body_length)));
}

static void handle_change_of_mind(void *context, struct http_request *request,
                                  struct http_response *response)
{
    (void)context;
    bool may_wait = http_answer_later(request, response, 0);
    http_problem(request, response, may_wait ? 409 : 410, "Not later after all.");
}

/* Readable bytes, so that compression would be worth it where it is allowed. */
static void handle_samples(void *context, struct http_request *request,
                           struct http_response *response)
{
    (void)context;
    char *samples = arena_alloc(request->arena, SERVICE_SAMPLES + 1);
    for (size_t i = 0; i < SERVICE_SAMPLES; i++) {
        samples[i] = (char)('a' + i % 26);
    }
    response->etag = "\"5\"";
    response->ranges = true;
    http_response_header(response, "Content-Disposition", "attachment");
    http_respond(response, 200, request->accepted, samples, SERVICE_SAMPLES);
}

static void handle_query(void *context, struct http_request *request,
                         struct http_response *response)
{
    (void)context;
    static const char *const known[] = {"name", "limit", NULL};
    struct fault_list faults;
    fault_list_init(&faults, request->arena);
    http_request_check_query(request, known, &faults);
    if (faults.count > 0) {
        http_problem_faults(request, response, 422, &faults);
        return;
    }
    const char *name = http_request_query(request, "name");
    const char *cookie = http_request_cookie(request, "session");
    answer_json(request, response,
                arena_printf(request->arena,
                             "{\"name\":\"%s\",\"cookie\":\"%s\",\"client\":\"%s\"}",
                             name == NULL ? "-" : name, cookie == NULL ? "-" : cookie,
                             request->client_address));
}

static const char *or_dash(const char *text)
{
    return text == NULL ? "-" : text;
}

/* What the transport knows of the client, and whether a handler sees what others claim. */
static void handle_client(void *context, struct http_request *request,
                          struct http_response *response)
{
    (void)context;
    answer_json(request, response,
                arena_printf(request->arena, "%s %s %s %s claims:%s", request->client_address,
                             request->secure ? "secure" : "plain", or_dash(request->host),
                             or_dash(request->client_certificate),
                             or_dash(http_request_header(request, "Penstock-Client-Certificate"))));
}

static void handle_nothing(void *context, struct http_request *request,
                           struct http_response *response)
{
    (void)context;
    (void)request;
    http_respond(response, 204, NULL, NULL, 0);
}

static const struct http_route routes[] = {
    {.method = HTTP_GET,
     .pattern = "/items/{id}",
     .handler = handle_item,
     .flags = HTTP_ROUTE_PUBLIC,
     .produces = {"application/json", "text/html"}},
    {.method = HTTP_PUT,
     .pattern = "/items/{id}",
     .handler = handle_item,
     .flags = HTTP_ROUTE_PUBLIC | HTTP_ROUTE_REQUIRES_MATCH,
     .body_limit = SERVICE_BODY_LIMIT,
     .consumes = {"application/json"},
     .produces = {"application/json"}},
    {.method = HTTP_DELETE,
     .pattern = "/items/{id}",
     .handler = handle_nothing,
     .flags = HTTP_ROUTE_PUBLIC},
    {.method = HTTP_POST,
     .pattern = "/echo",
     .handler = handle_echo,
     .flags = HTTP_ROUTE_PUBLIC,
     .body_limit = SERVICE_BODY_LIMIT,
     .consumes = {"application/json", "text/csv"},
     .produces = {"application/json"}},
    {.method = HTTP_PATCH,
     .pattern = "/echo",
     .handler = handle_echo,
     .flags = HTTP_ROUTE_PUBLIC,
     .body_limit = SERVICE_BODY_LIMIT,
     .consumes = {"application/json"},
     .produces = {"application/json"}},
    {.method = HTTP_POST,
     .pattern = "/uploads",
     .handler = handle_echo,
     .flags = HTTP_ROUTE_PUBLIC | HTTP_ROUTE_HEAVY,
     .body_limit = SERVICE_UPLOAD_LIMIT,
     .consumes = {"application/octet-stream"},
     .produces = {"application/json"}},
    {.method = HTTP_GET,
     .pattern = "/alive",
     .handler = handle_nothing,
     .flags = HTTP_ROUTE_PUBLIC | HTTP_ROUTE_INLINE},
    {.method = HTTP_GET, .pattern = "/gate", .handler = handle_gate, .flags = HTTP_ROUTE_PUBLIC},
    {.method = HTTP_GET,
     .pattern = "/heavy-gate",
     .handler = handle_gate,
     .flags = HTTP_ROUTE_PUBLIC | HTTP_ROUTE_HEAVY},
    {.method = HTTP_GET,
     .pattern = "/document-gate",
     .handler = handle_gate,
     .flags = HTTP_ROUTE_PUBLIC | HTTP_ROUTE_HEAVY_DOCUMENT,
     .produces = {"application/json", "application/pdf"}},
    {.method = HTTP_GET,
     .pattern = "/text",
     .handler = handle_long_text,
     .flags = HTTP_ROUTE_PUBLIC,
     .produces = {"text/csv", "application/octet-stream"}},
    {.method = HTTP_GET,
     .pattern = "/page",
     .handler = handle_page,
     .flags = HTTP_ROUTE_PUBLIC,
     .produces = {"text/html"}},
    {.method = HTTP_GET,
     .pattern = "/query",
     .handler = handle_query,
     .flags = HTTP_ROUTE_PUBLIC,
     .produces = {"application/json"}},
    {.method = HTTP_GET, .pattern = "/news", .handler = handle_news, .flags = HTTP_ROUTE_PUBLIC},
    {.method = HTTP_POST,
     .pattern = "/news",
     .handler = handle_news,
     .flags = HTTP_ROUTE_PUBLIC,
     .body_limit = SERVICE_BODY_LIMIT,
     .consumes = {"application/json"}},
    {.method = HTTP_GET,
     .pattern = "/heavy-news",
     .handler = handle_news,
     .flags = HTTP_ROUTE_PUBLIC | HTTP_ROUTE_HEAVY},
    {.method = HTTP_GET,
     .pattern = "/inline-news",
     .handler = handle_news,
     .flags = HTTP_ROUTE_PUBLIC | HTTP_ROUTE_INLINE},
    {.method = HTTP_GET,
     .pattern = "/change-of-mind",
     .handler = handle_change_of_mind,
     .flags = HTTP_ROUTE_PUBLIC},
    {.method = HTTP_GET,
     .pattern = "/samples",
     .handler = handle_samples,
     .flags = HTTP_ROUTE_PUBLIC,
     .produces = {"application/octet-stream", "text/csv"}},
    {.method = HTTP_GET, .pattern = "/private", .handler = handle_nothing},
    {.method = HTTP_GET,
     .pattern = "/client",
     .handler = handle_client,
     .flags = HTTP_ROUTE_PUBLIC},
    {.method = HTTP_POST,
     .pattern = "/private",
     .handler = handle_echo,
     .body_limit = SERVICE_BODY_LIMIT,
     .consumes = {"application/json"}},
};

static void serve(void *worker, struct http_request *request, struct http_response *response)
{
    struct service *service = worker;
    const char *credential = http_request_header(request, "Authorization");
    if (credential != NULL && strcmp(credential, "Bearer forged") == 0) {
        assert_string_equal(request->body, "");
        http_problem(request, response, 401, "Nobody has this token.");
        return;
    }
    if (!http_request_load_body(request, response)) {
        return;
    }
    (void)pthread_mutex_lock(&service->lock);
    service->served++;
    (void)pthread_mutex_unlock(&service->lock);
    request->route->handler(service, request, response);
}

static void *worker_start(void *context)
{
    return context;
}

static void worker_stop(void *worker)
{
    (void)worker;
}

static bool has_credential(const struct http_request *request)
{
    return http_request_header(request, "Authorization") != NULL;
}

void service_start(struct service *service, const struct service_limits *limits)
{
    service_start_waiting(service, limits, &service_patient);
}

void service_start_waiting(struct service *service, const struct service_limits *limits,
                           const struct service_waiting *waiting)
{
    static const struct service_access plain = {.trusted_proxies = NULL};
    service_start_with(service, limits, waiting, &plain);
}

void service_start_with(struct service *service, const struct service_limits *limits,
                        const struct service_waiting *waiting, const struct service_access *access)
{
    memset(service, 0, sizeof *service);
    service->pause_s = waiting->pause_s;
    (void)pthread_mutex_init(&service->lock, NULL);
    (void)pthread_cond_init(&service->changed, NULL);
    const struct http_server_options options = {
        .address = "127.0.0.1",
        .port = 0,
        .tls = access->tls,
        .trusted_proxies = access->trusted_proxies,
        .routes = routes,
        .route_count = sizeof routes / sizeof routes[0],
        .context = service,
        .workers = limits->workers,
        .heavy_limit = limits->heavy_limit,
        .queue_limit = limits->queue_limit,
        .body_memory = (size_t)1024 * 1024,
        .request_deadline_s = limits->deadline_s,
        .waiting_limit = waiting->limit,
        .waiting_limit_per_address = access->waiting_limit_per_address == 0
                                         ? waiting->limit
                                         : access->waiting_limit_per_address,
        .waiting_most_s = waiting->most_s,
        .worker_start = worker_start,
        .worker_stop = worker_stop,
        .serve = serve,
        .serve_inline = serve,
        .has_credential = has_credential,
    };
    log_set_level(LOG_LEVEL_ERROR);
    struct error error = {ERROR_NONE, ""};
    if (!http_server_start(&options, &service->server, &error)) {
        fail_msg("%s", error.detail);
    }
    service->port = http_server_port(service->server);
    assert_int_not_equal(service->port, 0);
}

void service_stop(struct service *service)
{
    http_server_stop(service->server, PATIENCE_S);
    (void)pthread_cond_destroy(&service->changed);
    (void)pthread_mutex_destroy(&service->lock);
}

/* Waits until one of the service's counters has reached `count`. */
static void await(struct service *service, const unsigned *counter, unsigned count)
{
    struct timespec end;
    assert_int_equal(clock_gettime(CLOCK_REALTIME, &end), 0);
    end.tv_sec += PATIENCE_S;
    (void)pthread_mutex_lock(&service->lock);
    int waited = 0;
    while (*counter < count && waited == 0) {
        waited = pthread_cond_timedwait(&service->changed, &service->lock, &end);
    }
    unsigned reached = *counter;
    (void)pthread_mutex_unlock(&service->lock);
    assert_true(reached >= count);
}

void service_await_gate(struct service *service, unsigned count)
{
    await(service, &service->at_gate, count);
    (void)pthread_mutex_lock(&service->lock);
    unsigned at_gate = service->at_gate;
    (void)pthread_mutex_unlock(&service->lock);
    assert_int_equal(at_gate, count);
}

void service_await_looks(struct service *service, unsigned count)
{
    await(service, &service->looks, count);
}

void service_await_waiting(struct service *service, unsigned count)
{
    await(service, &service->waiting, count);
}

void service_tell_news(struct service *service)
{
    (void)pthread_mutex_lock(&service->lock);
    service->news = true;
    (void)pthread_mutex_unlock(&service->lock);
}

void service_open_gate(struct service *service)
{
    (void)pthread_mutex_lock(&service->lock);
    service->open = true;
    (void)pthread_cond_broadcast(&service->changed);
    (void)pthread_mutex_unlock(&service->lock);
}

unsigned service_served(struct service *service)
{
    (void)pthread_mutex_lock(&service->lock);
    unsigned served = service->served;
    (void)pthread_mutex_unlock(&service->lock);
    return served;
}

unsigned service_dropped(struct service *service)
{
    (void)pthread_mutex_lock(&service->lock);
    unsigned dropped = service->dropped;
    (void)pthread_mutex_unlock(&service->lock);
    return dropped;
}

int service_set_up(void **state)
{
    struct service *service = malloc(sizeof *service);
    assert_non_null(service);
    service_start(service, &service_ample);
    *state = service;
    return 0;
}

int service_tear_down(void **state)
{
    service_stop(*state);
    free(*state);
    return 0;
}
