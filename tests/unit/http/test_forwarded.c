/* What a trusted proxy says about a client counts, what anyone else says changes nothing. The proxy
 * is 127.0.0.1 here, and 127.0.0.2 is anyone else. */
#include "service.h"
#include "wire.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include <cmocka.h>

#define CERTIFICATE "0123456789abcdef0123456789abcdef0123456789abcdef0123456789abcdef"
#define UPPER       "0123456789ABCDEF0123456789ABCDEF0123456789ABCDEF0123456789ABCDEF"

#define NEARLY "123456789abcdef0123456789abcdef0123456789abcdef0123456789abcdef"

static const char too_long[] = "Penstock-Client-Certificate: 00" NEARLY "\r\n";
static const char no_digit[] = "Penstock-Client-Certificate: g" NEARLY "\r\n";

static const struct service_access behind_proxy = {.trusted_proxies = "127.0.0.1, 10.0.0.0/8"};

static int set_up(void **state)
{
    struct service *service = malloc(sizeof *service);
    assert_non_null(service);
    service_start_with(service, &service_ample, &service_patient, &behind_proxy);
    *state = service;
    return 0;
}

static void ask(struct service *service, const char *from, const char *fields,
                struct reply *ret_reply)
{
    char request[1000];
    struct wire wire;
    (void)snprintf(request, sizeof request, "GET /client HTTP/1.1\r\nHost: inner\r\n%s\r\n",
                   fields);
    wire_open_from(&wire, service->port, from);
    wire_text(&wire, request);
    wire_read(&wire, ret_reply, false);
    wire_close(&wire);
}

static void assert_client(struct service *service, const char *from, const char *fields,
                          const char *expected)
{
    struct reply reply;
    ask(service, from, fields, &reply);
    assert_int_equal(reply.status, 200);
    assert_string_equal(reply.body, expected);
    bool secure = strstr(expected, " secure ") != NULL;
    assert_int_equal(reply_field(&reply, "Strict-Transport-Security") != NULL, secure);
    reply_free(&reply);
}

static void believes_a_trusted_proxy(void **state)
{
    static const struct {
        const char *fields;
        const char *expected;
    } cases[] = {
        {"", "127.0.0.1 plain inner - claims:-"},
        {"X-Forwarded-For: 192.0.2.1\r\n", "192.0.2.1 plain inner - claims:-"},
        {"X-Forwarded-For: 6.6.6.6\r\nX-Forwarded-For: 192.0.2.1, 10.1.1.1\r\n",
         "192.0.2.1 plain inner - claims:-"},
        {"X-Forwarded-Proto: https\r\n", "127.0.0.1 secure inner - claims:-"},
        {"X-Forwarded-Proto: HTTPS\r\n", "127.0.0.1 secure inner - claims:-"},
        {"X-Forwarded-Proto: https, http\r\n", "127.0.0.1 plain inner - claims:-"},
        {"X-Forwarded-Proto: http\r\nX-Forwarded-Proto: https\r\n",
         "127.0.0.1 secure inner - claims:-"},
        {"X-Forwarded-Host: clinic.example\r\n", "127.0.0.1 plain clinic.example - claims:-"},
        {"X-Forwarded-Host: evil.example, clinic.example:8443\r\n",
         "127.0.0.1 plain clinic.example:8443 - claims:-"},
        {"Penstock-Client-Certificate: " CERTIFICATE "\r\n",
         "127.0.0.1 plain inner " CERTIFICATE " claims:" CERTIFICATE},
        {"Penstock-Client-Certificate: " UPPER "\r\n",
         "127.0.0.1 plain inner " CERTIFICATE " claims:" UPPER},
        {"Penstock-Client-Certificate:\r\n", "127.0.0.1 plain inner - claims:"},
        /* the other notation is not read */
        {"Forwarded: for=192.0.2.1;proto=https;host=evil.example\r\n",
         "127.0.0.1 plain inner - claims:-"},
    };

    for (size_t i = 0; i < sizeof cases / sizeof cases[0]; i++) {
        assert_client(*state, "127.0.0.1", cases[i].fields, cases[i].expected);
    }
}

static void refuses_a_proxy_that_speaks_nonsense(void **state)
{
    static const char *const fields[] = {
        "X-Forwarded-Proto: gopher\r\n",
        "X-Forwarded-Proto: \r\n",
        "X-Forwarded-Host: a/b\r\n",
        "X-Forwarded-Host: a b\r\n",
        "X-Forwarded-Host: \r\n",
        "X-Forwarded-Host: user@host\r\n",
        "Penstock-Client-Certificate: abc\r\n",
        too_long,
        "Penstock-Client-Certificate: ab\r\nPenstock-Client-Certificate: ab\r\n",
        no_digit,
    };
    for (size_t i = 0; i < sizeof fields / sizeof fields[0]; i++) {
        struct reply reply;
        ask(*state, "127.0.0.1", fields[i], &reply);
        assert_int_equal(reply.status, 400);
        assert_non_null(strstr(reply.body, "as the proxy sent it"));
        reply_free(&reply);
    }
    assert_int_equal(service_served(*state), 0);
}

