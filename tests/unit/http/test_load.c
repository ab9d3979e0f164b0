/* Many at once, too many at once, slow ones, and the end. */
#include "service.h"
#include "wire.h"

#include <netinet/in.h>
#include <poll.h>
#include <pthread.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>
#include <string.h>
#include <sys/socket.h>
#include <unistd.h>

#include <cmocka.h>

static const char gate[] = "GET /gate HTTP/1.1\r\nHost: h\r\n\r\n";
static const char heavy_gate[] = "GET /heavy-gate HTTP/1.1\r\nHost: h\r\n\r\n";
static const char light[] = "GET /items/1 HTTP/1.1\r\nHost: h\r\n\r\n";
static const char alive[] = "GET /alive HTTP/1.1\r\nHost: h\r\n\r\n";

static void expect(struct wire *wire, int status)
{
    struct reply reply;
    wire_read(wire, &reply, false);
    assert_int_equal(reply.status, status);
    reply_free(&reply);
}

static void answers_503_at_once_when_the_queue_is_full(void **state)
{
    (void)state;

    enum { ALL = 6 };
    static const struct service_limits limits = {1, 1, 2, 30};
    struct service service;
    service_start(&service, &limits);
    struct wire wires[ALL];
    wire_open(&wires[0], service.port);
    wire_text(&wires[0], gate);
    service_await_gate(&service, 1);
    for (size_t i = 1; i < ALL; i++) {
        wire_open(&wires[i], service.port);
        wire_text(&wires[i], light);
    }
    /* One is being served and two wait; which two is chance. The others are refused while the gate
     * is still shut. */
    size_t refused = 0;
    bool answered[ALL] = {false};
    while (refused < ALL - 3) {
        struct pollfd waiting[ALL];
        for (size_t i = 0; i < ALL; i++) {
            waiting[i] = (struct pollfd){answered[i] ? -1 : wires[i].socket, POLLIN, 0};
        }
        assert_true(poll(waiting, ALL, WIRE_PATIENCE_MS) > 0);
        for (size_t i = 0; i < ALL; i++) {
            if (waiting[i].revents != 0) {
                struct reply reply;
                wire_read(&wires[i], &reply, false);
                assert_int_equal(reply.status, 503);
                assert_string_equal(reply_field(&reply, "Retry-After"), "1");
                reply_free(&reply);
                answered[i] = true;
                refused++;
            }
        }
    }
    /* The event thread still answers what needs no worker. */
    struct reply reply;
    wire_exchange(service.port, alive, &reply);
    assert_int_equal(reply.status, 204);
    reply_free(&reply);
    service_open_gate(&service);
    for (size_t i = 0; i < ALL; i++) {
        if (!answered[i]) {
            expect(&wires[i], 200);
        }
        wire_close(&wires[i]);
    }
    service_stop(&service);
}

static void heavy_requests_leave_room_for_light_ones(void **state)
{
    (void)state;

    enum { HEAVY = 4 };
    static const struct service_limits limits = {2, 1, 64, 30};
    struct service service;
    service_start(&service, &limits);
    struct wire wires[HEAVY];
    for (size_t i = 0; i < HEAVY; i++) {
        wire_open(&wires[i], service.port);
        wire_text(&wires[i], heavy_gate);
    }
    service_await_gate(&service, 1);
    struct wire wire;
    wire_open(&wire, service.port);
    for (int i = 0; i < 20; i++) {
        wire_text(&wire, light);
        expect(&wire, 200);
    }
    wire_close(&wire);
    service_await_gate(&service, 1); /* and no second heavy one has begun */
    service_open_gate(&service);
    for (size_t i = 0; i < HEAVY; i++) {
        expect(&wires[i], 200);
        wire_close(&wires[i]);
    }
    service_stop(&service);
}

/* A document is heavy where it is drawn, and light as JSON. */
static void drawn_documents_are_heavy(void **state)
{
    (void)state;
    static const char drawn[] =
        "GET /document-gate HTTP/1.1\r\nHost: h\r\nAccept: application/pdf\r\n\r\n";
    static const char as_json[] =
        "GET /document-gate HTTP/1.1\r\nHost: h\r\nAccept: application/json\r\n\r\n";
    static const struct service_limits limits = {3, 1, 64, 30};
    struct service service;
    service_start(&service, &limits);
    struct wire wires[3];
    for (size_t i = 0; i < 2; i++) {
        wire_open(&wires[i], service.port);
        wire_text(&wires[i], drawn);
    }
    service_await_gate(&service, 1);
    wire_open(&wires[2], service.port);
    wire_text(&wires[2], as_json);
    service_await_gate(&service, 2);
    struct wire wire;
    wire_open(&wire, service.port);
    for (int i = 0; i < 20; i++) {
        wire_text(&wire, light);
        expect(&wire, 200);
    }
    wire_close(&wire);
    service_await_gate(&service, 2); /* the second drawing waits for the first */
    service_open_gate(&service);
    for (size_t i = 0; i < 3; i++) {
        expect(&wires[i], 200);
        wire_close(&wires[i]);
    }
    service_stop(&service);
}

