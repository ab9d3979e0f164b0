/* What could smuggle a request past a proxy, or past us, is refused and ends the connection. */
#include "service.h"
#include "wire.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>
#include <string.h>

#include <cmocka.h>

#define SMUGGLED "GET /items/smuggled HTTP/1.1\r\nHost: h\r\n\r\n"

static const char *const attacks[] = {
    /* two lengths, equal or not */
    "POST /echo HTTP/1.1\r\nHost: h\r\nContent-Type: text/csv\r\nContent-Length: 1\r\n"
    "Content-Length: 1\r\n\r\nx" SMUGGLED,
    "POST /echo HTTP/1.1\r\nHost: h\r\nContent-Type: text/csv\r\nContent-Length: 1\r\n"
    "Content-Length: 42\r\n\r\nx" SMUGGLED,
    /* a length beside chunks, in both orders */
    "POST /echo HTTP/1.1\r\nHost: h\r\nContent-Type: text/csv\r\nContent-Length: 5\r\n"
    "Transfer-Encoding: chunked\r\n\r\n0\r\n\r\n" SMUGGLED,
    "POST /echo HTTP/1.1\r\nHost: h\r\nContent-Type: text/csv\r\nTransfer-Encoding: chunked\r\n"
    "Content-Length: 5\r\n\r\n0\r\n\r\n" SMUGGLED,
    /* other transfer codings */
    "POST /echo HTTP/1.1\r\nHost: h\r\nTransfer-Encoding: gzip, chunked\r\n\r\n0\r\n\r\n" SMUGGLED,
    "POST /echo HTTP/1.1\r\nHost: h\r\nTransfer-Encoding: identity\r\n\r\n" SMUGGLED,
    "POST /echo HTTP/1.1\r\nHost: h\r\nTransfer-Encoding: xchunked\r\n\r\n" SMUGGLED,
    "POST /echo HTTP/1.1\r\nHost: h\r\nTransfer-Encoding: chunked\r\n"
    "Transfer-Encoding: chunked\r\n\r\n0\r\n\r\n" SMUGGLED,
    "POST /echo HTTP/1.0\r\nHost: h\r\nConnection: keep-alive\r\nTransfer-Encoding: chunked\r\n\r\n"
    "0\r\n\r\n" SMUGGLED,
    /* fields that hide from one reader */
    "POST /echo HTTP/1.1\r\nHost: h\r\nTransfer-Encoding : chunked\r\n\r\n0\r\n\r\n" SMUGGLED,
    "POST /echo HTTP/1.1\r\nHost: h\r\nContent-Length : 42\r\n\r\n" SMUGGLED,
    "GET /items/1 HTTP/1.1\r\nHost: h\r\nX: a\rContent-Length: 42\r\n\r\n" SMUGGLED,
    "GET /items/1 HTTP/1.1\r\nHost: h\r\nX: a\x01\r\n\r\n" SMUGGLED,
    "GET /items/1 HTTP/1.1\r\nHost: h\r\nX Y: a\r\n\r\n" SMUGGLED,
    /* hosts */
    "GET /items/1 HTTP/1.1\r\n\r\n" SMUGGLED,
    "GET /items/1 HTTP/1.1\r\nHost: a\r\nHost: b\r\n\r\n" SMUGGLED,
    "GET /items/1 HTTP/1.1\r\nHost: a, b\r\n\r\n" SMUGGLED,
};

static void refuses_ambiguous_framing_and_closes(void **state)
{
    struct service *service = *state;
    for (size_t i = 0; i < sizeof attacks / sizeof attacks[0]; i++) {
        struct wire wire;
        struct reply reply;
        wire_open(&wire, service->port);
        wire_text(&wire, attacks[i]);
        wire_read(&wire, &reply, false);
        assert_int_equal(reply.status, 400);
        assert_string_equal(reply_field(&reply, "Connection"), "close");
        assert_string_equal(reply_field(&reply, "Content-Type"), "application/problem+json");
        assert_non_null(reply_field(&reply, "X-Request-Id"));
        reply_free(&reply);
        assert_true(wire_is_closed(&wire));
        wire_close(&wire);
    }
    assert_int_equal(service_served(service), 0);
}

