/* Routing, methods, credentials, ids: what every answer has in common. */
#include "service.h"
#include "wire.h"

#include "base/uuid.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>
#include <string.h>

#include <cmocka.h>

static void routes_to_the_handler(void **state)
{
    struct service *service = *state;
    struct reply reply;
    wire_exchange(service->port, "GET /items/a%20b HTTP/1.1\r\nHost: h\r\n\r\n", &reply);
    assert_int_equal(reply.status, 200);
    assert_string_equal(reply.body, "{\"id\":\"a b\",\"as\":\"application/json\",\"method\":0}");
    reply_free(&reply);
    wire_exchange(service->port, "GET http://h/items/x HTTP/1.1\r\nHost: h\r\n\r\n", &reply);
    assert_int_equal(reply.status, 200);
    reply_free(&reply);
}

static void says_404_and_405_as_problems(void **state)
{
    struct service *service = *state;
    struct reply reply;
    wire_exchange(service->port, "GET /nowhere?x=secret HTTP/1.1\r\nHost: h\r\n\r\n", &reply);
    assert_int_equal(reply.status, 404);
    assert_string_equal(reply_field(&reply, "Content-Type"), "application/problem+json");
    assert_string_equal(reply.body,
                        "{\"type\":\"about:blank\",\"title\":\"Not Found\",\"status\":404,"
                        "\"detail\":\"There is nothing at this path.\",\"instance\":\"/nowhere\"}");
    reply_free(&reply);
    static const char *const methods[] = {"POST", "PATCH", "BREW", "get", "TRACE", "CONNECT"};
    for (size_t i = 0; i < sizeof methods / sizeof methods[0]; i++) {
        char request[100];
        (void)snprintf(request, sizeof request, "%s /items/1 HTTP/1.1\r\nHost: h\r\n\r\n",
                       methods[i]);
        wire_exchange(service->port, request, &reply);
        assert_int_equal(reply.status, 405);
        assert_string_equal(reply_field(&reply, "Allow"), "GET, HEAD, PUT, DELETE, OPTIONS");
        reply_free(&reply);
    }
}

static void answers_options_from_the_table(void **state)
{
    struct service *service = *state;
    struct reply reply;
    wire_exchange(service->port, "OPTIONS /items/1 HTTP/1.1\r\nHost: h\r\n\r\n", &reply);
    assert_int_equal(reply.status, 204);
    assert_string_equal(reply_field(&reply, "Allow"), "GET, HEAD, PUT, DELETE, OPTIONS");
    reply_free(&reply);
    wire_exchange(service->port, "OPTIONS * HTTP/1.1\r\nHost: h\r\n\r\n", &reply);
    assert_int_equal(reply.status, 204);
    assert_string_equal(reply_field(&reply, "Allow"),
                        "GET, HEAD, POST, PUT, PATCH, DELETE, OPTIONS");
    reply_free(&reply);
    wire_exchange(service->port, "OPTIONS /nowhere HTTP/1.1\r\nHost: h\r\n\r\n", &reply);
    assert_int_equal(reply.status, 404);
    reply_free(&reply);
    assert_int_equal(service_served(service), 0);
}

static void answers_head_like_get_without_the_body(void **state)
{
    struct service *service = *state;
    struct wire wire;
    struct reply get;
    struct reply head;
    wire_open(&wire, service->port);
    wire_text(&wire, "HEAD /items/1 HTTP/1.1\r\nHost: h\r\n\r\n");
    wire_read(&wire, &head, true);
    wire_text(&wire, "GET /items/1 HTTP/1.1\r\nHost: h\r\n\r\n"); /* fails if a body had come */
    wire_read(&wire, &get, false);
    assert_int_equal(head.status, 200);
    static const char *const fields[] = {"Content-Length", "Content-Type", "ETag", "Vary"};
    for (size_t i = 0; i < sizeof fields / sizeof fields[0]; i++) {
        assert_non_null(reply_field(&head, fields[i]));
        assert_non_null(reply_field(&get, fields[i]));
        assert_string_equal(head.field, get.field);
    }
    reply_free(&head);
    reply_free(&get);
    wire_close(&wire);
}

