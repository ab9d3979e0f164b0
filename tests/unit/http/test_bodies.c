/* What comes in: lengths, chunks, spool, codings, and what is refused before it is read. */
#include "service.h"
#include "wire.h"

#include "http/encoding.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include <cmocka.h>

static char *pattern(size_t length)
{
    char *bytes = malloc(length + 1);
    assert_non_null(bytes);
    uint32_t seed = (uint32_t)length;
    for (size_t i = 0; i < length; i++) {
        seed = seed * 1664525U + 1013904223U; /* Numerical Recipes' generator */
        bytes[i] = (char)(seed >> 24);
    }
    return bytes;
}

static void assert_echo(const struct reply *reply, const char *bytes, size_t length)
{
    char expected[100];
    (void)snprintf(expected, sizeof expected, "{\"length\":%zu,\"sum\":%u,", length,
                   (unsigned)service_sum(bytes, length));
    assert_int_equal(reply->status, 200);
    assert_memory_equal(reply->body, expected, strlen(expected));
}

static void post(struct wire *wire, const char *path, const char *fields, const char *bytes,
                 size_t length)
{
    char head[400];
    (void)snprintf(head, sizeof head,
                   "POST %s HTTP/1.1\r\nHost: h\r\n%sContent-Length: %zu\r\n\r\n", path, fields,
                   length);
    wire_text(wire, head);
    wire_send(wire, bytes, length);
}

/* Around the limit of memory, the page size and the library's buffer. */
static void receives_bodies_of_any_size(void **state)
{
    static const size_t lengths[] = {1,       4095,    4096,    65536,   1048575,
                                     1048576, 1048577, 2097152, 3145727, SERVICE_UPLOAD_LIMIT};
    struct service *service = *state;
    struct wire wire;
    wire_open(&wire, service->port);
    for (size_t i = 0; i < sizeof lengths / sizeof lengths[0]; i++) {
        char *bytes = pattern(lengths[i]);
        struct reply reply;
        post(&wire, "/uploads", "Content-Type: application/octet-stream\r\n", bytes, lengths[i]);
        wire_read(&wire, &reply, false);
        assert_echo(&reply, bytes, lengths[i]);
        reply_free(&reply);
        free(bytes);
    }
    wire_close(&wire);
}

static void send_chunked(struct wire *wire, const char *bytes, size_t length, size_t chunk)
{
    wire_text(wire,
              "POST /uploads HTTP/1.1\r\nHost: h\r\nContent-Type: application/octet-stream\r\n"
              "Transfer-Encoding: chunked\r\n\r\n");
    for (size_t at = 0; at < length; at += chunk) {
        size_t size = length - at < chunk ? length - at : chunk;
        char line[40];
        (void)snprintf(line, sizeof line, "%zx\r\n", size);
        wire_text(wire, line);
        wire_send(wire, bytes + at, size);
        wire_text(wire, "\r\n");
    }
    wire_text(wire, "0\r\nX-Trailer: ignored\r\n\r\n");
}

static void receives_chunks(void **state)
{
    static const size_t lengths[] = {0, 1, 5000, 1048576, 3000000};
    struct service *service = *state;
    struct wire wire;
    wire_open(&wire, service->port);
    for (size_t i = 0; i < sizeof lengths / sizeof lengths[0]; i++) {
        char *bytes = pattern(lengths[i]);
        struct reply reply;
        send_chunked(&wire, bytes, lengths[i], 9973);
        wire_read(&wire, &reply, false);
        assert_echo(&reply, bytes, lengths[i]);
        reply_free(&reply);
        free(bytes);
    }
    wire_close(&wire);
}

/* A stranger learns nothing of what decoding would say, and spends none of it. */
static void decodes_only_for_those_who_may_be_served(void **state)
{
    static const struct {
        const char *credential;
        int damaged;
        int bomb;
    } cases[] = {{"Bearer forged", 401, 401}, {"Bearer sound", 400, 413}};

    enum { BOMB = 64 * SERVICE_BODY_LIMIT };
    struct service *service = *state;
    char *zeros = calloc(1, BOMB);
    assert_non_null(zeros);
    struct codec *codec = codec_new();
    assert_non_null(codec);
    void *bomb = NULL;
    size_t length = 0;
    assert_true(codec_encode(codec, CODING_GZIP, zeros, BOMB, &bomb, &length));
    assert_true(length < SERVICE_BODY_LIMIT);
    for (size_t i = 0; i < 2; i++) {
        char fields[200];
        struct wire wire;
        struct reply reply;
        (void)snprintf(fields, sizeof fields,
                       "Content-Type: application/json\r\nContent-Encoding: gzip\r\n"
                       "Authorization: %s\r\n",
                       cases[i].credential);
        wire_open(&wire, service->port);
        post(&wire, "/private", fields, "no gzip", 7);
        wire_read(&wire, &reply, false);
        assert_int_equal(reply.status, cases[i].damaged);
        reply_free(&reply);
        post(&wire, "/private", fields, bomb, length);
        wire_read(&wire, &reply, false);
        assert_int_equal(reply.status, cases[i].bomb);
        reply_free(&reply);
        wire_close(&wire);
    }
    free(bomb);
    free(zeros);
    codec_free(codec);
}

