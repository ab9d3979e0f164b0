/* What no honest client sends. Each case must end in a refusal or a closed connection, none may
 * reach a handler, and the server must serve others as before. What is refused elsewhere already
 * (test_framing.c) is not repeated. */
#include "service.h"
#include "wire.h"

#include <arpa/inet.h>
#include <netinet/in.h>
#include <poll.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/resource.h>
#include <sys/socket.h>

#include <cmocka.h>

#define GET      "GET /items/1 HTTP/1.1\r\nHost: h\r\n"
#define POST     "POST /echo HTTP/1.1\r\nHost: h\r\nContent-Type: text/csv\r\n"
#define CHUNKED  POST "Transfer-Encoding: chunked\r\n\r\n"
#define SMUGGLED "GET /items/smuggled HTTP/1.1\r\nHost: h\r\n\r\n"
/* A text with NULs in it. */
#define RAW(text) (text), sizeof(text) - 1

struct hostile {
    const char *what;
    const char *request;
    size_t length;
    int status; /* 0: closed without an answer */
};

static const struct hostile requests[] = {
    /* folded lines: RFC 9112, section 5.2 */
    {"folded length", RAW(POST "Content-Length: 1\r\n 0\r\n\r\n" SMUGGLED), 400},
    {"folded length, tab", RAW(POST "Content-Length:\r\n\t43\r\n\r\n" SMUGGLED), 400},
    {"folded coding", RAW(POST "Transfer-Encoding:\r\n chunked\r\n\r\n0\r\n\r\n" SMUGGLED), 400},
    {"folded coding, tab", RAW(POST "Transfer-Encoding:\r\n\tchunked\r\n\r\n0\r\n\r\n"), 400},
    {"folded anything", RAW(GET "X: a\r\n b\r\n\r\n" SMUGGLED), 400},
    {"folded nothing", RAW(GET "X: a\r\n \r\n\r\n" SMUGGLED), 400},
    {"folded host", RAW("GET /items/1 HTTP/1.1\r\nHost: h\r\n .evil\r\n\r\n"), 400},
    {"fold before the first", RAW("GET /items/1 HTTP/1.1\r\n Host: h\r\n\r\n"), 400},
    /* line ends: RFC 9112, section 2.2 */
    {"LF after request line", RAW("GET /items/1 HTTP/1.1\nHost: h\r\n\r\n" SMUGGLED), 400},
    {"LF after field", RAW("GET /items/1 HTTP/1.1\r\nHost: h\nX: y\r\n\r\n" SMUGGLED), 400},
    {"LF at the end", RAW(GET "X: y\r\n\n" SMUGGLED), 400},
    {"LF everywhere", RAW("GET /items/1 HTTP/1.1\nHost: h\n\n" SMUGGLED), 400},
    {"LF hides a length", RAW(POST "X: a\nContent-Length: 43\r\n\r\n" SMUGGLED), 400},
    {"LF hides a coding", RAW(POST "X: a\nTransfer-Encoding: chunked\r\n\r\n0\r\n\r\n"), 400},
    {"CR after request line", RAW("GET /items/1 HTTP/1.1\rHost: h\r\n\r\n"), 400},
    {"CR after field", RAW("GET /items/1 HTTP/1.1\r\nHost: h\rX: y\r\n\r\n" SMUGGLED), 400},
    {"CR at the end", RAW(GET "X: y\r\n\r" SMUGGLED), 400},
    {"CR CR LF", RAW("GET /items/1 HTTP/1.1\r\r\nHost: h\r\n\r\n"), 400},
    /* NUL */
    {"NUL in a name", RAW(GET "X\0Y: b\r\n\r\n" SMUGGLED), 400},
    {"NUL in a value", RAW(GET "X: a\0b\r\n\r\n" SMUGGLED), 400},
    {"NUL ends a value", RAW(GET "X: a\0\r\n\r\n" SMUGGLED), 400},
    {"NUL in a length",
     RAW(POST "Content-Length: 1\0"
              "0\r\n\r\n" SMUGGLED),
     400},
    {"NUL in a coding", RAW(POST "Transfer-Encoding: chunked\0x\r\n\r\n0\r\n\r\n" SMUGGLED), 400},
    {"NUL in the target", RAW("GET /items/1\0/2 HTTP/1.1\r\nHost: h\r\n\r\n"), 400},
    {"NUL after the target", RAW("GET /items/1\0 HTTP/1.1\r\nHost: h\r\n\r\n"), 400},
    {"NUL in the method", RAW("GET\0X /items/1 HTTP/1.1\r\nHost: h\r\n\r\n"), 400},
    {"NUL as a line", RAW(GET "\0\r\nContent-Length: 5\r\n\r\n"), 400},
    /* codings: RFC 9112, section 6.1 */
    {"coding and blank", RAW(POST "Transfer-Encoding: chunked \r\n\r\n0\r\n\r\n" SMUGGLED), 400},
    {"coding and tab", RAW(POST "Transfer-Encoding: chunked\t\r\n\r\n0\r\n\r\n" SMUGGLED), 400},
    {"vertical tab",
     RAW(POST "Transfer-Encoding: \x0b"
              "chunked\r\n\r\n0\r\n\r\n"),
     400},
    {"coding twice", RAW(POST "Transfer-Encoding: chunked, chunked\r\n\r\n0\r\n\r\n"), 400},
    {"empty element", RAW(POST "Transfer-Encoding: ,chunked\r\n\r\n0\r\n\r\n"), 400},
    {"parameter", RAW(POST "Transfer-Encoding: chunked;q=1\r\n\r\n0\r\n\r\n"), 400},
    {"quoted", RAW(POST "Transfer-Encoding: \"chunked\"\r\n\r\n0\r\n\r\n"), 400},
    {"no coding", RAW(POST "Transfer-Encoding:\r\n\r\n0\r\n\r\n" SMUGGLED), 400},
    {"tab before colon", RAW(POST "Transfer-Encoding\t: chunked\r\n\r\n0\r\n\r\n"), 400},
    {"other case, and a length",
     RAW(POST "tRANSFER-eNCODING: cHUNKED\r\nContent-Length: 5\r\n\r\n0\r\n\r\n" SMUGGLED), 400},
    /* lengths: RFC 9112, section 6.2 */
    {"length and blank", RAW(POST "Content-Length: 1 \r\n\r\nx" SMUGGLED), 400},
    {"hexadecimal", RAW(POST "Content-Length: 0x1\r\n\r\nx" SMUGGLED), 400},
    {"negative", RAW(POST "Content-Length: -1\r\n\r\nx" SMUGGLED), 400},
    {"exponent", RAW(POST "Content-Length: 1e1\r\n\r\nx" SMUGGLED), 400},
    {"underscore", RAW(POST "Content-Length: 1_0\r\n\r\nx" SMUGGLED), 400},
    {"no length", RAW(POST "Content-Length:\r\n\r\nx" SMUGGLED), 400},
    {"two in other case", RAW(POST "Content-Length: 1\r\ncontent-length: 1\r\n\r\nx" SMUGGLED),
     400},
    /* chunks: RFC 9112, section 7.1 */
    {"size beyond 64 bits", RAW(CHUNKED "10000000000000001\r\nx\r\n0\r\n\r\n" SMUGGLED), 413},
    {"size in 0x", RAW(CHUNKED "0x1\r\nx\r\n0\r\n\r\n" SMUGGLED), 400},
    {"negative size", RAW(CHUNKED "-1\r\nx\r\n0\r\n\r\n" SMUGGLED), 400},
    {"blank before size", RAW(CHUNKED " 1\r\nx\r\n0\r\n\r\n" SMUGGLED), 400},
    {"blank after size", RAW(CHUNKED "1 \r\nx\r\n0\r\n\r\n" SMUGGLED), 400},
    {"no size", RAW(CHUNKED "\r\nx\r\n0\r\n\r\n" SMUGGLED), 400},
    {"longer than its size", RAW(CHUNKED "1\r\nxyz\r\n0\r\n\r\n" SMUGGLED), 400},
    {"no end of a chunk", RAW(CHUNKED "1\r\nx0\r\n\r\n" SMUGGLED), 400},
    {"no trailer", RAW(CHUNKED "1\r\nx\r\n0\r\nno colon\r\n\r\n" SMUGGLED), 400},
    /* hosts: RFC 9112, sections 3.2 and 3.2.2 */
    {"another host", RAW("GET http://evil/items/1 HTTP/1.1\r\nHost: h\r\n\r\n"), 400},
    {"another port", RAW("GET http://h:81/items/1 HTTP/1.1\r\nHost: h\r\n\r\n"), 400},
    {"user at host", RAW("GET http://h@evil/items/1 HTTP/1.1\r\nHost: h\r\n\r\n"), 400},
    {"another scheme", RAW("GET ftp://h/items/1 HTTP/1.1\r\nHost: h\r\n\r\n"), 400},
    {"markup", RAW("GET /items/1 HTTP/1.1\r\nHost: <b>\r\n\r\n"), 400},
    {"two ports", RAW("GET /items/1 HTTP/1.1\r\nHost: h:80:80\r\n\r\n"), 400},
    {"a named port", RAW("GET /items/1 HTTP/1.1\r\nHost: h:http\r\n\r\n"), 400},
    {"half an IPv6 address", RAW("GET /items/1 HTTP/1.1\r\nHost: [::1\r\n\r\n"), 400},
    {"a path", RAW("GET /items/1 HTTP/1.1\r\nHost: h/..\r\n\r\n"), 400},
    /* request lines: RFC 9112, section 3 */
    {"HTTP/0.9", RAW("GET /items/1\r\n\r\n"), 400},
    {"HTTP/2", RAW("PRI * HTTP/2.0\r\n\r\nSM\r\n\r\n"), 505},
    {"two digits", RAW("GET /items/1 HTTP/1.10\r\nHost: h\r\n\r\n"), 400},
    {"lower case", RAW("GET /items/1 http/1.1\r\nHost: h\r\n\r\n"), 400},
    {"two blanks", RAW("GET  /items/1  HTTP/1.1\r\nHost: h\r\n\r\n"), 400},
    {"blank in target", RAW("GET /items/1 2 HTTP/1.1\r\nHost: h\r\n\r\n"), 400},
    {"tabs", RAW("GET\t/items/1\tHTTP/1.1\r\nHost: h\r\n\r\n"), 0},
    {"blank first", RAW(" GET /items/1 HTTP/1.1\r\nHost: h\r\n\r\n"), 0},
    {"no target", RAW("GET HTTP/1.1\r\nHost: h\r\n\r\n"), 400},
    {"unknown method", RAW("BREW /items/1 HTTP/1.1\r\nHost: h\r\n\r\n"), 405},
    {"lower-case method", RAW("get /items/1 HTTP/1.1\r\nHost: h\r\n\r\n"), 405},
    {"TRACE", RAW("TRACE /items/1 HTTP/1.1\r\nHost: h\r\n\r\n"), 405},
    {"CONNECT", RAW("CONNECT h:80 HTTP/1.1\r\nHost: h:80\r\n\r\n"), 400},
    {"method with signs", RAW("G(T /items/1 HTTP/1.1\r\nHost: h\r\n\r\n"), 405},
    /* fields */
    {"no colon", RAW(GET "xyz\r\n\r\n" SMUGGLED), 400},
    {"a line of a colon", RAW(GET ":\r\nContent-Length: 5\r\n\r\n"), 400},
    {"no name", RAW(GET ": x\r\n\r\n" SMUGGLED), 400},
    {"8 bits in a name", RAW(GET "X\xff: x\r\n\r\n"), 400},
    {"DEL in a value", RAW(GET "X: \x7f\r\n\r\n"), 400},
    {"escape in a value", RAW(GET "X: \x1b[2J\r\n\r\n"), 400},
    /* TLS to a server without */
    {"a handshake", RAW("\x16\x03\x01\x00\x05\x01\x00\x00\x01\x03\r\n\r\n"), 0},
};

