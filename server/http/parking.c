#include "http/parking.h"

#include "base/clock.h"

#include <pthread.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>

struct parking {
    struct parking_options options;
    pthread_mutex_t lock;
    pthread_cond_t changed; /* another one is due first, or the parking is closed */
    pthread_t thread;
    bool closed;
    struct parked *first; /* by due time */
    struct parked *last;
    size_t held; /* places */
    struct parked *places[];
};

/* With the lock held, as all up to run(). Most stay for the same time, so that the end of the list
 * is where one belongs. */
static void insert(struct parking *parking, struct parked *parked)
{
    struct parked *before = parking->last;
    while (before != NULL && before->due_s > parked->due_s) {
        before = before->sooner;
    }
    parked->sooner = before;
    parked->later = before == NULL ? parking->first : before->later;
    if (before == NULL) {
        parking->first = parked;
    } else {
        before->later = parked;
    }
    if (parked->later == NULL) {
        parking->last = parked;
    } else {
        parked->later->sooner = parked;
    }
}

static struct parked *take_first(struct parking *parking)
{
    struct parked *first = parking->first;
    parking->first = first->later;
    if (parking->first == NULL) {
        parking->last = NULL;
    } else {
        parking->first->sooner = NULL;
    }
    return first;
}

/* Gives the lock away meanwhile: wake() may take long, and may take locks of its own. */
static void wake_first(struct parking *parking)
{
    struct job *job = take_first(parking)->job;
    (void)pthread_mutex_unlock(&parking->lock);
    parking->options.wake(parking->options.context, job);
    (void)pthread_mutex_lock(&parking->lock);
}

static void *run(void *argument)
{
    struct parking *parking = argument;
    (void)pthread_mutex_lock(&parking->lock);
    while (!parking->closed) {
        if (parking->first == NULL) {
            (void)pthread_cond_wait(&parking->changed, &parking->lock);
        } else if (parking->first->due_s > clock_monotonic_s()) {
            struct timespec due = clock_monotonic_time(parking->first->due_s);
            (void)pthread_cond_timedwait(&parking->changed, &parking->lock, &due);
        } else {
            wake_first(parking);
        }
    }
    (void)pthread_mutex_unlock(&parking->lock);
    return NULL;
}

static void destroy(struct parking *parking)
{
    (void)pthread_cond_destroy(&parking->changed);
    (void)pthread_mutex_destroy(&parking->lock);
    free(parking);
}

bool parking_new(const struct parking_options *options, struct parking **ret_parking,
                 struct error *reterr)
{
    struct parking *parking =
        calloc(1, sizeof *parking + options->places * sizeof(struct parked *));
    if (parking == NULL) {
        return error_set(reterr, ERROR_UNAVAILABLE, "no memory for waiting requests");
    }
    parking->options = *options;
    pthread_condattr_t monotonic;
    (void)pthread_condattr_init(&monotonic);
    (void)pthread_condattr_setclock(&monotonic, CLOCK_MONOTONIC);
    (void)pthread_cond_init(&parking->changed, &monotonic);
    (void)pthread_condattr_destroy(&monotonic);
    (void)pthread_mutex_init(&parking->lock, NULL);
    int failed = pthread_create(&parking->thread, NULL, run, parking);
    if (failed != 0) {
        destroy(parking);
        return error_set(reterr, ERROR_UNAVAILABLE, "no thread for waiting requests: error %d",
                         failed);
    }
    *ret_parking = parking;
    return true;
}

static bool has_place_for(const struct parking *parking, const char *address)
{
    size_t of_address = 0;
    for (size_t i = 0; i < parking->held; i++) {
        of_address += strcmp(parking->places[i]->address, address) == 0 ? 1 : 0;
    }
    return parking->held < parking->options.places &&
           of_address < parking->options.places_per_address;
}

bool parking_hold(struct parking *parking, struct parked *parked)
{
    (void)pthread_mutex_lock(&parking->lock);
    bool open = !parking->closed;
    if (open && parked->place == 0 && has_place_for(parking, parked->address)) {
        parking->places[parking->held++] = parked;
        parked->place = parking->held;
    }
    bool holds = open && parked->place > 0;
    (void)pthread_mutex_unlock(&parking->lock);
    return holds;
}

/* The last one moves to the place that becomes free. */
void parking_release(struct parking *parking, struct parked *parked)
{
    (void)pthread_mutex_lock(&parking->lock);
    if (parked->place > 0) {
        struct parked *moved = parking->places[--parking->held];
        moved->place = parked->place;
        parking->places[moved->place - 1] = moved;
        parked->place = 0;
    }
    (void)pthread_mutex_unlock(&parking->lock);
}

void parking_put(struct parking *parking, struct parked *parked, double due_s)
{
    struct job *job = parked->job;
    (void)pthread_mutex_lock(&parking->lock);
    parked->since_s = clock_monotonic_s();
    parked->due_s = due_s;
    bool closed = parking->closed;
    if (!closed) {
        insert(parking, parked);
        if (parking->first == parked) {
            (void)pthread_cond_signal(&parking->changed);
        }
    }
    (void)pthread_mutex_unlock(&parking->lock);
    if (closed) {
        parking->options.wake(parking->options.context, job);
    }
}

void parking_close(struct parking *parking)
{
    (void)pthread_mutex_lock(&parking->lock);
    bool was_open = !parking->closed;
    parking->closed = true;
    (void)pthread_cond_signal(&parking->changed);
    (void)pthread_mutex_unlock(&parking->lock);
    if (!was_open) {
        return;
    }
    (void)pthread_join(parking->thread, NULL);
    (void)pthread_mutex_lock(&parking->lock);
    while (parking->first != NULL) {
        wake_first(parking);
    }
    (void)pthread_mutex_unlock(&parking->lock);
}

void parking_free(struct parking *parking)
{
    if (parking == NULL) {
        return;
    }
    parking_close(parking);
    destroy(parking);
}