static void counts_chunks_against_the_limit(void **state)
{
    struct service *service = *state;
    size_t length = SERVICE_UPLOAD_LIMIT + 2000000;
    char *bytes = pattern(length);
    struct wire wire;
    struct reply reply;
    wire_open(&wire, service->port);
    send_chunked(&wire, bytes, length, 65536);
    wire_read(&wire, &reply, false);
    assert_int_equal(reply.status, 413);
    reply_free(&reply);
    /* All of the body was read, so the connection goes on. */
    wire_text(&wire, "GET /items/1 HTTP/1.1\r\nHost: h\r\n\r\n");
    wire_read(&wire, &reply, false);
    assert_int_equal(reply.status, 200);
    reply_free(&reply);
    wire_close(&wire);
    free(bytes);
    assert_int_equal(service_served(service), 1);
}

static void refuses_by_length_before_the_body(void **state)
{
    static const struct {
        const char *head;
        int status;
        const char *detail;
    } cases[] = {
        {"POST /echo HTTP/1.1\r\nHost: h\r\nContent-Type: text/csv\r\nContent-Length: 4097\r\n\r\n",
         413, "at most 4096 bytes"},
        {"GET /items/1 HTTP/1.1\r\nHost: h\r\nContent-Length: 5\r\n\r\n", 413, "No body"},
        {"DELETE /items/1 HTTP/1.1\r\nHost: h\r\nTransfer-Encoding: chunked\r\n\r\n", 413,
         "No body"},
        {"POST /echo HTTP/1.1\r\nHost: h\r\nContent-Length: 5\r\n\r\n", 415,
         "application/json, text/csv"},
        {"POST /echo HTTP/1.1\r\nHost: h\r\nContent-Type: text/html\r\nContent-Length: 5\r\n\r\n",
         415, "application/json, text/csv"},
        {"POST /echo HTTP/1.1\r\nHost: h\r\nContent-Type: text/csv; charset=utf-16\r\n"
         "Content-Length: 5\r\n\r\n",
         415, "UTF-8"},
        {"POST /echo HTTP/1.1\r\nHost: h\r\nContent-Type: text/csv\r\nContent-Encoding: br\r\n"
         "Content-Length: 5\r\n\r\n",
         415, "gzip, zstd"},
        {"POST /echo HTTP/1.1\r\nHost: h\r\nContent-Type: text/csv\r\nExpect: a-miracle\r\n"
         "Content-Length: 5\r\n\r\n",
         417, "100-continue"},
        {"POST /echo HTTP/1.1\r\nHost: h\r\nContent-Type: text/csv\r\nAccept: text/html\r\n"
         "Content-Length: 5\r\n\r\n",
         406, "application/json"},
    };
    struct service *service = *state;
    for (size_t i = 0; i < sizeof cases / sizeof cases[0]; i++) {
        struct wire wire;
        struct reply reply;
        wire_open(&wire, service->port);
        wire_text(&wire, cases[i].head);
        wire_read(&wire, &reply, false);
        assert_int_equal(reply.status, cases[i].status);
        assert_non_null(strstr(reply.body, cases[i].detail));
        assert_string_equal(reply_field(&reply, "Connection"), "close");
        reply_free(&reply);
        assert_true(wire_is_closed(&wire));
        wire_close(&wire);
    }
    assert_int_equal(service_served(service), 0);
}

static void takes_media_types_with_parameters(void **state)
{
    struct service *service = *state;
    struct wire wire;
    struct reply reply;
    wire_open(&wire, service->port);
    post(&wire, "/echo", "Content-Type: Application/JSON; charset=\"UTF-8\"\r\n", "{}", 2);
    wire_read(&wire, &reply, false);
    assert_echo(&reply, "{}", 2);
    assert_non_null(strstr(reply.body, "\"type\":\"application/json\""));
    reply_free(&reply);
    wire_text(&wire, "POST /echo HTTP/1.1\r\nHost: h\r\n\r\n"); /* no body: no type */
    wire_read(&wire, &reply, false);
    assert_echo(&reply, "", 0);
    reply_free(&reply);
    wire_close(&wire);
}