static const struct {
    const char *target;
    int status;
} paths[] = {
    {"/items/%2e%2e", 400},
    {"/items/%2E%2e/%2e%2e/alive", 400},
    {"/items/.%2e", 400},
    {"/items/%2e", 400},
    {"/items/../alive", 400},
    {"/items/./1", 400},
    {"/items/1/..", 400},
    {"/items/a%2fb", 400},
    {"/items/..%2f..%2falive", 400},
    {"/items/a%5cb", 400},
    {"/items/..%5c..%5calive", 400},
    {"/items/a\\b", 400},
    {"/items%2f1", 400},
    {"/%2e%2e%2fetc%2fpasswd", 400},
    {"/items/%00", 400},
    {"/items/1%00.html", 400},
    {"/items/1%0d%0aX:%20y", 400},
    {"/items/%7f", 400},
    {"/items/%c0%ae%c0%ae", 400}, /* overlong "..", RFC 3629, section 3 */
    {"/items/%c0%af", 400},
    {"/items/%e0%80%af", 400},
    {"/items/%f0%80%80%af", 400},
    {"/items/%ed%a0%80", 400}, /* a surrogate */
    {"/items/%f4%90%80%80", 400},
    {"/items/%u002e", 400},
    {"/items/%", 400},
    {"/items/%2", 400},
    {"/items/1#part", 400},
    {"/items/\xc3\xa4", 400},
    {"items/1", 400},
    {"*", 400},
    {"?x", 400},
    {"//items/1", 404},
    {"/items//1", 404},
    {"//evil.example/items/1", 404},
    {"/items/", 404},
    {"/ITEMS/1", 404},
    {"/items;v=1/1", 404},
    {"/items/1/", 404},
    {"/items/%2f%2f", 400},
    {"/a/b/c/d/e/f/g/h/i/j/k/l/m/n/o/p/q/r/s/t/u/v/w/x/y/z", 404},
};

