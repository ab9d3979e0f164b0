/* A bounded queue and the threads that empty it. Knows nothing of HTTP. */
#ifndef HTTP_WORKER_H
#define HTTP_WORKER_H

#include "base/compiler.h"
#include "base/error.h"

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

struct job {
    struct job *next;
    uint64_t number; /* order of arrival */
    double queued_s;
    bool heavy;
};

struct worker_pool;

struct worker_pool_options {
    unsigned threads;
    unsigned heavy_limit;          /* most threads on heavy jobs at a time */
    size_t queue_limit;            /* most jobs that wait */
    void *context;                 /* handed to start() */
    void *(*start)(void *context); /* on the thread, before its first job */
    void (*stop)(void *state);     /* on the thread, after its last job */
    void (*run)(void *state, struct job *job);
    void (*cancel)(struct job *job); /* instead of run(), for what still waits when time is up */
};

MUST_CHECK bool worker_pool_new(const struct worker_pool_options *options,
                                struct worker_pool **ret_pool, struct error *reterr);

/* Whether one more new job may wait. Only the thread that pushes these may rely on the answer. */
bool worker_pool_has_room(const struct worker_pool *pool);

/* Hands a job over. Jobs run in order of arrival, except that heavy ones wait while as many run as
 * may, and light ones pass them. A stopped pool cancels the job at once. */
void worker_pool_push(struct worker_pool *pool, struct job *job);

/* The same for a job that has run before and is to run again. Such jobs are light, do not count
 * against the queue limit (who makes them bounds them), and take turns with the others: neither
 * kind waits for more than one of the other kind before its next one runs. */
void worker_pool_push_again(struct worker_pool *pool, struct job *job);

/* Cancels what waits, lets the running jobs end, joins the threads. */
void worker_pool_stop(struct worker_pool *pool);

/* Stops the pool if it is not stopped, and frees it. NULL is allowed. */
void worker_pool_free(struct worker_pool *pool);

#endif
