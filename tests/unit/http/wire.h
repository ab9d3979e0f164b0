/* A client that sends exactly the bytes it is told to. Fails the running test when an answer does
 * not come within a long while. */
#ifndef TESTS_WIRE_H
#define TESTS_WIRE_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>
#include <sys/types.h>

enum { WIRE_PATIENCE_MS = 20000 };

struct wire {
    int socket;
    /* Of what lies between the socket and here (tls_wire.c); NULL: nothing does. */
    void *session;
    ssize_t (*send)(void *session, const void *bytes, size_t length);
    ssize_t (*receive)(void *session, void *bytes, size_t length);
    char *received; /* what has come and is not read yet */
    size_t length;
    size_t capacity;
};

struct reply {
    int status;
    char *head; /* status line and fields, NUL-terminated */
    char *body; /* followed by a NUL */
    size_t body_length;
    char field[512]; /* what reply_field() found */
};

void wire_open(struct wire *wire, uint16_t port);

/* The same from another loopback address, such as "127.0.0.2". */
void wire_open_from(struct wire *wire, uint16_t port, const char *from);
void wire_close(struct wire *wire);

/* Sends what the peer takes; a peer that has closed is no failure here. */
void wire_send(struct wire *wire, const void *bytes, size_t length);
void wire_text(struct wire *wire, const char *text);

/* Ends the sending direction. */
void wire_finish(struct wire *wire);

/* Reads one answer; with `bodiless` none of whose Content-Length follows (HEAD). */
void wire_read(struct wire *wire, struct reply *ret_reply, bool bodiless);
void reply_free(struct reply *reply);

/* A field of the reply by case-insensitive name, or NULL. */
const char *reply_field(struct reply *reply, const char *name);

/* Waits until the peer has closed; false when more bytes come before. */
bool wire_is_closed(struct wire *wire);

/* One request on a connection of its own. */
void wire_exchange(uint16_t port, const char *request, struct reply *ret_reply);

/* Whether something can be read, or the peer has closed, within the time. */
bool wire_is_ready(struct wire *wire, int milliseconds);

#endif
