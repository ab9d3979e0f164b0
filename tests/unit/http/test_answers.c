/* What goes out: media type, coding, revision, timing. */
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

static void get(struct service *service, const char *path, const char *fields,
                struct reply *ret_reply)
{
    char request[300];
    (void)snprintf(request, sizeof request, "GET %s HTTP/1.1\r\nHost: h\r\n%s\r\n", path, fields);
    wire_exchange(service->port, request, ret_reply);
}

static void negotiates_the_media_type(void **state)
{
    struct reply reply;
    get(*state, "/items/1", "Accept: text/html, */*;q=0.1\r\n", &reply);
    assert_string_equal(reply_field(&reply, "Content-Type"), "text/html; charset=utf-8");
    assert_string_equal(reply_field(&reply, "Vary"), "Accept");
    reply_free(&reply);
    get(*state, "/items/1", "Accept: text/html;q=0.5\r\nAccept: application/json\r\n", &reply);
    assert_string_equal(reply_field(&reply, "Content-Type"), "application/json");
    reply_free(&reply);
    get(*state, "/items/1", "Accept: application/pdf\r\n", &reply);
    assert_int_equal(reply.status, 406);
    assert_non_null(strstr(reply.body, "application/json, text/html"));
    reply_free(&reply);
}

static void compresses_long_text(void **state)
{
    static const struct {
        const char *field;
        enum coding coding;
    } cases[] = {
        {"Accept-Encoding: gzip, zstd\r\n", CODING_ZSTD},
        {"Accept-Encoding: gzip\r\n", CODING_GZIP},
        {"Accept-Encoding: zstd;q=0.1, gzip;q=0.2\r\n", CODING_GZIP},
        {"Accept-Encoding: br\r\n", CODING_IDENTITY},
        {"", CODING_IDENTITY},
    };
    struct reply plain;
    get(*state, "/text", "", &plain);
    assert_int_equal(plain.body_length, 100000);
    struct codec *codec = codec_new();
    assert_non_null(codec);
    for (size_t i = 0; i < sizeof cases / sizeof cases[0]; i++) {
        struct reply reply;
        get(*state, "/text", cases[i].field, &reply);
        assert_int_equal(reply.status, 200);
        assert_string_equal(reply_field(&reply, "Vary"), "Accept, Accept-Encoding");
        assert_string_equal(reply_field(&reply, "ETag"), "\"3\"");
        const char *encoding = reply_field(&reply, "Content-Encoding");
        if (cases[i].coding == CODING_IDENTITY) {
            assert_null(encoding);
            assert_int_equal(reply.body_length, plain.body_length);
        } else {
            assert_string_equal(encoding, coding_name(cases[i].coding));
            assert_true(reply.body_length < plain.body_length / 10);
            char *decoded = NULL;
            size_t length = 0;
            assert_int_equal(codec_decode(codec, cases[i].coding, reply.body, reply.body_length,
                                          200000, &decoded, &length),
                             DECODING_OK);
            assert_int_equal(length, plain.body_length);
            assert_memory_equal(decoded, plain.body, length);
            free(decoded);
        }
        reply_free(&reply);
    }
    codec_free(codec);
    reply_free(&plain);
}

static void leaves_short_and_binary_answers_alone(void **state)
{
    struct reply reply;
    get(*state, "/items/1", "Accept-Encoding: gzip, zstd\r\n", &reply);
    assert_null(reply_field(&reply, "Content-Encoding"));
    reply_free(&reply);
    get(*state, "/text", "Accept-Encoding: gzip\r\nAccept: application/octet-stream\r\n", &reply);
    assert_null(reply_field(&reply, "Content-Encoding"));
    assert_string_equal(reply_field(&reply, "Vary"), "Accept");
    assert_int_equal(reply.body_length, 100000);
    reply_free(&reply);
}

