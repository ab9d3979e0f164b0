#include "http/worker.h"

#include <pthread.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <string.h>
#include <time.h>

#include <cmocka.h>

enum { PATIENCE_S = 20, JOBS = 40 };

/* Jobs note that they have begun and wait until their gate is opened. */
struct hall {
    pthread_mutex_t lock;
    pthread_cond_t changed;
    struct worker_pool *pool;
    bool open;
    size_t begun;
    size_t ended;
    size_t cancelled;
    size_t threads;
    size_t heavy_now;
    size_t heavy_most;
    char order[JOBS + 1];
};

struct task {
    struct job job; /* first */
    struct hall *hall;
    char name;
};

static void wait_until(struct hall *hall, const size_t *counter, size_t value)
{
    struct timespec end;
    assert_int_equal(clock_gettime(CLOCK_REALTIME, &end), 0);
    end.tv_sec += PATIENCE_S;
    (void)pthread_mutex_lock(&hall->lock);
    int waited = 0;
    while (*counter < value && waited == 0) {
        waited = pthread_cond_timedwait(&hall->changed, &hall->lock, &end);
    }
    size_t reached = *counter;
    (void)pthread_mutex_unlock(&hall->lock);
    assert_int_equal(reached, value);
}

static void count(struct hall *hall, size_t *counter)
{
    (void)pthread_mutex_lock(&hall->lock);
    (*counter)++;
    (void)pthread_cond_broadcast(&hall->changed);
    (void)pthread_mutex_unlock(&hall->lock);
}

static void *start(void *context)
{
    struct hall *hall = context;
    count(hall, &hall->threads);
    return hall;
}

static void stop(void *state)
{
    struct hall *hall = state;
    (void)pthread_mutex_lock(&hall->lock);
    hall->threads--;
    (void)pthread_mutex_unlock(&hall->lock);
}

static void run(void *state, struct job *job)
{
    struct hall *hall = state;
    struct task *task = (struct task *)(void *)job;
    (void)pthread_mutex_lock(&hall->lock);
    hall->order[hall->begun++] = task->name;
    hall->heavy_now += job->heavy ? 1 : 0;
    hall->heavy_most = hall->heavy_now > hall->heavy_most ? hall->heavy_now : hall->heavy_most;
    (void)pthread_cond_broadcast(&hall->changed);
    while (!hall->open) {
        (void)pthread_cond_wait(&hall->changed, &hall->lock);
    }
    hall->heavy_now -= job->heavy ? 1 : 0;
    hall->ended++;
    (void)pthread_cond_broadcast(&hall->changed);
    (void)pthread_mutex_unlock(&hall->lock);
}

static void cancel(struct job *job)
{
    struct task *task = (struct task *)(void *)job;
    count(task->hall, &task->hall->cancelled);
}

static void open_gate(struct hall *hall)
{
    (void)pthread_mutex_lock(&hall->lock);
    hall->open = true;
    (void)pthread_cond_broadcast(&hall->changed);
    (void)pthread_mutex_unlock(&hall->lock);
}

static void begin(struct hall *hall, unsigned threads, unsigned heavy_limit, size_t queue_limit)
{
    memset(hall, 0, sizeof *hall);
    (void)pthread_mutex_init(&hall->lock, NULL);
    (void)pthread_cond_init(&hall->changed, NULL);
    const struct worker_pool_options options = {
        .threads = threads,
        .heavy_limit = heavy_limit,
        .queue_limit = queue_limit,
        .context = hall,
        .start = start,
        .stop = stop,
        .run = run,
        .cancel = cancel,
    };
    struct error error = {ERROR_NONE, ""};
    assert_true(worker_pool_new(&options, &hall->pool, &error));
    wait_until(hall, &hall->threads, threads);
}

static void end(struct hall *hall)
{
    worker_pool_free(hall->pool);
    assert_int_equal(hall->threads, 0);
    (void)pthread_cond_destroy(&hall->changed);
    (void)pthread_mutex_destroy(&hall->lock);
}

static void push(struct hall *hall, struct task *task, char name, bool heavy)
{
    memset(task, 0, sizeof *task);
    task->hall = hall;
    task->name = name;
    task->job.heavy = heavy;
    worker_pool_push(hall->pool, &task->job);
}

static void runs_jobs_in_order_of_arrival(void **state)
{
    (void)state;
    struct hall hall;
    struct task tasks[5];
    begin(&hall, 1, 1, 10);
    push(&hall, &tasks[0], 'a', false);
    wait_until(&hall, &hall.begun, 1);
    push(&hall, &tasks[1], 'b', true);
    push(&hall, &tasks[2], 'c', false);
    push(&hall, &tasks[3], 'd', true);
    push(&hall, &tasks[4], 'e', false);
    open_gate(&hall);
    wait_until(&hall, &hall.ended, 5);
    assert_string_equal(hall.order, "abcde");
    end(&hall);
}