static void ignores_everybody_else(void **state)
{
    static const char *const fields[] = {
        "",
        "X-Forwarded-For: 10.0.0.1\r\n",
        "X-Forwarded-For: 127.0.0.1, 127.0.0.1\r\nx-forwarded-for: 192.0.2.1\r\n",
        "X-Forwarded-Proto: https\r\nX-FORWARDED-PROTO: gopher\r\n",
        "X-Forwarded-Host: evil.example\r\n",
        "X-Forwarded-Host: a b\r\n",
        "Penstock-Client-Certificate: " CERTIFICATE "\r\n",
        "penstock-client-certificate: " CERTIFICATE "\r\nPenstock-Client-Certificate: x\r\n",
        "Forwarded: for=10.0.0.1;proto=https;host=evil.example\r\n",
    };
    for (size_t i = 0; i < sizeof fields / sizeof fields[0]; i++) {
        assert_client(*state, "127.0.0.2", fields[i], "127.0.0.2 plain inner - claims:-");
    }
}

enum { SITE_LIMIT = 256 };

static bool is_served(struct wire *wire)
{
    struct reply reply;
    wire_text(wire, "GET /alive HTTP/1.1\r\nHost: h\r\n\r\n");
    if (wire_is_closed(wire)) {
        return false;
    }
    wire_read(wire, &reply, false);
    bool served = reply.status == 204;
    reply_free(&reply);
    return served;
}

/* A flood from one address fills its own places; the proxy has as many as there are. */
static void limits_the_connections_of_all_but_proxies(void **state)
{
    struct service *service = *state;
    static struct wire flood[SITE_LIMIT + 20];
    static struct wire proxy[SITE_LIMIT + 20];

    enum { COUNT = SITE_LIMIT + 20 };

    for (size_t i = 0; i < COUNT; i++) {
        wire_open_from(&flood[i], service->port, "127.0.0.2");
    }
    struct wire honest;
    wire_open_from(&honest, service->port, "127.0.0.3");
    assert_true(is_served(&honest));
    wire_close(&honest);
    for (size_t i = 0; i < COUNT; i++) {
        assert_int_equal(is_served(&flood[i]), i < SITE_LIMIT);
    }
    for (size_t i = 0; i < COUNT; i++) {
        wire_open_from(&proxy[i], service->port, "127.0.0.1");
        assert_true(is_served(&proxy[i]));
    }
    /* A place that is given up is anyone's again. */
    wire_close(&flood[0]);
    bool again = false;
    for (int tries = 0; tries < 1000 && !again; tries++) {
        struct wire late;
        wire_open_from(&late, service->port, "127.0.0.2");
        again = is_served(&late);
        wire_close(&late);
    }
    assert_true(again);
    for (size_t i = 0; i < COUNT; i++) {
        if (i > 0) {
            wire_close(&flood[i]);
        }
        wire_close(&proxy[i]);
    }
}

/* Of two clients behind one proxy each may have its own share of the requests that wait. */
static void counts_waiting_requests_by_client(void **state)
{
    (void)state;
    static const struct service_waiting few = {2, 20, 0.05};
    static const char *const clients[] = {"192.0.2.1", "192.0.2.1", "192.0.2.2"};
    struct service service;
    struct service_access access = behind_proxy;
    access.waiting_limit_per_address = 1;
    service_start_with(&service, &service_ample, &few, &access);
    struct wire wires[3];
    for (size_t i = 0; i < 3; i++) {
        char request[200];
        (void)snprintf(request, sizeof request,
                       "GET /news?n=%zu HTTP/1.1\r\nHost: h\r\nX-Forwarded-For: %s\r\n\r\n", i,
                       clients[i]);
        wire_open(&wires[i], service.port);
        wire_text(&wires[i], request);
        if (i == 1) {
            struct reply reply; /* a second one of the first client has no place: it is answered */
            wire_read(&wires[i], &reply, false);
            assert_string_equal(reply_field(&reply, "X-News"), "no");
            reply_free(&reply);
        } else {
            service_await_waiting(&service, i == 0 ? 1 : 2);
        }
    }
    service_tell_news(&service);
    for (size_t i = 0; i < 3; i += 2) {
        struct reply reply;
        wire_read(&wires[i], &reply, false);
        assert_string_equal(reply_field(&reply, "X-News"), "yes");
        reply_free(&reply);
    }
    for (size_t i = 0; i < 3; i++) {
        wire_close(&wires[i]);
    }
    service_stop(&service);
}

#define WITH_PROXY(test) cmocka_unit_test_setup_teardown(test, set_up, service_tear_down)

int main(void)
{
    const struct CMUnitTest tests[] = {
        WITH_PROXY(believes_a_trusted_proxy),
        WITH_PROXY(refuses_a_proxy_that_speaks_nonsense),
        WITH_PROXY(ignores_everybody_else),
        WITH_PROXY(limits_the_connections_of_all_but_proxies),
        cmocka_unit_test(counts_waiting_requests_by_client),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
