#include "http/worker.h"

#include "base/clock.h"

#include <pthread.h>
#include <stdatomic.h>
#include <stdlib.h>

struct queue {
    struct job *first;
    struct job **end; /* where the next job goes */
};

struct worker_pool {
    struct worker_pool_options options;
    pthread_mutex_t lock;
    pthread_cond_t ready; /* there is a job to take, or no more will come */
    struct queue light;
    struct queue heavy;
    struct queue again; /* jobs that have run before */
    bool last_was_new;  /* the job taken last had not run before */
    /* Changed with the lock held; read without it by worker_pool_has_room(). */
    atomic_size_t waiting; /* new jobs */
    atomic_size_t idle;    /* threads */
    uint64_t pushed;
    unsigned heavy_running;
    bool stopping;
    unsigned thread_count;
    pthread_t threads[];
};

static void queue_push(struct queue *queue, struct job *job)
{
    job->next = NULL;
    *queue->end = job;
    queue->end = &job->next;
}

static struct job *queue_pop(struct queue *queue)
{
    struct job *job = queue->first;
    queue->first = job->next;
    if (queue->first == NULL) {
        queue->end = &queue->first;
    }
    return job;
}

static bool may_start_heavy(const struct worker_pool *pool)
{
    return pool->heavy.first != NULL && pool->heavy_running < pool->options.heavy_limit;
}

/* The oldest new job that may start now, or NULL. With the lock held. */
static struct job *take_new(struct worker_pool *pool)
{
    const struct job *light = pool->light.first;
    struct job *job = NULL;
    if (may_start_heavy(pool) && (light == NULL || pool->heavy.first->number < light->number)) {
        pool->heavy_running++;
        job = queue_pop(&pool->heavy);
    } else if (light != NULL) {
        job = queue_pop(&pool->light);
    }
    if (job != NULL) {
        pool->waiting--;
    }
    return job;
}

/* The job whose turn it is, or NULL. With the lock held. */
static struct job *take(struct worker_pool *pool)
{
    bool may_repeat = pool->again.first != NULL;
    struct job *job = may_repeat && pool->last_was_new ? NULL : take_new(pool);
    pool->last_was_new = job != NULL;
    return job == NULL && may_repeat ? queue_pop(&pool->again) : job;
}

/* Waits for a job; NULL when the pool stops. With the lock held. */
static struct job *wait_for_job(struct worker_pool *pool)
{
    while (!pool->stopping) {
        struct job *job = take(pool);
        if (job != NULL) {
            return job;
        }
        pool->idle++;
        (void)pthread_cond_wait(&pool->ready, &pool->lock);
        pool->idle--;
    }
    return NULL;
}

static void *work(void *argument)
{
    struct worker_pool *pool = argument;
    void *state = pool->options.start(pool->options.context);
    (void)pthread_mutex_lock(&pool->lock);
    struct job *job = wait_for_job(pool);
    while (job != NULL) {
        (void)pthread_mutex_unlock(&pool->lock);
        bool heavy = job->heavy; /* the job may be gone after run() */
        pool->options.run(state, job);
        (void)pthread_mutex_lock(&pool->lock);
        if (heavy) {
            pool->heavy_running--;
        }
        job = wait_for_job(pool);
    }
    (void)pthread_mutex_unlock(&pool->lock);
    pool->options.stop(state);
    return NULL;
}

bool worker_pool_new(const struct worker_pool_options *options, struct worker_pool **ret_pool,
                     struct error *reterr)
{
    struct worker_pool *pool = calloc(1, sizeof *pool + options->threads * sizeof pool->threads[0]);
    if (pool == NULL) {
        return error_set(reterr, ERROR_UNAVAILABLE, "no memory for the worker pool");
    }
    pool->options = *options;
    pool->light.end = &pool->light.first;
    pool->heavy.end = &pool->heavy.first;
    pool->again.end = &pool->again.first;
    (void)pthread_mutex_init(&pool->lock, NULL);
    (void)pthread_cond_init(&pool->ready, NULL);
    for (; pool->thread_count < options->threads; pool->thread_count++) {
        int failed = pthread_create(&pool->threads[pool->thread_count], NULL, work, pool);
        if (failed != 0) {
            worker_pool_free(pool);
            return error_set(reterr, ERROR_UNAVAILABLE, "no thread for a worker: error %d", failed);
        }
    }
    *ret_pool = pool;
    return true;
}

bool worker_pool_has_room(const struct worker_pool *pool)
{
    /* Idle threads are about to take what waits, or a job that runs again: then one more waits for
     * each. Only the caller adds new jobs; read in this order, what the threads do meanwhile can
     * only make more room. */
    size_t waiting = atomic_load(&pool->waiting);
    size_t idle = atomic_load(&pool->idle);
    return waiting < pool->options.queue_limit + idle;
}

/* With the lock held. */
static void push_new(struct worker_pool *pool, struct job *job)
{
    job->number = pool->pushed++;
    queue_push(job->heavy ? &pool->heavy : &pool->light, job);
    pool->waiting++;
}

static void push(struct worker_pool *pool, struct job *job, bool again)
{
    (void)pthread_mutex_lock(&pool->lock);
    bool stopping = pool->stopping;
    job->queued_s = clock_monotonic_s();
    if (!stopping && again) {
        queue_push(&pool->again, job);
    } else if (!stopping) {
        push_new(pool, job);
    }
    (void)pthread_mutex_unlock(&pool->lock);
    if (stopping) {
        pool->options.cancel(job);
        return;
    }
    /* After the unlock, or the thread that wakes would have to wait for it. */
    (void)pthread_cond_signal(&pool->ready);
}

void worker_pool_push(struct worker_pool *pool, struct job *job)
{
    push(pool, job, false);
}

void worker_pool_push_again(struct worker_pool *pool, struct job *job)
{
    push(pool, job, true);
}

static void cancel_all(struct worker_pool *pool, struct job *job)
{
    while (job != NULL) {
        struct job *next = job->next; /* the job may be gone after cancel() */
        pool->options.cancel(job);
        job = next;
    }
}

static struct job *queue_empty(struct queue *queue)
{
    struct job *first = queue->first;
    queue->first = NULL;
    queue->end = &queue->first;
    return first;
}

void worker_pool_stop(struct worker_pool *pool)
{
    (void)pthread_mutex_lock(&pool->lock);
    pool->stopping = true;
    struct job *light = queue_empty(&pool->light);
    struct job *heavy = queue_empty(&pool->heavy);
    struct job *again = queue_empty(&pool->again);
    pool->waiting = 0;
    (void)pthread_cond_broadcast(&pool->ready);
    (void)pthread_mutex_unlock(&pool->lock);
    cancel_all(pool, light);
    cancel_all(pool, heavy);
    cancel_all(pool, again);
    for (unsigned i = 0; i < pool->thread_count; i++) {
        (void)pthread_join(pool->threads[i], NULL);
    }
    pool->thread_count = 0;
}

void worker_pool_free(struct worker_pool *pool)
{
    if (pool == NULL) {
        return;
    }
    worker_pool_stop(pool);
    (void)pthread_cond_destroy(&pool->ready);
    (void)pthread_mutex_destroy(&pool->lock);
    free(pool);
}