/* The status of the first answer; 0 when the connection ended without one. */
static int first_status(struct wire *wire)
{
    struct reply reply;
    if (wire_is_closed(wire)) {
        return 0;
    }
    wire_read(wire, &reply, true);
    int status = reply.status;
    reply_free(&reply);
    return status;
}

static void assert_well(struct service *service)
{
    struct reply reply;
    wire_exchange(service->port, GET "\r\n", &reply);
    assert_int_equal(reply.status, 200);
    reply_free(&reply);
}

static void refuses_every_hostile_request(void **state)
{
    struct service *service = *state;

    enum { COUNT = sizeof requests / sizeof requests[0] };

    size_t wrong = 0;
    for (size_t i = 0; i < COUNT; i++) {
        struct wire wire;
        wire_open(&wire, service->port);
        wire_send(&wire, requests[i].request, requests[i].length);
        int status = first_status(&wire);
        if (status != requests[i].status) {
            print_error("%s: %d, expected %d\n", requests[i].what, status, requests[i].status);
            wrong++;
        }
        wire_close(&wire);
    }
    print_message("%d hostile requests\n", COUNT);
    assert_int_equal(wrong, 0);
    assert_int_equal(service_served(service), 0);
    assert_well(service);
}

static void refuses_every_trick_with_paths(void **state)
{
    struct service *service = *state;

    enum { COUNT = sizeof paths / sizeof paths[0] };

    size_t wrong = 0;
    for (size_t i = 0; i < COUNT; i++) {
        char request[200];
        struct wire wire;
        (void)snprintf(request, sizeof request, "GET %s HTTP/1.1\r\nHost: h\r\n\r\n",
                       paths[i].target);
        wire_open(&wire, service->port);
        wire_text(&wire, request);
        int status = first_status(&wire);
        if (status != paths[i].status) {
            print_error("%s: %d, expected %d\n", paths[i].target, status, paths[i].status);
            wrong++;
        }
        wire_close(&wire);
    }
    print_message("%d paths\n", COUNT);
    assert_int_equal(wrong, 0);
    assert_int_equal(service_served(service), 0);
    assert_well(service);
}