static void says_not_modified(void **state)
{
    static const struct {
        const char *field;
        int status;
    } cases[] = {
        {"If-None-Match: \"7\"\r\n", 304},        {"If-None-Match: W/\"7\"\r\n", 304},
        {"If-None-Match: \"6\", \"7\"\r\n", 304}, {"If-None-Match: *\r\n", 304},
        {"If-None-Match: \"6\"\r\n", 200},        {"If-None-Match: 7\r\n", 200},
    };

    for (size_t i = 0; i < sizeof cases / sizeof cases[0]; i++) {
        struct reply reply;
        get(*state, "/items/1", cases[i].field, &reply);
        assert_int_equal(reply.status, cases[i].status);
        assert_string_equal(reply_field(&reply, "ETag"), "\"7\"");
        if (reply.status == 304) {
            assert_null(reply_field(&reply, "Content-Type"));
        }
        reply_free(&reply);
    }
}

static void keeps_the_connection_after_bodiless_answers(void **state)
{
    struct service *service = *state;
    struct wire wire;
    wire_open(&wire, service->port);
    for (int i = 0; i < 3; i++) {
        struct reply reply;
        wire_text(&wire, "GET /items/1 HTTP/1.1\r\nHost: h\r\nIf-None-Match: *\r\n\r\n");
        wire_read(&wire, &reply, false);
        assert_int_equal(reply.status, 304);
        reply_free(&reply);
        wire_text(&wire, "DELETE /items/1 HTTP/1.1\r\nHost: h\r\n\r\n");
        wire_read(&wire, &reply, false);
        assert_int_equal(reply.status, 204);
        reply_free(&reply);
    }
    wire_close(&wire);
}

static void says_where_the_time_went(void **state)
{
    struct reply reply;
    get(*state, "/text", "", &reply);
    assert_string_equal(reply_field(&reply, "Server-Timing"), "parse;dur=1.000, store;dur=2.500");
    reply_free(&reply);
    get(*state, "/items/1", "", &reply);
    assert_null(reply_field(&reply, "Server-Timing"));
    reply_free(&reply);
}

static void assert_field(struct reply *reply, const char *name, const char *value)
{
    const char *found = reply_field(reply, name);
    if (value == NULL) {
        assert_null(found);
    } else {
        assert_non_null(found);
        assert_string_equal(found, value);
    }
}

struct part {
    const char *fields;
    int status;
    const char *content_range;
    size_t first;
    size_t length;
};

static void gives_parts(void **state)
{
    static const struct part parts[] = {
        {"", 200, NULL, 0, 2600},
        {"Range: bytes=0-9\r\n", 206, "bytes 0-9/2600", 0, 10},
        {"Range: bytes=2590-\r\n", 206, "bytes 2590-2599/2600", 2590, 10},
        {"Range: bytes=-3\r\n", 206, "bytes 2597-2599/2600", 2597, 3},
        {"Range: bytes=0-\r\n", 206, "bytes 0-2599/2600", 0, 2600},
        {"Range: bytes=0-9, 20-29\r\n", 200, NULL, 0, 2600},
        {"Range: bytes=0-9\r\nRange: bytes=20-29\r\n", 200, NULL, 0, 2600},
        {"Range: samples=0-9\r\n", 200, NULL, 0, 2600},
        {"Range: bytes=0-9\r\nIf-Range: \"5\"\r\n", 206, "bytes 0-9/2600", 0, 10},
        {"Range: bytes=0-9\r\nIf-Range: \"4\"\r\n", 200, NULL, 0, 2600},
        {"Range: bytes=9999-\r\nIf-Range: \"4\"\r\n", 200, NULL, 0, 2600},
        {"Range: bytes=0-9\r\nIf-Range: W/\"5\"\r\n", 200, NULL, 0, 2600},
        {"Range: bytes=0-9\r\nIf-Range: Sat, 29 Oct 1994 19:43:31 GMT\r\n", 200, NULL, 0, 2600},
        {"Range: bytes=0-9\r\nIf-None-Match: \"4\"\r\n", 206, "bytes 0-9/2600", 0, 10},
        {"Range: bytes=100-1999\r\nAccept: text/csv\r\nAccept-Encoding: gzip, zstd\r\n", 206,
         "bytes 100-1999/2600", 100, 1900},
        {"Accept: text/csv\r\nAccept-Encoding: gzip, zstd\r\n", 200, NULL, 0, 2600},
    };

    for (size_t i = 0; i < sizeof parts / sizeof parts[0]; i++) {
        const struct part *part = &parts[i];
        struct reply reply;
        get(*state, "/samples", part->fields, &reply);
        assert_int_equal(reply.status, part->status);
        assert_field(&reply, "Accept-Ranges", "bytes");
        assert_field(&reply, "Content-Range", part->content_range);
        assert_field(&reply, "Content-Encoding", NULL);
        assert_field(&reply, "ETag", "\"5\"");
        assert_field(&reply, "Vary", "Accept");
        assert_field(&reply, "Content-Disposition", "attachment");
        assert_int_equal(reply.body_length, part->length);
        for (size_t k = 0; k < part->length; k++) {
            assert_int_equal(reply.body[k], 'a' + (int)((part->first + k) % 26));
        }
        reply_free(&reply);
    }
}