/* The library answers these itself: without our fields, but with the right status and a close. */
static void lets_the_library_refuse_what_it_cannot_parse(void **state)
{
    static const struct {
        const char *request;
        int status;
    } cases[] = {
        {"POST /echo HTTP/1.1\r\nHost: h\r\nContent-Length: +5\r\n\r\nhello" SMUGGLED, 400},
        {"POST /echo HTTP/1.1\r\nHost: h\r\nContent-Length: 5, 5\r\n\r\nhello" SMUGGLED, 400},
        {"POST /echo HTTP/1.1\r\nHost: h\r\nContent-Length: 99999999999999999999999\r\n\r\n", 413},
        {"GET /items/1 HTTP/3.7\r\nHost: h\r\n\r\n", 505},
        {"GET /items/1 HTTP/1.1\r\nHost: h\r\nno colon\r\n\r\n" SMUGGLED, 400},
        {"POST /echo HTTP/1.1\r\nHost: h\r\nContent-Type: text/csv\r\n"
         "Transfer-Encoding: chunked\r\n\r\nzz\r\n" SMUGGLED,
         400},
    };
    struct service *service = *state;
    for (size_t i = 0; i < sizeof cases / sizeof cases[0]; i++) {
        struct wire wire;
        wire_open(&wire, service->port);
        wire_text(&wire, cases[i].request);
        struct reply reply;
        wire_read(&wire, &reply, true);
        assert_int_equal(reply.status, cases[i].status);
        reply_free(&reply);
        wire_close(&wire);
    }
    assert_int_equal(service_served(service), 0);
}

static void refuses_a_huge_header_section(void **state)
{
    struct service *service = *state;
    static char request[20000];
    size_t length =
        (size_t)snprintf(request, sizeof request, "GET /items/1 HTTP/1.1\r\nHost: h\r\n");
    for (int i = 0; i < 120; i++) {
        length += (size_t)snprintf(request + length, sizeof request - length, "X-%d: y\r\n", i);
    }
    (void)snprintf(request + length, sizeof request - length, "\r\n");
    struct reply reply;
    wire_exchange(service->port, request, &reply);
    assert_int_equal(reply.status, 431);
    assert_string_equal(reply_field(&reply, "Connection"), "close");
    reply_free(&reply);
    assert_int_equal(service_served(service), 0);
}

static void refuses_dangerous_targets(void **state)
{
    static const char *const targets[] = {
        "/items/a%00b", "/items/%zz", "/items/%ff", "/items/..",    "/items/%2e%2e", "/../items/1",
        "/items/1#x",   "items/1",    "*",          "/query?a=%00", "/items/%0d%0aX"};
    struct service *service = *state;
    for (size_t i = 0; i < sizeof targets / sizeof targets[0]; i++) {
        char request[100];
        (void)snprintf(request, sizeof request, "GET %s HTTP/1.1\r\nHost: h\r\n\r\n", targets[i]);
        struct reply reply;
        wire_exchange(service->port, request, &reply);
        assert_int_equal(reply.status, 400);
        reply_free(&reply);
    }
    assert_int_equal(service_served(service), 0);
}