/* Sent as often as it takes for the library's buffer to be too small. */
static void refuses_floods_of_headers(void **state)
{
    static const struct {
        const char *start;
        const char *repeated;
        int times;
        int status;
    } floods[] = {
        {GET, "X: y\r\n", 101, 431},
        {GET, "X: y\r\n", 5000, 431},
        {GET, "Cookie: a=b\r\n", 200, 431},
        {GET "Cookie: ", "a=b; ", 20000, 431},
        {GET "Cookie: a=", "0123456789", 7000, 431},
        {GET "X: ", "0123456789", 7000, 431},
        {GET, "0123456789", 7000, 431},
        {"GET /", "0123456789", 7000, 414},
        {"GET /query?", "a=b&", 20000, 414},
        {"", "0123456789", 7000, 414},
        {"GET /items/1 HTTP/1.1\r\nHost: ", "0123456789", 7000, 431},
    };
    struct service *service = *state;
    for (size_t i = 0; i < sizeof floods / sizeof floods[0]; i++) {
        struct wire wire;
        wire_open(&wire, service->port);
        wire_text(&wire, floods[i].start);
        size_t length = strlen(floods[i].repeated);
        char *flood = malloc(length * (size_t)floods[i].times);
        assert_non_null(flood);
        for (int n = 0; n < floods[i].times; n++) {
            memcpy(flood + length * (size_t)n, floods[i].repeated, length);
        }
        wire_send(&wire, flood, length * (size_t)floods[i].times);
        wire_text(&wire, "\r\n\r\n");
        free(flood);
        int status = first_status(&wire);
        if (status != floods[i].status && status != 0) { /* a reset may overtake the answer */
            fail_msg("flood %zu: %d", i, status);
        }
        wire_close(&wire);
    }
    assert_int_equal(service_served(service), 0);
    assert_well(service);
}

