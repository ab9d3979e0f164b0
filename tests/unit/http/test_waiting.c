/* Requests that are put off until there is news. */
#include "service.h"
#include "wire.h"

#include "base/clock.h"

#include <pthread.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>
#include <string.h>
#include <sys/socket.h>
#include <time.h>

#include <cmocka.h>

static const char gate[] = "GET /gate HTTP/1.1\r\nHost: h\r\n\r\n";
static const char light[] = "GET /items/1 HTTP/1.1\r\nHost: h\r\n\r\n";
static const char wait[] = "GET /news HTTP/1.1\r\nHost: h\r\n\r\n";

/* A number of seconds that no test takes. */
static const double long_s = 1000;

static void expect(struct wire *wire, int status)
{
    struct reply reply;
    wire_read(wire, &reply, false);
    assert_int_equal(reply.status, status);
    reply_free(&reply);
}

/* Reads an answer of /news. It holds the header field of the last run alone. */
static void expect_news(struct wire *wire, bool news)
{
    struct reply reply;
    wire_read(wire, &reply, false);
    assert_int_equal(reply.status, 200);
    assert_non_null(strstr(reply.body, news ? "\"news\":true" : "\"news\":false"));
    const char *field = strstr(reply.head, "X-News: ");
    assert_non_null(field);
    assert_null(strstr(field + 1, "X-News: "));
    reply_free(&reply);
}

static void start_wait(struct service *service, struct wire *wire, unsigned number)
{
    char request[100];
    (void)snprintf(request, sizeof request, "GET /news?n=%u HTTP/1.1\r\nHost: h\r\n\r\n", number);
    wire_open(wire, service->port);
    wire_text(wire, request);
    service_await_waiting(service, number + 1);
}

static void asks_again_until_there_is_news(void **state)
{
    struct service *service = *state;
    struct wire wire;
    start_wait(service, &wire, 0);
    service_await_looks(service, 4);
    assert_false(wire_is_ready(&wire, 0));
    service_tell_news(service);
    expect_news(&wire, true);
    wire_text(&wire, light); /* the connection carries more */
    expect(&wire, 200);
    wire_text(&wire, wait);
    expect_news(&wire, true);
    wire_close(&wire);
}

static void keeps_the_body_for_every_run(void **state)
{
    struct service *service = *state;
    struct wire wire;
    struct reply reply;
    char expected[50];
    wire_open(&wire, service->port);
    wire_text(&wire, "POST /news HTTP/1.1\r\nHost: h\r\nContent-Type: application/json\r\n"
                     "Content-Length: 9\r\n\r\n{\"a\":[1]}");
    service_await_looks(service, 3);
    service_tell_news(service);
    wire_read(&wire, &reply, false);
    (void)snprintf(expected, sizeof expected, "\"sum\":%u",
                   (unsigned)service_sum("{\"a\":[1]}", 9));
    assert_non_null(strstr(reply.body, expected));
    reply_free(&reply);
    wire_close(&wire);
}

/* Or a long wait would pile it up. What the first run left goes with the request. */
static void drops_what_a_run_has_left(void **state)
{
    (void)state;
    struct service service;
    service_start(&service, &service_ample);
    struct wire wire;
    start_wait(&service, &wire, 0);
    service_await_looks(&service, 6);
    assert_true(service_dropped(&service) >= 4);
    service_tell_news(&service);
    expect_news(&wire, true);
    wire_close(&wire);
    service_stop(&service);
    assert_int_equal(service.dropped, service.served);
}

/* One place in the queue: who is put off needs none. */
static void serves_others_while_many_wait(void **state)
{
    (void)state;
    static const struct service_limits limits = {2, 1, 1, 30};
    static const struct service_waiting waiting = {SERVICE_WAITING, long_s, 0.05};
    struct service service;
    service_start_waiting(&service, &limits, &waiting);
    struct wire wires[SERVICE_WAITING];
    for (unsigned i = 0; i < SERVICE_WAITING; i++) {
        start_wait(&service, &wires[i], i);
    }
    struct wire other;
    wire_open(&other, service.port);
    for (int i = 0; i < 200; i++) {
        wire_text(&other, light);
        expect(&other, 200);
    }
    wire_text(&other, wait); /* one too many */
    expect_news(&other, false);
    wire_close(&other);
    for (unsigned i = 0; i < SERVICE_WAITING; i++) {
        assert_false(wire_is_ready(&wires[i], 0));
    }
    service_tell_news(&service);
    for (unsigned i = 0; i < SERVICE_WAITING; i++) {
        expect_news(&wires[i], true);
        wire_close(&wires[i]);
    }
    service_stop(&service);
}

