#include "http/body.h"

#include <errno.h>
#include <fcntl.h>
#include <stdlib.h>
#include <string.h>
#include <sys/mman.h>
#include <unistd.h>

enum { BODIES_IN_MEMORY = 16, INITIAL_CAPACITY = 4096 };

static const size_t spool_of_all = (size_t)4 * 1024 * 1024 * 1024;
static const uint64_t dropped_most = (uint64_t)64 * 1024 * 1024;

void body_init(struct body *body, struct body_budget *budget, size_t limit, uint64_t expected)
{
    memset(body, 0, sizeof *body);
    body->budget = budget;
    body->limit = limit;
    body->spool_fd = -1;
    /* Exact, so that nothing is copied; the page after the last byte is touched only by the NUL. */
    body->capacity = expected > 0 && expected < budget->memory_per_body ? (size_t)expected : 0;
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

static void free_memory(struct body *body)
{
    if (body->is_secret && body->memory != NULL) {
        explicit_bzero(body->memory, body->capacity);
    }
    free(body->memory);
    body->memory = NULL;
}

static bool move_to_spool(struct body *body)
{
    body->spool_fd = open_spool();
    if (body->spool_fd < 0 || !spool_append(body, body->memory, body->length)) {
        return false;
    }
    body->budget->memory -= body->memory == NULL ? 0 : body->capacity;
    free_memory(body);
    return true;
}

/* realloc() would leave the secret behind where it was. */
static char *grow(struct body *body, size_t size)
{
    if (!body->is_secret) {
        return realloc(body->memory, size);
    }
    char *memory = malloc(size);
    if (memory != NULL) {
        if (body->memory != NULL) {
            memcpy(memory, body->memory, body->length);
        }
        free_memory(body);
    }
    return memory;
}

/* False when there is to be no more memory for this body. */
static bool memory_reserve(struct body *body, size_t needed)
{
    if (body->memory != NULL && needed <= body->capacity) {
        return true;
    }
    size_t held = body->memory == NULL ? 0 : body->capacity;
    size_t capacity = body->capacity > 0 ? body->capacity : INITIAL_CAPACITY;
    while (capacity < needed) {
        capacity *= 2;
    }
    size_t most = BODIES_IN_MEMORY * body->budget->memory_per_body;
    if (capacity > body->budget->memory_per_body || capacity - held > most - body->budget->memory) {
        return false;
    }
    char *memory = grow(body, capacity + 1);
    if (memory == NULL) {
        return false;
    }
    body->budget->memory += capacity - held;
    body->memory = memory;
    body->capacity = capacity;
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
    if (body->memory != NULL) {
        body->budget->memory -= body->capacity;
        free_memory(body);
    }
    memset(body, 0, sizeof *body);
}
