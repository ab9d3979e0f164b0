#include "http/drainer.h"

#include "base/clock.h"

#include <errno.h>
#include <fcntl.h>
#include <poll.h>
#include <pthread.h>
#include <stdint.h>
#include <stdlib.h>
#include <sys/eventfd.h>
#include <sys/socket.h>
#include <unistd.h>

enum { SOCKETS_MAX = 64, CHUNK_BYTES = 64 * 1024 };

static const double patience_s = 5;
static const uint64_t bytes_most = (uint64_t)512 * 1024 * 1024;

struct leftover {
    int socket;
    double end_s;
    uint64_t dropped;
};

struct drainer {
    pthread_mutex_t lock; /* over `arrived`, `arrived_count` and `stopping` */
    pthread_t thread;
    int wake; /* eventfd */
    bool stopping;
    int arrived[SOCKETS_MAX];
    size_t arrived_count;
    size_t count; /* the thread's own, as the rest */
    struct leftover sockets[SOCKETS_MAX];
    char chunk[CHUNK_BYTES];
};

/* Whether there may be more to read. */
static bool drop_some(struct drainer *drainer, struct leftover *one)
{
    ssize_t got = recv(one->socket, drainer->chunk, sizeof drainer->chunk, MSG_DONTWAIT);
    if (got < 0) {
        return errno == EAGAIN || errno == EINTR;
    }
    one->dropped += (uint64_t)got;
    return got > 0 && one->dropped < bytes_most;
}

/* Takes over what has arrived; false when the thread is to end. */
static bool receive(struct drainer *drainer)
{
    uint64_t ignored = 0;
    ssize_t got = read(drainer->wake, &ignored, sizeof ignored);
    (void)got;
    double end_s = clock_monotonic_s() + patience_s;
    (void)pthread_mutex_lock(&drainer->lock);
    for (size_t i = 0; i < drainer->arrived_count; i++) {
        if (drainer->count < SOCKETS_MAX) {
            drainer->sockets[drainer->count++] = (struct leftover){drainer->arrived[i], end_s, 0};
        } else {
            (void)close(drainer->arrived[i]);
        }
    }
    drainer->arrived_count = 0;
    bool goes_on = !drainer->stopping;
    (void)pthread_mutex_unlock(&drainer->lock);
    return goes_on;
}

static void wait_for_bytes(const struct drainer *drainer, struct pollfd *polled)
{
    const int look_again_ms = 1000;
    polled[0] = (struct pollfd){.fd = drainer->wake, .events = POLLIN};
    for (size_t i = 0; i < drainer->count; i++) {
        polled[i + 1] = (struct pollfd){.fd = drainer->sockets[i].socket, .events = POLLIN};
    }
    (void)poll(polled, (nfds_t)drainer->count + 1, drainer->count > 0 ? look_again_ms : -1);
}

static void drop(struct drainer *drainer, const struct pollfd *polled)
{
    double now_s = clock_monotonic_s();
    size_t kept = 0;
    for (size_t i = 0; i < drainer->count; i++) {
        struct leftover *one = &drainer->sockets[i];
        bool readable = polled[i + 1].revents != 0;
        if (one->end_s <= now_s || (readable && !drop_some(drainer, one))) {
            (void)close(one->socket);
        } else {
            drainer->sockets[kept++] = *one;
        }
    }
    drainer->count = kept;
}

static void *run(void *argument)
{
    struct drainer *drainer = argument;
    struct pollfd polled[SOCKETS_MAX + 1];
    do {
        wait_for_bytes(drainer, polled);
        drop(drainer, polled);
    } while (receive(drainer));
    for (size_t i = 0; i < drainer->count; i++) {
        (void)close(drainer->sockets[i].socket);
    }
    return NULL;
}

bool drainer_new(struct drainer **ret_drainer, struct error *reterr)
{
    struct drainer *drainer = calloc(1, sizeof *drainer);
    if (drainer == NULL) {
        return error_set(reterr, ERROR_UNAVAILABLE, "no memory for closing connections");
    }
    drainer->wake = eventfd(0, EFD_CLOEXEC | EFD_NONBLOCK);
    (void)pthread_mutex_init(&drainer->lock, NULL);
    int failed = drainer->wake < 0 ? errno : pthread_create(&drainer->thread, NULL, run, drainer);
    if (failed != 0) {
        (void)close(drainer->wake);
        free(drainer);
        return error_set(reterr, ERROR_UNAVAILABLE, "no thread for closing connections: error %d",
                         failed);
    }
    *ret_drainer = drainer;
    return true;
}

static void wake(struct drainer *drainer)
{
    const uint64_t one = 1;
    ssize_t written = write(drainer->wake, &one, sizeof one);
    (void)written; /* a full counter wakes as well */
}

void drainer_free(struct drainer *drainer)
{
    if (drainer == NULL) {
        return;
    }
    (void)pthread_mutex_lock(&drainer->lock);
    drainer->stopping = true;
    (void)pthread_mutex_unlock(&drainer->lock);
    wake(drainer);
    (void)pthread_join(drainer->thread, NULL);
    (void)close(drainer->wake);
    (void)pthread_mutex_destroy(&drainer->lock);
    free(drainer);
}

void drainer_take(struct drainer *drainer, int socket)
{
    (void)pthread_mutex_lock(&drainer->lock);
    bool room = drainer->arrived_count < SOCKETS_MAX && !drainer->stopping;
    if (room) {
        drainer->arrived[drainer->arrived_count++] = socket;
    }
    (void)pthread_mutex_unlock(&drainer->lock);
    if (room) {
        wake(drainer);
    } else {
        (void)close(socket);
    }
}