/* As many and as long as are allowed, in pieces of any size: the look at the seams must not mistake
 * them. */
static void takes_large_header_sections_in_any_pieces(void **state)
{
    static const size_t pieces[] = {1, 7, 100, 1460, 16384, 100000};

    enum { FIELDS = 90, SIZE = 40000 };
    struct service *service = *state;
    char *request = malloc(SIZE);
    assert_non_null(request);
    size_t length = (size_t)snprintf(request, SIZE, "GET /query?name=x HTTP/1.1\r\nHost: h\r\n");
    for (int i = 0; i < FIELDS; i++) {
        length += (size_t)snprintf(request + length, SIZE - length, "X-%d:%*s%0*d\r\n", i, i % 5,
                                   "", i * 8, i);
    }
    length += (size_t)snprintf(request + length, SIZE - length,
                               "Empty:\r\nCookie: session=1; a=2\r\n\r\n");
    for (size_t i = 0; i < sizeof pieces / sizeof pieces[0]; i++) {
        struct wire wire;
        wire_open(&wire, service->port);
        for (size_t at = 0; at < length; at += pieces[i]) {
            wire_send(&wire, request + at, length - at < pieces[i] ? length - at : pieces[i]);
        }
        struct reply reply;
        wire_read(&wire, &reply, false);
        assert_int_equal(reply.status, 200);
        assert_non_null(strstr(reply.body, "\"cookie\":\"1\""));
        reply_free(&reply);
        wire_close(&wire);
    }
    free(request);
}

/* Asks and asks, and reads nothing. */
static void ends_a_reader_that_does_not_read(void **state)
{
    (void)state;
    static const struct service_limits limits = {1, 1, 4, 0.4};
    static const char request[] = "GET /samples HTTP/1.1\r\nHost: h\r\n\r\n";
    struct service service;
    service_start(&service, &limits);
    struct wire wire;
    wire_open(&wire, service.port);
    bool ended = false;
    for (int waits = 0; !ended; waits++) {
        assert_true(waits < WIRE_PATIENCE_MS / 20);
        while (send(wire.socket, request, sizeof request - 1, MSG_NOSIGNAL | MSG_DONTWAIT) > 0) {
        }
        struct pollfd watched = {wire.socket, POLLRDHUP, 0};
        ended = poll(&watched, 1, 20) == 1;
    }
    wire_close(&wire);
    assert_well(&service);
    service_stop(&service);
}

/* Every place taken by connections that say nothing, from three addresses: whoever is honest is
 * served as soon as their time is over. */
static void outlives_a_flood_of_silent_connections(void **state)
{
    (void)state;

    enum { SILENT = 768 };
    static const struct service_limits limits = {2, 1, 64, 0.5};
    static struct wire silent[SILENT];
    struct rlimit files;
    assert_int_equal(getrlimit(RLIMIT_NOFILE, &files), 0);
    files.rlim_cur = files.rlim_max;
    assert_int_equal(setrlimit(RLIMIT_NOFILE, &files), 0);
    struct service service;
    service_start(&service, &limits);
    for (size_t i = 0; i < SILENT; i++) {
        char address[INET_ADDRSTRLEN];
        (void)snprintf(address, sizeof address, "127.0.0.%zu", 2 + i / 256);
        wire_open_from(&silent[i], service.port, address);
    }
    int status = 0;
    for (int tries = 0; tries < 1000 && status != 200; tries++) {
        struct wire wire;
        wire_open_from(&wire, service.port, "127.0.0.9");
        wire_text(&wire, GET "\r\n");
        status = first_status(&wire);
        wire_close(&wire);
        (void)poll(NULL, 0, 20);
    }
    assert_int_equal(status, 200);
    for (size_t i = 0; i < SILENT; i++) {
        assert_true(wire_is_closed(&silent[i]));
        wire_close(&silent[i]);
    }
    service_stop(&service);
}

/* What the library answers by itself holds nothing of the request, and nothing a browser could run.
 */