static void a_full_queue_does_not_turn_away_who_waits(void **state)
{
    (void)state;
    static const struct service_limits limits = {1, 1, 1, 30};
    static const struct service_waiting waiting = {2, long_s, 0.05};
    struct service service;
    service_start_waiting(&service, &limits, &waiting);
    struct wire waits;
    struct wire gated;
    struct wire queued[2];
    start_wait(&service, &waits, 0);
    wire_open(&gated, service.port);
    wire_text(&gated, gate);
    service_await_gate(&service, 1);
    for (size_t i = 0; i < 2; i++) {
        wire_open(&queued[i], service.port);
        wire_text(&queued[i], light);
    }
    size_t refused = 0; /* which of the two is chance */
    for (int tries = 0; !wire_is_ready(&queued[refused], 20); tries++) {
        assert_true(tries < 1000);
        refused = 1 - refused;
    }
    expect(&queued[refused], 503);
    assert_false(wire_is_ready(&waits, 300)); /* due several times over */
    service_open_gate(&service);
    expect(&gated, 200);
    expect(&queued[1 - refused], 200);
    service_tell_news(&service);
    expect_news(&waits, true);
    wire_close(&queued[1]);
    wire_close(&queued[0]);
    wire_close(&gated);
    wire_close(&waits);
    service_stop(&service);
}

/* The deadline is for what the client does. A pause beyond the end is cut. */
static void waits_as_long_as_it_may(void **state)
{
    (void)state;
    static const struct service_limits limits = {1, 1, 4, 0.2};
    static const struct service_waiting pauses[] = {{2, 0.8, 0.05}, {2, 0.8, 1e300}};
    for (size_t i = 0; i < sizeof pauses / sizeof pauses[0]; i++) {
        struct service service;
        service_start_waiting(&service, &limits, &pauses[i]);
        struct wire wire;
        double begun_s = clock_monotonic_s();
        start_wait(&service, &wire, 0);
        expect_news(&wire, false);
        assert_true(clock_monotonic_s() - begun_s >= pauses[i].most_s);
        wire_close(&wire);
        service_stop(&service);
    }
}

/* Otherwise one request could keep a worker from everything else. */
static void a_pause_is_never_none(void **state)
{
    (void)state;
    static const struct service_limits limits = {1, 1, 4, 30};
    static const struct service_waiting waiting = {2, 0.5, 0};
    struct service service;
    service_start_waiting(&service, &limits, &waiting);
    struct wire wire;
    start_wait(&service, &wire, 0);
    expect_news(&wire, false);
    assert_true(service_served(&service) <= 12); /* 0.05 s apart, first and last included */
    wire_close(&wire);
    service_stop(&service);
}

static void answers_at_once_where_nobody_may_wait(void **state)
{
    (void)state;
    static const struct service_limits limits = {2, 1, 4, 30};
    static const struct service_waiting unlimited = {2, long_s, 0.05};
    static const struct service_waiting none = {0, long_s, 0.05};
    static const char *const requests[] = {"GET /heavy-news HTTP/1.1\r\nHost: h\r\n\r\n",
                                           "GET /inline-news HTTP/1.1\r\nHost: h\r\n\r\n"};
    struct service service;
    struct wire wire;
    service_start_waiting(&service, &limits, &unlimited);
    wire_open(&wire, service.port);
    for (size_t i = 0; i < 2; i++) {
        wire_text(&wire, requests[i]);
        expect_news(&wire, false);
    }
    wire_close(&wire);
    service_stop(&service);
    service_start_waiting(&service, &limits, &none);
    wire_open(&wire, service.port);
    wire_text(&wire, wait);
    expect_news(&wire, false);
    wire_close(&wire);
    service_stop(&service);
}

/* With one place, the second shows that the first gave it back. */
static void an_answer_takes_the_wait_back(void **state)
{
    (void)state;
    static const struct service_limits limits = {1, 1, 4, 30};
    static const struct service_waiting waiting = {1, long_s, 0.05};
    struct service service;
    service_start_waiting(&service, &limits, &waiting);
    for (int i = 0; i < 2; i++) {
        struct reply reply;
        wire_exchange(service.port, "GET /change-of-mind HTTP/1.1\r\nHost: h\r\n\r\n", &reply);
        assert_int_equal(reply.status, 409);
        reply_free(&reply);
    }
    service_stop(&service);
}

/* A client that only ends its side is still there to read. */
static void does_not_keep_who_ends_its_side(void **state)
{
    (void)state;
    static const struct service_limits limits = {1, 1, 4, 30};
    static const struct service_waiting waiting = {2, long_s, 0.05};
    struct service service;
    service_start_waiting(&service, &limits, &waiting);
    struct wire wire;
    start_wait(&service, &wire, 0);
    wire_finish(&wire);
    expect_news(&wire, false);
    wire_close(&wire);
    service_stop(&service);
}

static void reset(struct wire *wire)
{
    const struct linger at_once = {.l_onoff = 1, .l_linger = 0};
    assert_int_equal(setsockopt(wire->socket, SOL_SOCKET, SO_LINGER, &at_once, sizeof at_once), 0);
    wire_close(wire);
}