static void lets_light_jobs_pass_heavy_ones(void **state)
{
    (void)state;
    struct hall hall;
    struct task heavy[3];
    struct task light[2];
    begin(&hall, 3, 2, 10);
    for (size_t i = 0; i < 3; i++) {
        push(&hall, &heavy[i], 'H', true);
    }
    wait_until(&hall, &hall.begun, 2);
    push(&hall, &light[0], 'l', false);
    wait_until(&hall, &hall.begun, 3); /* although a heavy one came before it */
    assert_string_equal(hall.order, "HHl");
    open_gate(&hall);
    push(&hall, &light[1], 'l', false);
    wait_until(&hall, &hall.ended, 5);
    assert_int_equal(hall.heavy_most, 2);
    end(&hall);
}

static void bounds_what_waits(void **state)
{
    (void)state;
    struct hall hall;
    struct task tasks[4];
    begin(&hall, 2, 1, 2);
    for (size_t i = 0; i < 2; i++) {
        assert_true(worker_pool_has_room(hall.pool));
        push(&hall, &tasks[i], 'a', false);
    }
    wait_until(&hall, &hall.begun, 2);
    for (size_t i = 2; i < 4; i++) {
        assert_true(worker_pool_has_room(hall.pool));
        push(&hall, &tasks[i], 'b', false);
    }
    assert_false(worker_pool_has_room(hall.pool));
    open_gate(&hall);
    wait_until(&hall, &hall.ended, 4);
    assert_true(worker_pool_has_room(hall.pool));
    end(&hall);
}

static void push_again(struct hall *hall, struct task *task, char name)
{
    *task = (struct task){.hall = hall, .name = name};
    worker_pool_push_again(hall->pool, &task->job);
}

static void takes_turns_with_jobs_that_run_again(void **state)
{
    (void)state;
    struct hall hall;
    struct task tasks[9];
    begin(&hall, 1, 1, 10);
    push(&hall, &tasks[0], 'a', false);
    wait_until(&hall, &hall.begun, 1);
    for (size_t i = 1; i < 5; i++) {
        push_again(&hall, &tasks[i], (char)('0' + i));
    }
    push(&hall, &tasks[5], 'b', false);
    push(&hall, &tasks[6], 'c', true);
    push_again(&hall, &tasks[7], '5');
    push(&hall, &tasks[8], 'd', false);
    open_gate(&hall);
    wait_until(&hall, &hall.ended, 9);
    assert_string_equal(hall.order, "a1b2c3d45");
    end(&hall);
}

static void does_not_count_jobs_that_run_again(void **state)
{
    (void)state;
    struct hall hall;
    struct task tasks[6];
    begin(&hall, 1, 1, 1);
    push(&hall, &tasks[0], 'a', false);
    wait_until(&hall, &hall.begun, 1);
    for (size_t i = 1; i < 4; i++) {
        push_again(&hall, &tasks[i], 'r');
    }
    assert_true(worker_pool_has_room(hall.pool));
    push(&hall, &tasks[4], 'b', false);
    assert_false(worker_pool_has_room(hall.pool));
    push_again(&hall, &tasks[5], 'r'); /* taken although the queue is full */
    open_gate(&hall);
    wait_until(&hall, &hall.ended, 6);
    end(&hall);
}

static void *stop_pool(void *argument)
{
    struct hall *hall = argument;
    worker_pool_stop(hall->pool);
    return NULL;
}

static void runs_or_cancels_each_job_once_when_it_stops(void **state)
{
    (void)state;
    struct hall hall;
    struct task tasks[6];
    begin(&hall, 1, 1, 10);
    push(&hall, &tasks[0], 'a', false);
    wait_until(&hall, &hall.begun, 1);
    push(&hall, &tasks[1], 'b', false);
    push(&hall, &tasks[2], 'c', true);
    push_again(&hall, &tasks[3], 'd');
    pthread_t stopper;
    assert_int_equal(pthread_create(&stopper, NULL, stop_pool, &hall), 0);
    wait_until(&hall, &hall.cancelled, 3); /* while the first still runs */
    open_gate(&hall);
    assert_int_equal(pthread_join(stopper, NULL), 0);
    push(&hall, &tasks[4], 'e', false);
    push_again(&hall, &tasks[5], 'f');
    wait_until(&hall, &hall.cancelled, 5);
    assert_string_equal(hall.order, "a");
    assert_int_equal(hall.ended, 1);
    end(&hall);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(runs_jobs_in_order_of_arrival),
        cmocka_unit_test(lets_light_jobs_pass_heavy_ones),
        cmocka_unit_test(bounds_what_waits),
        cmocka_unit_test(takes_turns_with_jobs_that_run_again),
        cmocka_unit_test(does_not_count_jobs_that_run_again),
        cmocka_unit_test(runs_or_cancels_each_job_once_when_it_stops),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