struct caller {
    pthread_t thread;
    uint16_t port;
    unsigned number;
    unsigned right;
};

enum { CALLERS = 8, CALLS = 60 };

static void *call_again_and_again(void *argument)
{
    struct caller *caller = argument;
    struct wire wire;
    wire_open(&wire, caller->port);
    for (unsigned i = 0; i < CALLS; i++) {
        char request[100];
        char expected[100];
        struct reply reply;
        (void)snprintf(request, sizeof request, "GET /items/%u-%u HTTP/1.1\r\nHost: h\r\n\r\n",
                       caller->number, i);
        (void)snprintf(expected, sizeof expected, "{\"id\":\"%u-%u\",", caller->number, i);
        wire_text(&wire, request);
        wire_read(&wire, &reply, false);
        if (reply.status == 200 && strncmp(reply.body, expected, strlen(expected)) == 0) {
            caller->right++;
        }
        reply_free(&reply);
    }
    wire_close(&wire);
    return NULL;
}

static void gives_each_of_many_its_own_answer(void **state)
{
    struct service *service = *state;
    struct caller callers[CALLERS];
    for (unsigned i = 0; i < CALLERS; i++) {
        callers[i] = (struct caller){.port = service->port, .number = i};
        assert_int_equal(
            pthread_create(&callers[i].thread, NULL, call_again_and_again, &callers[i]), 0);
    }
    for (unsigned i = 0; i < CALLERS; i++) {
        assert_int_equal(pthread_join(callers[i].thread, NULL), 0);
        assert_int_equal(callers[i].right, CALLS);
    }
}

static void survives_clients_that_leave(void **state)
{
    static const struct service_limits limits = {2, 1, 64, 30};
    (void)state;
    struct service service;
    service_start(&service, &limits);
    struct wire wires[2];
    for (size_t i = 0; i < 2; i++) {
        wire_open(&wires[i], service.port);
        wire_text(&wires[i], gate);
    }
    service_await_gate(&service, 2);
    wire_close(&wires[0]);
    wire_close(&wires[1]);
    service_open_gate(&service);
    struct reply reply;
    wire_exchange(service.port, light, &reply);
    assert_int_equal(reply.status, 200);
    reply_free(&reply);
    service_stop(&service);
}

/* Sends `start`, then a byte whenever nothing has come for a moment, until the server closes. */
static void assert_drip_is_ended(struct service *service, const char *start)
{
    struct wire wire;
    wire_open(&wire, service->port);
    wire_text(&wire, start);
    int drops = 0;
    while (!wire_is_ready(&wire, 20)) {
        wire_send(&wire, "1", 1);
        assert_true(++drops < 1000); /* 20 s: a library that goes by idleness never ends this */
    }
    assert_true(wire_is_closed(&wire));
    wire_close(&wire);
}

static void ends_a_drip_at_the_deadline(void **state)
{
    (void)state;
    static const struct service_limits limits = {1, 1, 4, 0.4};
    struct service service;
    service_start(&service, &limits);
    assert_drip_is_ended(&service, "GET /items/");
    assert_drip_is_ended(&service, "GET /items/1 HTTP/1.1\r\nHost: h\r\nX: ");
    assert_drip_is_ended(&service, "POST /echo HTTP/1.1\r\nHost: h\r\nContent-Type: text/csv\r\n"
                                   "Content-Length: 4000\r\n\r\n");
    assert_int_equal(service_served(&service), 0);
    service_stop(&service);
}

/* The deadline is for what the client does; a handler may take longer. */
static void does_not_end_a_request_that_is_being_served(void **state)
{
    (void)state;
    static const struct service_limits limits = {1, 1, 4, 0.2};
    struct service service;
    service_start(&service, &limits);
    struct wire served;
    struct wire idle;
    wire_open(&served, service.port);
    wire_text(&served, gate);
    service_await_gate(&service, 1);
    wire_open(&idle, service.port);
    assert_true(wire_is_closed(&idle)); /* at its own deadline, later than that of the first */
    wire_close(&idle);
    service_open_gate(&service);
    expect(&served, 200);
    wire_text(&served, light);
    expect(&served, 200);
    wire_close(&served);
    service_stop(&service);
}

struct stop {
    pthread_t thread;
    struct http_server *server;
    double patience_s;
};

