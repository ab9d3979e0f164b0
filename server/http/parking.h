/* Jobs that are to run again after a while, and the thread that brings them back in time. Each
 * holds a place from its first stay to its end, also while it runs. Knows nothing of HTTP. */
#ifndef HTTP_PARKING_H
#define HTTP_PARKING_H

#include "base/compiler.h"
#include "base/error.h"
#include "http/worker.h"

#include <stdbool.h>
#include <stddef.h>

struct parking;

/* What a job needs to be parked; zeroed but for the first two. */
struct parked {
    struct job *job;
    const char *address; /* whose job it is; lives as long as the place is held */
    size_t place;        /* 1 and above; 0: none */
    double since_s;      /* clock_monotonic_s() when it was parked last */
    double due_s;
    struct parked *sooner;
    struct parked *later;
};

struct parking_options {
    size_t places;
    size_t places_per_address;
    void *context; /* handed to wake() */
    /* Takes a job back; on the parking's thread, or on the caller's once the parking is closed. */
    void (*wake)(void *context, struct job *job);
};

/* Starts the thread. */
MUST_CHECK bool parking_new(const struct parking_options *options, struct parking **ret_parking,
                            struct error *reterr);

/* Whether the job may be parked. True gives it a place unless it has one. False when no place is
 * left, in all or for its address, or when the parking is closed. */
MUST_CHECK bool parking_hold(struct parking *parking, struct parked *parked);

/* Gives the place back, if there is one. The job must not be parked. */
void parking_release(struct parking *parking, struct parked *parked);

/* Parks a job that holds a place until `due_s` (finite, as clock_monotonic_s() tells it). The
 * caller must not touch it afterwards. In a closed parking it is woken at once. */
void parking_put(struct parking *parking, struct parked *parked, double due_s);

/* Wakes everything at once, ends the thread, and lets nobody in any more. */
void parking_close(struct parking *parking);

/* Closes the parking if it is not closed, and frees it. NULL is allowed; no place may be held. */
void parking_free(struct parking *parking);

#endif