static void says_nothing_back_in_the_librarys_own_answers(void **state)
{
    static const char *const cases[] = {
        "GET /<script>alert(1)</script> HTTP/1.1\r\nHost: h\r\n<script>\r\n\r\n",
        "GET /items/1 HTTP/<script>\r\nHost: h\r\n\r\n",
        "POST /echo HTTP/1.1\r\nHost: h\r\nContent-Length: <script>\r\n\r\n",
    };
    struct service *service = *state;
    for (size_t i = 0; i < sizeof cases / sizeof cases[0]; i++) {
        struct reply reply;
        wire_exchange(service->port, cases[i], &reply);
        assert_int_equal(reply.status, 400);
        assert_null(strstr(reply.body, "script"));
        assert_null(strstr(reply.head, "script"));
        assert_string_equal(reply_field(&reply, "Connection"), "close");
        assert_null(reply_field(&reply, "Set-Cookie"));
        reply_free(&reply);
    }
}

/* Whatever the answer is, and whoever gives it. */
static void protects_every_answer_of_ours(void **state)
{
    static const char *const cases[] = {
        GET "\r\n",
        GET "If-None-Match: *\r\n\r\n",
        GET "Accept: image/png\r\n\r\n",
        GET "X: a\r\n b\r\n\r\n",
        GET "Expect: x\r\n\r\n",
        GET "Content-Length: 1\r\n\r\nx",
        "GET /nowhere HTTP/1.1\r\nHost: h\r\n\r\n",
        "GET /private HTTP/1.1\r\nHost: h\r\n\r\n",
        "GET /alive HTTP/1.1\r\nHost: h\r\n\r\n",
        "GET /page HTTP/1.1\r\nHost: h\r\n\r\n",
        "GET /samples HTTP/1.1\r\nHost: h\r\nRange: bytes=0-1\r\n\r\n",
        "GET /samples HTTP/1.1\r\nHost: h\r\nRange: bytes=9999-\r\n\r\n",
        "GET /items/%zz HTTP/1.1\r\nHost: h\r\n\r\n",
        "PUT /items/1 HTTP/1.1\r\nHost: h\r\n\r\n",
        "BREW /items/1 HTTP/1.1\r\nHost: h\r\n\r\n",
        "OPTIONS * HTTP/1.1\r\nHost: h\r\n\r\n",
        "POST /echo HTTP/1.1\r\nHost: h\r\nContent-Length: 1\r\n\r\nx",
    };
    static const char *const fields[][2] = {
        {"X-Content-Type-Options", "nosniff"},
        {"Referrer-Policy", "no-referrer"},
        {"X-Frame-Options", "DENY"},
        {"Cross-Origin-Opener-Policy", "same-origin"},
        {"Cross-Origin-Resource-Policy", "same-origin"},
    };
    struct service *service = *state;
    for (size_t i = 0; i < sizeof cases / sizeof cases[0]; i++) {
        struct reply reply;
        wire_exchange(service->port, cases[i], &reply);
        for (size_t k = 0; k < sizeof fields / sizeof fields[0]; k++) {
            const char *value = reply_field(&reply, fields[k][0]);
            if (value == NULL || strcmp(value, fields[k][1]) != 0) {
                fail_msg("%s of %s", fields[k][0], cases[i]);
            }
        }
        assert_non_null(
            strstr(reply_field(&reply, "Content-Security-Policy"), "default-src 'none'"));
        assert_non_null(strstr(reply_field(&reply, "Permissions-Policy"), "camera=()"));
        assert_non_null(reply_field(&reply, "Cache-Control"));
        assert_null(reply_field(&reply, "Strict-Transport-Security"));
        assert_null(reply_field(&reply, "Server"));
        reply_free(&reply);
    }
}

#define WITH_SERVICE(test) cmocka_unit_test_setup_teardown(test, service_set_up, service_tear_down)

int main(void)
{
    const struct CMUnitTest tests[] = {
        WITH_SERVICE(refuses_every_hostile_request),
        WITH_SERVICE(refuses_every_trick_with_paths),
        WITH_SERVICE(refuses_floods_of_headers),
        WITH_SERVICE(takes_large_header_sections_in_any_pieces),
        cmocka_unit_test(ends_a_reader_that_does_not_read),
        cmocka_unit_test(outlives_a_flood_of_silent_connections),
        WITH_SERVICE(says_nothing_back_in_the_librarys_own_answers),
        WITH_SERVICE(protects_every_answer_of_ours),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