static void refuses_parts_beyond_the_end(void **state)
{
    struct reply reply;
    get(*state, "/samples", "Range: bytes=2600-\r\nIf-Range: \"5\"\r\n", &reply);
    assert_int_equal(reply.status, 416);
    assert_field(&reply, "Content-Range", "bytes */2600");
    assert_field(&reply, "Accept-Ranges", "bytes");
    assert_field(&reply, "Content-Type", "application/problem+json");
    assert_field(&reply, "Content-Disposition", NULL);
    assert_field(&reply, "ETag", NULL);
    assert_non_null(strstr(reply.body, "\"detail\":\"Of this answer there are 2600 bytes.\""));
    reply_free(&reply);
}

/* What has not changed needs no part (RFC 9110, section 13.2.2); what is not marked has none. */
static void gives_parts_only_where_there_are_some(void **state)
{
    struct reply reply;
    get(*state, "/samples", "Range: bytes=0-9\r\nIf-None-Match: \"5\"\r\n", &reply);
    assert_int_equal(reply.status, 304);
    assert_field(&reply, "Content-Range", NULL);
    reply_free(&reply);
    get(*state, "/items/1", "Range: bytes=0-9\r\n", &reply);
    assert_int_equal(reply.status, 200);
    assert_field(&reply, "Accept-Ranges", NULL);
    reply_free(&reply);
    wire_exchange(((struct service *)*state)->port,
                  "HEAD /samples HTTP/1.1\r\nHost: h\r\nRange: bytes=0-9\r\n\r\n", &reply);
    assert_int_equal(reply.status, 200);
    assert_field(&reply, "Accept-Ranges", "bytes");
    assert_field(&reply, "Content-Range", NULL);
    assert_field(&reply, "Content-Length", "2600");
    reply_free(&reply);
}

#define WITH_SERVICE(test) cmocka_unit_test_setup_teardown(test, service_set_up, service_tear_down)

int main(void)
{
    const struct CMUnitTest tests[] = {
        WITH_SERVICE(negotiates_the_media_type),
        WITH_SERVICE(compresses_long_text),
        WITH_SERVICE(leaves_short_and_binary_answers_alone),
        WITH_SERVICE(says_not_modified),
        WITH_SERVICE(keeps_the_connection_after_bodiless_answers),
        WITH_SERVICE(says_where_the_time_went),
        WITH_SERVICE(gives_parts),
        WITH_SERVICE(refuses_parts_beyond_the_end),
        WITH_SERVICE(gives_parts_only_where_there_are_some),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