static void keeps_pipelined_requests_apart(void **state)
{
    struct service *service = *state;
    struct wire wire;
    wire_open(&wire, service->port);
    wire_text(&wire, "GET /items/one HTTP/1.1\r\nHost: h\r\n\r\n"
                     "POST /echo HTTP/1.1\r\nHost: h\r\nContent-Type: text/csv\r\n"
                     "Content-Length: 5\r\n\r\nhello"
                     "GET /nowhere HTTP/1.1\r\nHost: h\r\n\r\n"
                     "GET /alive HTTP/1.1\r\nHost: h\r\n\r\n"
                     "GET /items/two HTTP/1.1\r\nHost: h\r\nConnection: close\r\n\r\n");
    static const int statuses[] = {200, 200, 404, 204, 200};
    static const char *const parts[] = {"\"one\"", "\"length\":5", "nothing at this path", "",
                                        "\"two\""};
    for (size_t i = 0; i < 5; i++) {
        struct reply reply;
        wire_read(&wire, &reply, false);
        assert_int_equal(reply.status, statuses[i]);
        assert_non_null(strstr(reply.body, parts[i]));
        reply_free(&reply);
    }
    assert_true(wire_is_closed(&wire));
    wire_close(&wire);
}

static void keeps_the_connection_after_a_refusal_without_body(void **state)
{
    static const char *const requests[] = {
        "GET /nowhere HTTP/1.1\r\nHost: h\r\n\r\n", "DELETE /text HTTP/1.1\r\nHost: h\r\n\r\n",
        "GET /private HTTP/1.1\r\nHost: h\r\n\r\n",
        "GET /items/1 HTTP/1.1\r\nHost: h\r\nAccept: image/png\r\n\r\n",
        "POST /nowhere HTTP/1.1\r\nHost: h\r\nContent-Length: 0\r\n\r\n"};
    static const int statuses[] = {404, 405, 401, 406, 404};
    struct service *service = *state;
    struct wire wire;
    wire_open(&wire, service->port);
    for (size_t i = 0; i < sizeof requests / sizeof requests[0]; i++) {
        struct reply reply;
        wire_text(&wire, requests[i]);
        wire_read(&wire, &reply, false);
        assert_int_equal(reply.status, statuses[i]);
        assert_null(reply_field(&reply, "Connection"));
        reply_free(&reply);
    }
    wire_close(&wire);
}

static void closes_after_a_refusal_with_a_body_unread(void **state)
{
    static const char *const methods[] = {"POST", "PUT", "PATCH", "DELETE", "GET", "OPTIONS"};
    struct service *service = *state;
    for (size_t i = 0; i < sizeof methods / sizeof methods[0]; i++) {
        char request[300];
        (void)snprintf(request, sizeof request,
                       "%s /nowhere HTTP/1.1\r\nHost: h\r\nContent-Length: 43\r\n\r\n" SMUGGLED,
                       methods[i]);
        struct wire wire;
        struct reply reply;
        wire_open(&wire, service->port);
        wire_text(&wire, request);
        wire_read(&wire, &reply, false);
        assert_int_equal(reply.status, 404);
        assert_string_equal(reply_field(&reply, "Connection"), "close");
        reply_free(&reply);
        assert_true(wire_is_closed(&wire));
        wire_close(&wire);
    }
    assert_int_equal(service_served(service), 0);
}

static void speaks_http_1_0(void **state)
{
    struct service *service = *state;
    struct wire wire;
    struct reply reply;
    wire_open(&wire, service->port);
    wire_text(&wire, "GET /items/1 HTTP/1.0\r\n\r\n");
    wire_read(&wire, &reply, false);
    assert_int_equal(reply.status, 200);
    reply_free(&reply);
    assert_true(wire_is_closed(&wire));
    wire_close(&wire);
}

#define WITH_SERVICE(test) cmocka_unit_test_setup_teardown(test, service_set_up, service_tear_down)

int main(void)
{
    const struct CMUnitTest tests[] = {
        WITH_SERVICE(refuses_ambiguous_framing_and_closes),
        WITH_SERVICE(lets_the_library_refuse_what_it_cannot_parse),
        WITH_SERVICE(refuses_a_huge_header_section),
        WITH_SERVICE(refuses_dangerous_targets),
        WITH_SERVICE(keeps_pipelined_requests_apart),
        WITH_SERVICE(keeps_the_connection_after_a_refusal_without_body),
        WITH_SERVICE(closes_after_a_refusal_with_a_body_unread),
        WITH_SERVICE(speaks_http_1_0),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