static void *stop_server(void *argument)
{
    struct stop *stop = argument;
    http_server_stop(stop->server, stop->patience_s);
    return NULL;
}

static void begin_stop(struct stop *stop, struct service *service, double patience_s)
{
    *stop = (struct stop){.server = service->server, .patience_s = patience_s};
    assert_int_equal(pthread_create(&stop->thread, NULL, stop_server, stop), 0);
}

/* Asks on a kept connection until the answer says that the server is stopping. */
static void await_draining(struct wire *wire)
{
    bool closing = false;
    for (int i = 0; i < 1000000 && !closing; i++) {
        struct reply reply;
        wire_text(wire, alive);
        wire_read(wire, &reply, false);
        closing = reply_field(&reply, "Connection") != NULL;
        reply_free(&reply);
    }
    assert_true(closing);
}

static bool accepts(uint16_t port)
{
    struct sockaddr_in address = {.sin_family = AF_INET, .sin_port = htons(port)};
    address.sin_addr.s_addr = htonl(INADDR_LOOPBACK);
    int fd = socket(AF_INET, SOCK_STREAM | SOCK_CLOEXEC, 0);
    assert_true(fd >= 0);
    int failed = connect(fd, (const struct sockaddr *)(const void *)&address, sizeof address);
    (void)close(fd);
    return failed == 0;
}

static void end_service(struct service *service, struct stop *stop)
{
    assert_int_equal(pthread_join(stop->thread, NULL), 0);
    assert_false(accepts(service->port));
    (void)pthread_cond_destroy(&service->changed);
    (void)pthread_mutex_destroy(&service->lock);
}

/* A connection that the server has certainly taken out of the backlog. */
static void open_accepted(struct wire *wire, uint16_t port)
{
    wire_open(wire, port);
    wire_text(wire, alive);
    expect(wire, 204);
}

static void finishes_accepted_requests_when_it_stops(void **state)
{
    (void)state;
    static const struct service_limits limits = {1, 1, 4, 30};
    struct service service;
    service_start(&service, &limits);
    struct wire served;
    struct wire queued;
    struct wire half;
    struct wire idle;
    open_accepted(&served, service.port);
    open_accepted(&queued, service.port);
    open_accepted(&half, service.port);
    open_accepted(&idle, service.port);
    wire_text(&served, gate);
    service_await_gate(&service, 1);
    wire_text(&queued, light);
    wire_text(&half, "POST /echo HTTP/1.1\r\nHost: h\r\nContent-Type: text/csv\r\n"
                     "Expect: 100-continue\r\nContent-Length: 2\r\n\r\n");
    struct reply reply;
    wire_read(&half, &reply, true); /* the 100 shows that the request has been taken in */
    assert_int_equal(reply.status, 100);
    reply_free(&reply);
    struct stop stop;
    begin_stop(&stop, &service, 20);
    await_draining(&idle);
    wire_text(&half, "ab");
    service_open_gate(&service);
    expect(&served, 200);
    expect(&queued, 200);
    expect(&half, 200);
    assert_true(wire_is_closed(&served));
    end_service(&service, &stop);
    wire_close(&idle);
    wire_close(&half);
    wire_close(&queued);
    wire_close(&served);
}

/* The running handler is waited for in any case; what only waits for a worker is answered with 503.
 */
static void turns_the_queue_away_when_patience_ends(void **state)
{
    (void)state;
    static const struct service_limits limits = {1, 1, 4, 30};
    struct service service;
    service_start(&service, &limits);
    struct wire served;
    struct wire queued;
    open_accepted(&served, service.port);
    open_accepted(&queued, service.port);
    wire_text(&served, gate);
    service_await_gate(&service, 1);
    wire_text(&queued, light);
    struct stop stop;
    begin_stop(&stop, &service, 0);
    expect(&queued, 503); /* while the gate is still shut */
    service_open_gate(&service);
    expect(&served, 200);
    end_service(&service, &stop);
    wire_close(&queued);
    wire_close(&served);
}

#define WITH_SERVICE(test) cmocka_unit_test_setup_teardown(test, service_set_up, service_tear_down)

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(answers_503_at_once_when_the_queue_is_full),
        cmocka_unit_test(heavy_requests_leave_room_for_light_ones),
        cmocka_unit_test(drawn_documents_are_heavy),
        WITH_SERVICE(gives_each_of_many_its_own_answer),
        cmocka_unit_test(survives_clients_that_leave),
        cmocka_unit_test(ends_a_drip_at_the_deadline),
        cmocka_unit_test(does_not_end_a_request_that_is_being_served),
        cmocka_unit_test(finishes_accepted_requests_when_it_stops),
        cmocka_unit_test(turns_the_queue_away_when_patience_ends),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