static void asks_for_a_credential_before_the_body(void **state)
{
    struct service *service = *state;
    struct wire wire;
    struct reply reply;
    wire_open(&wire, service->port);
    wire_text(&wire, "POST /private HTTP/1.1\r\nHost: h\r\nContent-Type: application/json\r\n"
                     "Content-Length: 1000\r\n\r\n");
    wire_read(&wire, &reply, false); /* although no byte of the body was sent */
    assert_int_equal(reply.status, 401);
    assert_string_equal(reply_field(&reply, "WWW-Authenticate"), "Bearer");
    assert_string_equal(reply_field(&reply, "Connection"), "close");
    reply_free(&reply);
    wire_close(&wire);
    assert_int_equal(service_served(service), 0);
    wire_exchange(service->port,
                  "GET /private HTTP/1.1\r\nHost: h\r\nAuthorization: Bearer x\r\n\r\n", &reply);
    assert_int_equal(reply.status, 204);
    reply_free(&reply);
}

static void wants_if_match_where_it_counts(void **state)
{
    struct service *service = *state;
    struct reply reply;
    wire_exchange(service->port,
                  "PUT /items/1 HTTP/1.1\r\nHost: h\r\nContent-Type: application/json\r\n"
                  "Content-Length: 2\r\n\r\n{}",
                  &reply);
    assert_int_equal(reply.status, 428);
    reply_free(&reply);
    assert_int_equal(service_served(service), 0);
    wire_exchange(service->port,
                  "PUT /items/1 HTTP/1.1\r\nHost: h\r\nContent-Type: application/json\r\n"
                  "If-Match: \"7\"\r\nContent-Length: 2\r\n\r\n{}",
                  &reply);
    assert_int_equal(reply.status, 200);
    reply_free(&reply);
}

static void gives_every_answer_a_request_id(void **state)
{
    struct service *service = *state;
    struct reply reply;
    wire_exchange(service->port,
                  "GET /items/1 HTTP/1.1\r\nHost: h\r\nX-Request-Id: room-4.a_B\r\n\r\n", &reply);
    assert_string_equal(reply_field(&reply, "X-Request-Id"), "room-4.a_B");
    reply_free(&reply);
    wire_exchange(service->port,
                  "GET /nowhere HTTP/1.1\r\nHost: h\r\nX-Request-Id: from-a-404\r\n\r\n", &reply);
    assert_string_equal(reply_field(&reply, "X-Request-Id"), "from-a-404");
    reply_free(&reply);
    static const char *const requests[] = {
        "GET /items/1 HTTP/1.1\r\nHost: h\r\n\r\n",
        "GET /items/1 HTTP/1.1\r\nHost: h\r\nX-Request-Id: not one\r\n\r\n",
        "GET /items/1 HTTP/1.1\r\nX-Y: no host\r\n\r\n", "OPTIONS * HTTP/1.1\r\nHost: h\r\n\r\n",
        "GET /alive HTTP/1.1\r\nHost: h\r\n\r\n"};
    for (size_t i = 0; i < sizeof requests / sizeof requests[0]; i++) {
        wire_exchange(service->port, requests[i], &reply);
        assert_non_null(reply_field(&reply, "X-Request-Id"));
        assert_true(uuid_is_valid(reply.field));
        reply_free(&reply);
    }
}

static void hardens_every_answer(void **state)
{
    static const struct {
        const char *name;
        const char *value;
    } fields[] = {
        {"X-Content-Type-Options", "nosniff"},
        {"Referrer-Policy", "no-referrer"},
        {"Cross-Origin-Opener-Policy", "same-origin"},
        {"Cross-Origin-Resource-Policy", "same-origin"},
        {"Cache-Control", "no-store"},
        {"Content-Security-Policy",
         "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' data:; "
         "font-src 'self'; connect-src 'self'; base-uri 'none'; form-action 'self'; "
         "frame-ancestors 'none'"},
    };

    static const char *const paths[] = {"/items/1", "/nowhere", "/alive",
                                        "/private", "/..",      "/text"};
    struct service *service = *state;
    for (size_t i = 0; i < sizeof paths / sizeof paths[0]; i++) {
        char request[100];
        (void)snprintf(request, sizeof request, "GET %s HTTP/1.1\r\nHost: h\r\n\r\n", paths[i]);
        struct reply reply;
        wire_exchange(service->port, request, &reply);
        for (size_t f = 0; f < sizeof fields / sizeof fields[0]; f++) {
            assert_non_null(reply_field(&reply, fields[f].name));
            assert_string_equal(reply.field, fields[f].value);
        }
        assert_null(reply_field(&reply, "Server"));
        reply_free(&reply);
    }
}

