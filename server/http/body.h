/* A request body on its way in: in memory up to a limit, then in an unnamed spool file that is
 * mapped once it is complete. */
#ifndef HTTP_BODY_H
#define HTTP_BODY_H

#include "base/compiler.h"

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

/* What all bodies that are coming in take together. Only the event thread touches it. */
struct body_budget {
    size_t memory_per_body; /* a longer body goes to the spool */
    size_t memory;
    size_t spool;
};

enum body_state {
    BODY_ACCEPTED,
    BODY_TOO_LARGE, /* more came than the limit; the rest is dropped */
    BODY_NO_ROOM    /* neither memory nor disk is left; the rest is dropped */
};

struct body {
    struct body_budget *budget;
    enum body_state state;
    size_t limit;
    size_t length;    /* bytes kept */
    uint64_t dropped; /* bytes read and thrown away after a refusal */
    char *memory;
    size_t capacity;
    int spool_fd;   /* -1: in memory */
    size_t spooled; /* bytes that count against the budget of the spool */
    char *mapping;
    bool is_secret; /* overwrite what was in memory; to be set after body_init() */
};

/* An empty body that may grow to `limit` bytes. `expected` is the announced length or 0. */
void body_init(struct body *body, struct body_budget *budget, size_t limit, uint64_t expected);

/* Takes the next bytes. False when the sender ignores a refusal for so long that the connection is
 * better closed. Blocks only as long as a write to the page cache does. */
MUST_CHECK bool body_append(struct body *body, const char *bytes, size_t length);

/* The complete body, followed by a NUL; NULL when the spool file has no room for that NUL or cannot
 * be mapped. Lives until body_free(). May be called on any thread, once. */
MUST_CHECK const char *body_content(struct body *body);

/* Event thread only: gives memory, file and budget back. */
void body_free(struct body *body);

#endif