/* Waits on one connection after the other until the only place is free. */
static void await_place(struct service *service)
{
    struct wire wire;
    wire_open(&wire, service->port);
    wire_text(&wire, wait);
    for (int tries = 0; wire_is_ready(&wire, 200); tries++) {
        assert_true(tries < 1000);
        expect_news(&wire, false);
        (void)nanosleep(&(struct timespec){.tv_nsec = 20000000}, NULL);
        wire_text(&wire, wait);
    }
    wire_close(&wire);
}

static void forgets_clients_that_leave(void **state)
{
    (void)state;
    static const struct service_limits limits = {1, 1, 4, 30};
    static const struct service_waiting waiting = {1, long_s, 0.05};
    struct service service;
    service_start_waiting(&service, &limits, &waiting);
    struct wire wire;
    start_wait(&service, &wire, 0);
    wire_close(&wire);
    await_place(&service); /* and leaves as well */
    await_place(&service);
    service_stop(&service);
}

static void forgets_clients_that_reset(void **state)
{
    (void)state;
    static const struct service_limits limits = {1, 1, 4, 30};
    static const struct service_waiting waiting = {1, long_s, 0.05};
    struct service service;
    service_start_waiting(&service, &limits, &waiting);
    struct wire wire;
    start_wait(&service, &wire, 0);
    reset(&wire);
    await_place(&service);
    service_stop(&service);
}

/* Left alone for longer than the test takes, and still answered by its handler. */
static void runs_who_waits_once_more_when_it_stops(void **state)
{
    (void)state;

    enum { ALL = 20 };
    static const struct service_limits limits = {2, 1, 1, 30};
    static const struct service_waiting waiting = {SERVICE_WAITING, long_s, long_s};
    struct service service;
    service_start_waiting(&service, &limits, &waiting);
    struct wire wires[ALL];
    for (unsigned i = 0; i < ALL; i++) {
        start_wait(&service, &wires[i], i);
    }
    double begun_s = clock_monotonic_s();
    service_stop(&service);
    assert_true(clock_monotonic_s() - begun_s < 10); /* its patience is 20 s */
    assert_int_equal(service.looks, 2 * ALL);
    for (unsigned i = 0; i < ALL; i++) {
        struct reply reply;
        wire_read(&wires[i], &reply, false);
        assert_int_equal(reply.status, 200);
        assert_non_null(strstr(reply.body, "\"news\":false"));
        assert_string_equal(reply_field(&reply, "Connection"), "close");
        reply_free(&reply);
        wire_close(&wires[i]);
    }
}

static void *stop_impatiently(void *server)
{
    http_server_stop(server, 0);
    return NULL;
}

static void turns_who_waits_away_when_patience_ends(void **state)
{
    (void)state;
    static const struct service_limits limits = {1, 1, 1, 30};
    static const struct service_waiting waiting = {2, long_s, long_s};
    struct service service;
    service_start_waiting(&service, &limits, &waiting);
    struct wire waits;
    struct wire gated;
    start_wait(&service, &waits, 0);
    wire_open(&gated, service.port);
    wire_text(&gated, gate);
    service_await_gate(&service, 1);
    pthread_t stopper;
    assert_int_equal(pthread_create(&stopper, NULL, stop_impatiently, service.server), 0);
    expect(&waits, 503); /* while the gate is still shut */
    service_open_gate(&service);
    expect(&gated, 200);
    assert_int_equal(pthread_join(stopper, NULL), 0);
    (void)pthread_cond_destroy(&service.changed);
    (void)pthread_mutex_destroy(&service.lock);
    wire_close(&gated);
    wire_close(&waits);
}

#define WITH_SERVICE(test) cmocka_unit_test_setup_teardown(test, service_set_up, service_tear_down)

int main(void)
{
    const struct CMUnitTest tests[] = {
        WITH_SERVICE(asks_again_until_there_is_news),
        WITH_SERVICE(keeps_the_body_for_every_run),
        cmocka_unit_test(drops_what_a_run_has_left),
        cmocka_unit_test(serves_others_while_many_wait),
        cmocka_unit_test(a_full_queue_does_not_turn_away_who_waits),
        cmocka_unit_test(waits_as_long_as_it_may),
        cmocka_unit_test(a_pause_is_never_none),
        cmocka_unit_test(answers_at_once_where_nobody_may_wait),
        cmocka_unit_test(an_answer_takes_the_wait_back),
        cmocka_unit_test(does_not_keep_who_ends_its_side),
        cmocka_unit_test(forgets_clients_that_leave),
        cmocka_unit_test(forgets_clients_that_reset),
        cmocka_unit_test(runs_who_waits_once_more_when_it_stops),
        cmocka_unit_test(turns_who_waits_away_when_patience_ends),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