static void lets_a_handler_set_the_policy_of_its_page(void **state)
{
    struct service *service = *state;
    struct reply reply;
    wire_exchange(service->port, "GET /page HTTP/1.1\r\nHost: h\r\n\r\n", &reply);
    assert_string_equal(reply_field(&reply, "Content-Security-Policy"), "default-src 'none'");
    assert_null(strstr(reply.head, "connect-src"));
    assert_string_equal(reply_field(&reply, "Cache-Control"), "no-cache");
    assert_string_equal(reply_field(&reply, "Content-Type"), "text/html; charset=utf-8");
    reply_free(&reply);
}

static void hands_over_query_cookie_and_peer(void **state)
{
    struct service *service = *state;
    struct reply reply;
    wire_exchange(service->port,
                  "GET /query?name=a%26b+c&limit=5 HTTP/1.1\r\nHost: h\r\n"
                  "Cookie: x=1; session=abc=\r\nCookie: session2=y\r\n\r\n",
                  &reply);
    assert_string_equal(reply.body,
                        "{\"name\":\"a&b c\",\"cookie\":\"abc=\",\"client\":\"127.0.0.1\"}");
    reply_free(&reply);
    wire_exchange(service->port, "GET /query?nam=1&limit=5&limit=6 HTTP/1.1\r\nHost: h\r\n\r\n",
                  &reply);
    assert_int_equal(reply.status, 422);
    assert_non_null(strstr(reply.body, "\"detail\":\"The input has 2 faults.\""));
    assert_non_null(strstr(reply.body, "{\"pointer\":\"?nam\",\"detail\":\"This query parameter is "
                                       "not known here.\"}"));
    assert_non_null(strstr(reply.body, "{\"pointer\":\"?limit\",\"detail\":\"This query parameter "
                                       "is given more than once.\"}"));
    reply_free(&reply);
}

static void refuses_to_start_on_what_it_cannot_serve(void **state)
{
    struct service *service = *state;
    static const struct http_route route = {.method = HTTP_GET, .pattern = "/"};
    const struct http_server_options good = {.address = "127.0.0.1",
                                             .port = service->port,
                                             .routes = &route,
                                             .route_count = 1,
                                             .workers = 1,
                                             .heavy_limit = 1,
                                             .queue_limit = 1,
                                             .request_deadline_s = 1};
    struct http_server *server = NULL;
    struct error error = {ERROR_NONE, ""};
    assert_false(http_server_start(&good, &server, &error)); /* the port is taken */
    assert_int_equal(error.kind, ERROR_UNAVAILABLE);
    assert_non_null(strstr(error.detail, "cannot listen on 127.0.0.1"));
    struct http_server_options bad = good;
    bad.address = "localhost";
    assert_false(http_server_start(&bad, &server, &error));
    assert_int_equal(error.kind, ERROR_INVALID);
    bad = good;
    bad.workers = 0;
    assert_false(http_server_start(&bad, &server, &error));
    bad = good;
    bad.request_deadline_s = 0;
    assert_false(http_server_start(&bad, &server, &error));
    assert_null(server);
}

static void listens_on_ipv6(void **state)
{
    (void)state;
    static const struct http_route route = {.method = HTTP_GET, .pattern = "/"};
    const struct http_server_options options = {.address = "::1",
                                                .routes = &route,
                                                .route_count = 1,
                                                .workers = 1,
                                                .heavy_limit = 1,
                                                .queue_limit = 1,
                                                .request_deadline_s = 1};
    struct http_server *server = NULL;
    struct error error = {ERROR_NONE, ""};
    assert_true(http_server_start(&options, &server, &error));
    assert_int_not_equal(http_server_port(server), 0);
    http_server_stop(server, 1);
}

#define WITH_SERVICE(test) cmocka_unit_test_setup_teardown(test, service_set_up, service_tear_down)

int main(void)
{
    const struct CMUnitTest tests[] = {
        WITH_SERVICE(routes_to_the_handler),
        WITH_SERVICE(says_404_and_405_as_problems),
        WITH_SERVICE(answers_options_from_the_table),
        WITH_SERVICE(answers_head_like_get_without_the_body),
        WITH_SERVICE(asks_for_a_credential_before_the_body),
        WITH_SERVICE(wants_if_match_where_it_counts),
        WITH_SERVICE(gives_every_answer_a_request_id),
        WITH_SERVICE(hardens_every_answer),
        WITH_SERVICE(lets_a_handler_set_the_policy_of_its_page),
        WITH_SERVICE(hands_over_query_cookie_and_peer),
        WITH_SERVICE(refuses_to_start_on_what_it_cannot_serve),
        cmocka_unit_test(listens_on_ipv6),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
