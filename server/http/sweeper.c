#include "http/sweeper.h"

#include "base/clock.h"

#include <math.h>
#include <pthread.h>
#include <stdlib.h>
#include <string.h>
#include <sys/socket.h>
#include <time.h>

static const double idle_s = 3600; /* how long to sleep when no deadline is near */
static const double step_s = 0.02; /* deadlines closer together than this are swept together */

struct sweeper {
    pthread_mutex_t lock;
    pthread_cond_t changed;
    pthread_t thread;
    struct client *first;
    double wake_s; /* when the thread looks again */
    bool stopping;
};

static double sweep(struct sweeper *sweeper, double now_s)
{
    double next_s = now_s + idle_s;
    for (struct client *client = sweeper->first; client != NULL; client = client->next) {
        if (client->deadline_s <= now_s) {
            (void)shutdown(client->socket, SHUT_RDWR);
            client->deadline_s = (double)INFINITY;
        } else if (client->deadline_s < next_s) {
            next_s = client->deadline_s;
        }
    }
    return next_s > now_s + step_s ? next_s : now_s + step_s;
}

static void *run(void *argument)
{
    struct sweeper *sweeper = argument;
    (void)pthread_mutex_lock(&sweeper->lock);
    while (!sweeper->stopping) {
        sweeper->wake_s = sweep(sweeper, clock_monotonic_s());
        struct timespec wake = clock_monotonic_time(sweeper->wake_s);
        (void)pthread_cond_timedwait(&sweeper->changed, &sweeper->lock, &wake);
    }
    (void)pthread_mutex_unlock(&sweeper->lock);
    return NULL;
}

bool sweeper_new(struct sweeper **ret_sweeper, struct error *reterr)
{
    struct sweeper *sweeper = calloc(1, sizeof *sweeper);
    if (sweeper == NULL) {
        return error_set(reterr, ERROR_UNAVAILABLE, "no memory for the sweeper");
    }
    pthread_condattr_t attributes;
    (void)pthread_condattr_init(&attributes);
    (void)pthread_condattr_setclock(&attributes, CLOCK_MONOTONIC);
    (void)pthread_cond_init(&sweeper->changed, &attributes);
    (void)pthread_condattr_destroy(&attributes);
    (void)pthread_mutex_init(&sweeper->lock, NULL);
    int failed = pthread_create(&sweeper->thread, NULL, run, sweeper);
    if (failed != 0) {
        free(sweeper);
        return error_set(reterr, ERROR_UNAVAILABLE, "no thread for the sweeper: error %d", failed);
    }
    *ret_sweeper = sweeper;
    return true;
}

void sweeper_free(struct sweeper *sweeper)
{
    if (sweeper == NULL) {
        return;
    }
    (void)pthread_mutex_lock(&sweeper->lock);
    sweeper->stopping = true;
    (void)pthread_cond_signal(&sweeper->changed);
    (void)pthread_mutex_unlock(&sweeper->lock);
    (void)pthread_join(sweeper->thread, NULL);
    (void)pthread_cond_destroy(&sweeper->changed);
    (void)pthread_mutex_destroy(&sweeper->lock);
    free(sweeper);
}

/* With the lock held. */
static void set_deadline(struct sweeper *sweeper, struct client *client, double deadline_s)
{
    client->deadline_s = deadline_s;
    if (deadline_s < sweeper->wake_s) {
        (void)pthread_cond_signal(&sweeper->changed);
    }
}

void sweeper_add(struct sweeper *sweeper, struct client *client, double deadline_s)
{
    (void)pthread_mutex_lock(&sweeper->lock);
    client->previous = NULL;
    client->next = sweeper->first;
    if (sweeper->first != NULL) {
        sweeper->first->previous = client;
    }
    sweeper->first = client;
    set_deadline(sweeper, client, deadline_s);
    (void)pthread_mutex_unlock(&sweeper->lock);
}

void sweeper_set(struct sweeper *sweeper, struct client *client, double deadline_s)
{
    (void)pthread_mutex_lock(&sweeper->lock);
    set_deadline(sweeper, client, deadline_s);
    (void)pthread_mutex_unlock(&sweeper->lock);
}

size_t sweeper_count(struct sweeper *sweeper, const char *site)
{
    size_t count = 0;
    (void)pthread_mutex_lock(&sweeper->lock);
    for (const struct client *client = sweeper->first; client != NULL; client = client->next) {
        count += strcmp(client->site, site) == 0 ? 1 : 0;
    }
    (void)pthread_mutex_unlock(&sweeper->lock);
    return count;
}

void sweeper_remove(struct sweeper *sweeper, struct client *client)
{
    (void)pthread_mutex_lock(&sweeper->lock);
    if (client->previous != NULL) {
        client->previous->next = client->next;
    } else {
        sweeper->first = client->next;
    }
    if (client->next != NULL) {
        client->next->previous = client->previous;
    }
    (void)pthread_mutex_unlock(&sweeper->lock);
}
