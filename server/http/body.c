#include "http/body.h"

#include "base/pages.h"

#include <errno.h>
#include <fcntl.h>
#include <stdlib.h>
#include <string.h>
#include <sys/mman.h>
#include <unistd.h>

enum { BODIES_IN_MEMORY = 16, INITIAL_SIZE = 4096 };

static const size_t spool_of_all = (size_t)4 * 1024 * 1024 * 1024;
static const uint64_t dropped_most = (uint64_t)64 * 1024 * 1024;

void body_init(struct body *body, struct body_budget *budget, size_t limit, uint64_t expected)
{
    memset(body, 0, sizeof *body);
    body->budget = budget;
    body->limit = limit;
    body->spool_fd = -1;
    body->size = expected > 0 && expected <= budget->memory_per_body ? (size_t)expected + 1 : 0;
}

/* Unnamed, so that nothing is left behind however the process ends. Where no file system takes an
 * unnamed file, memory that can be swapped out has to do. */
static int open_spool(void)
{
    int fd = open("/var/tmp", O_TMPFILE | O_RDWR | O_CLOEXEC, 0600);
    if (fd < 0) {
        fd = open("/tmp", O_TMPFILE | O_RDWR | O_CLOEXEC, 0600);
    }
    return fd >= 0 ? fd : memfd_create("body", MFD_CLOEXEC);
}

static bool write_all(int fd, const char *bytes, size_t length)
{
    while (length > 0) {
        ssize_t written = write(fd, bytes, length);
        if (written < 0 && errno == EINTR) {
            continue;
        }
        if (written <= 0) {
            return false;
        }
        bytes += written;
        length -= (size_t)written;
    }
    return true;
}

static bool spool_append(struct body *body, const char *bytes, size_t length)
{
    if (length > spool_of_all - body->budget->spool || !write_all(body->spool_fd, bytes, length)) {
        return false;
    }
    body->budget->spool += length;
    body->spooled += length;
    return true;
}

/* A short body takes small pages as its bytes come, a long one large pages; what they may cost. */
static size_t memory_cost(size_t size)
{
    return size < PAGES_LARGE ? size : pages_size(size);
}

static char *memory_new(size_t size)
{
    return size < PAGES_LARGE ? malloc(size) : pages_new(size);
}

static void release_memory(struct body *body)
{
    if (body->memory == NULL) {
        return;
    }
    if (body->size < PAGES_LARGE) {
        free(body->memory);
    } else {
        pages_free(body->memory, body->size);
    }
    body->budget->memory -= memory_cost(body->size);
    body->memory = NULL;
}

static bool move_to_spool(struct body *body)
{
    body->spool_fd = open_spool();
    if (body->spool_fd < 0 || !spool_append(body, body->memory, body->length)) {
        return false;
    }
    release_memory(body);
    return true;
}

/* Room for so many bytes and the NUL: what is announced exactly, so that nothing is copied; else by
 * doubling. */
static size_t size_for(const struct body *body, size_t needed)
{
    size_t most = body->budget->memory_per_body + 1;
    size_t size = body->size > 0 ? body->size : INITIAL_SIZE;
    while (size < needed + 1) {
        size *= 2;
    }
    return size < most ? size : most;
}

/* False when there is to be no more memory for this body. */
static bool memory_reserve(struct body *body, size_t needed)
{
    if (body->memory != NULL && needed < body->size) {
        return true;
    }
    size_t size = size_for(body, needed);
    size_t most = BODIES_IN_MEMORY * memory_cost(body->budget->memory_per_body + 1);
    size_t cost = memory_cost(size); /* besides what is held until it has been copied */
    if (needed > body->budget->memory_per_body || cost > most - body->budget->memory) {
        return false;
    }
    char *memory = memory_new(size);
    if (memory == NULL) {
        return false;
    }
    if (body->memory != NULL) {
        memcpy(memory, body->memory, body->length);
    }
    release_memory(body);
    body->budget->memory += cost;
    body->memory = memory;
    body->size = size;
    return true;
}

static bool keep(struct body *body, const char *bytes, size_t length)
{
    if (body->spool_fd < 0) {
        if (memory_reserve(body, body->length + length)) {
            memcpy(body->memory + body->length, bytes, length);
            return true;
        }
        if (!move_to_spool(body)) {
            return false;
        }
    }
    return spool_append(body, bytes, length);
}

bool body_append(struct body *body, const char *bytes, size_t length)
{
    if (body->state == BODY_ACCEPTED) {
        if (length > body->limit - body->length) {
            body->state = BODY_TOO_LARGE;
        } else if (!keep(body, bytes, length)) {
            body->state = BODY_NO_ROOM;
        } else {
            body->length += length;
            return true;
        }
    }
    body->dropped += length;
    return body->dropped <= dropped_most;
}

const char *body_content(struct body *body)
{
    if (body->length == 0) {
        return "";
    }
    if (body->spool_fd < 0) {
        body->memory[body->length] = '\0';
        return body->memory;
    }
    /* The NUL is written and not left as a hole: to read a hole on a full file system in memory is
     * a bus error. */
    if (pwrite(body->spool_fd, "", 1, (off_t)body->length) != 1) {
        return NULL;
    }
    void *mapping =
        mmap(NULL, body->length + 1, PROT_READ, MAP_PRIVATE | MAP_POPULATE, body->spool_fd, 0);
    if (mapping == MAP_FAILED) {
        return NULL;
    }
    body->mapping = mapping;
    return mapping;
}

void body_free(struct body *body)
{
    if (body->budget == NULL) {
        return;
    }
    if (body->mapping != NULL) {
        (void)munmap(body->mapping, body->length + 1);
    }
    if (body->spool_fd >= 0) {
        (void)close(body->spool_fd);
        body->budget->spool -= body->spooled;
    }
    release_memory(body);
    memset(body, 0, sizeof *body);
}
