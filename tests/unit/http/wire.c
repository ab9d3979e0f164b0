#include "wire.h"

#include <arpa/inet.h>
#include <netinet/in.h>
#include <poll.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <strings.h>
#include <sys/socket.h>
#include <unistd.h>

#include <cmocka.h>

enum { PIECE = 65536 };

void wire_open(struct wire *wire, uint16_t port)
{
    wire_open_from(wire, port, "127.0.0.1");
}

void wire_open_from(struct wire *wire, uint16_t port, const char *from)
{
    memset(wire, 0, sizeof *wire);
    wire->socket = socket(AF_INET, SOCK_STREAM | SOCK_CLOEXEC, 0);
    assert_true(wire->socket >= 0);
    struct sockaddr_in own = {.sin_family = AF_INET};
    assert_int_equal(inet_pton(AF_INET, from, &own.sin_addr), 1);
    assert_int_equal(bind(wire->socket, (const struct sockaddr *)(const void *)&own, sizeof own),
                     0);
    struct sockaddr_in address = {.sin_family = AF_INET, .sin_port = htons(port)};
    address.sin_addr.s_addr = htonl(INADDR_LOOPBACK);
    assert_int_equal(
        connect(wire->socket, (const struct sockaddr *)(const void *)&address, sizeof address), 0);
}

void wire_close(struct wire *wire)
{
    (void)close(wire->socket);
    free(wire->received);
}

void wire_send(struct wire *wire, const void *bytes, size_t length)
{
    const char *at = bytes;
    while (length > 0) {
        ssize_t sent = wire->send != NULL ? wire->send(wire->session, at, length)
                                          : send(wire->socket, at, length, MSG_NOSIGNAL);
        if (sent <= 0) {
            return;
        }
        at += sent;
        length -= (size_t)sent;
    }
}

void wire_text(struct wire *wire, const char *text)
{
    wire_send(wire, text, strlen(text));
}

void wire_finish(struct wire *wire)
{
    assert_int_equal(shutdown(wire->socket, SHUT_WR), 0);
}

bool wire_is_ready(struct wire *wire, int milliseconds)
{
    struct pollfd waiting = {wire->socket, POLLIN, 0};
    return poll(&waiting, 1, milliseconds) == 1;
}

/* Receives once; false when the peer has closed. */
static bool receive(struct wire *wire)
{
    if (wire->receive == NULL) {
        assert_true(wire_is_ready(wire, WIRE_PATIENCE_MS));
    }
    if (wire->capacity - wire->length < PIECE + 1) {
        wire->capacity = wire->capacity * 2 + PIECE + 1;
        wire->received = realloc(wire->received, wire->capacity);
        assert_non_null(wire->received);
    }
    char *end = wire->received + wire->length;
    ssize_t got = wire->receive != NULL ? wire->receive(wire->session, end, PIECE)
                                        : recv(wire->socket, end, PIECE, 0);
    if (got <= 0) {
        return false;
    }
    wire->length += (size_t)got;
    wire->received[wire->length] = '\0';
    return true;
}

static char *take(struct wire *wire, size_t length)
{
    while (wire->length < length) {
        assert_true(receive(wire));
    }
    char *taken = malloc(length + 1);
    assert_non_null(taken);
    if (length > 0) {
        memcpy(taken, wire->received, length);
        memmove(wire->received, wire->received + length, wire->length - length);
        wire->length -= length;
    }
    taken[length] = '\0';
    return taken;
}

static size_t head_length(struct wire *wire)
{
    static const char separator[] = "\r\n\r\n";
    for (;;) {
        char *end = wire->length == 0 ? NULL : memmem(wire->received, wire->length, separator, 4);
        if (end != NULL) {
            return (size_t)(end - wire->received) + 4;
        }
        assert_true(receive(wire));
    }
}

void wire_read(struct wire *wire, struct reply *ret_reply, bool bodiless)
{
    memset(ret_reply, 0, sizeof *ret_reply);
    ret_reply->head = take(wire, head_length(wire));
    assert_memory_equal(ret_reply->head, "HTTP/1.", 7);
    ret_reply->status = (int)strtol(ret_reply->head + 9, NULL, 10);
    const char *length = reply_field(ret_reply, "Content-Length");
    bool empty = bodiless || ret_reply->status == 304 || ret_reply->status == 204;
    if (length != NULL && !empty) {
        ret_reply->body_length = strtoul(length, NULL, 10);
    }
    ret_reply->body = take(wire, ret_reply->body_length);
}

void reply_free(struct reply *reply)
{
    free(reply->head);
    free(reply->body);
}

const char *reply_field(struct reply *reply, const char *name)
{
    size_t name_length = strlen(name);
    for (const char *line = strstr(reply->head, "\r\n"); line != NULL;
         line = strstr(line, "\r\n")) {
        line += 2;
        if (strncasecmp(line, name, name_length) == 0 && line[name_length] == ':') {
            const char *value = line + name_length + 1;
            value += strspn(value, " ");
            size_t length = strcspn(value, "\r");
            assert_true(length < sizeof reply->field);
            memcpy(reply->field, value, length);
            reply->field[length] = '\0';
            return reply->field;
        }
    }
    return NULL;
}

bool wire_is_closed(struct wire *wire)
{
    return wire->length == 0 && !receive(wire);
}

void wire_exchange(uint16_t port, const char *request, struct reply *ret_reply)
{
    struct wire wire;
    wire_open(&wire, port);
    wire_text(&wire, request);
    wire_read(&wire, ret_reply, strncmp(request, "HEAD ", 5) == 0);
    wire_close(&wire);
}