static void answers_expectations(void **state)
{
    struct service *service = *state;
    struct wire wire;
    struct reply reply;
    wire_open(&wire, service->port);
    wire_text(&wire, "POST /echo HTTP/1.1\r\nHost: h\r\nContent-Type: text/csv\r\n"
                     "Expect: 100-continue\r\nContent-Length: 5\r\n\r\n");
    wire_read(&wire, &reply, true);
    assert_int_equal(reply.status, 100);
    reply_free(&reply);
    wire_text(&wire, "hello");
    wire_read(&wire, &reply, false);
    assert_echo(&reply, "hello", 5);
    reply_free(&reply);
    /* Refused: no 100 comes before the answer. */
    wire_text(&wire, "POST /echo HTTP/1.1\r\nHost: h\r\nContent-Type: text/csv\r\n"
                     "Expect: 100-continue\r\nContent-Length: 5000\r\n\r\n");
    wire_read(&wire, &reply, false);
    assert_int_equal(reply.status, 413);
    reply_free(&reply);
    wire_close(&wire);
}

static void never_serves_a_truncated_body(void **state)
{
    static const char *const starts[] = {
        "POST /uploads HTTP/1.1\r\nHost: h\r\nContent-Type: application/octet-stream\r\n"
        "Content-Length: 10\r\n\r\n123456789",
        "POST /uploads HTTP/1.1\r\nHost: h\r\nContent-Type: application/octet-stream\r\n"
        "Content-Length: 10\r\n\r\n",
        "POST /uploads HTTP/1.1\r\nHost: h\r\nContent-Type: application/octet-stream\r\n"
        "Transfer-Encoding: chunked\r\n\r\n5\r\n12345\r\n",
        "POST /uploads HTTP/1.1\r\nHost: h\r\nContent-Type: application/octet-stream\r\n"
        "Transfer-Encoding: chunked\r\n\r\n5\r\n12345\r\n0\r\n",
        "POST /uploads HTTP/1.1\r\nHost: h\r\nContent-Type: application/octet-stream\r\n"
        "Transfer-Encoding: chunked\r\n\r\n5\r\n123",
        "GET /items/1 HTTP/1.1\r\nHost: h\r\n",
        "GET /items/1 HTTP/1.1",
    };
    (void)state;
    /* When data and end come together, the library may notice the end only at the deadline. */
    static const struct service_limits limits = {1, 1, 4, 0.3};
    struct service service;
    service_start(&service, &limits);
    for (size_t i = 0; i < sizeof starts / sizeof starts[0]; i++) {
        struct wire wire;
        wire_open(&wire, service.port);
        wire_text(&wire, starts[i]);
        wire_finish(&wire);
        assert_true(wire_is_closed(&wire));
        wire_close(&wire);
    }
    assert_int_equal(service_served(&service), 0);
    service_stop(&service);
}

static void post_encoded(struct service *service, enum coding coding, const char *bytes,
                         size_t length, struct reply *ret_reply)
{
    char fields[100];
    (void)snprintf(fields, sizeof fields, "Content-Type: text/csv\r\nContent-Encoding: %s\r\n",
                   coding_name(coding));
    struct wire wire;
    wire_open(&wire, service->port);
    post(&wire, "/echo", fields, bytes, length);
    wire_read(&wire, ret_reply, false);
    wire_close(&wire);
}

static void decodes_bodies(void **state)
{
    static const enum coding codings[] = {CODING_GZIP, CODING_ZSTD};

    static char zeros[SERVICE_BODY_LIMIT + 1];
    struct codec *codec = codec_new();
    assert_non_null(codec);
    for (size_t i = 0; i < 2; i++) {
        void *encoded = NULL;
        size_t length = 0;
        struct reply reply;
        assert_true(codec_encode(codec, codings[i], zeros, SERVICE_BODY_LIMIT, &encoded, &length));
        post_encoded(*state, codings[i], encoded, length, &reply);
        assert_echo(&reply, zeros, SERVICE_BODY_LIMIT);
        reply_free(&reply);
        post_encoded(*state, codings[i], encoded, length - 1, &reply);
        assert_int_equal(reply.status, 400);
        assert_non_null(strstr(reply.body, coding_name(codings[i])));
        reply_free(&reply);
        free(encoded);
        assert_true(
            codec_encode(codec, codings[i], zeros, SERVICE_BODY_LIMIT + 1, &encoded, &length));
        post_encoded(*state, codings[i], encoded, length, &reply);
        assert_int_equal(reply.status, 413);
        reply_free(&reply);
        free(encoded);
    }
    codec_free(codec);
    struct service *service = *state;
    assert_int_equal(service_served(service), 2);
}

#define WITH_SERVICE(test) cmocka_unit_test_setup_teardown(test, service_set_up, service_tear_down)

int main(void)
{
    const struct CMUnitTest tests[] = {
        WITH_SERVICE(receives_bodies_of_any_size),
        WITH_SERVICE(receives_chunks),
        WITH_SERVICE(decodes_only_for_those_who_may_be_served),
        WITH_SERVICE(counts_chunks_against_the_limit),
        WITH_SERVICE(refuses_by_length_before_the_body),
        WITH_SERVICE(takes_media_types_with_parameters),
        WITH_SERVICE(answers_expectations),
        cmocka_unit_test(never_serves_a_truncated_body),
        WITH_SERVICE(decodes_bodies),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
