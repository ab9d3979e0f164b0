/* Starts and stops what serves: sweeper, workers, parking, daemon. */
#include "http/daemon.h"

#include "base/clock.h"
#include "base/log.h"
#include "http/router.h"

#include <errno.h>
#include <signal.h>
#include <stdlib.h>
#include <time.h>

static const double flush_s = 1; /* at a stop, for answers given when patience had ended */

struct worker {
    struct http_server *server;
    struct codec *codec;
    void *state;
};

static struct exchange *exchange_of_job(struct job *job)
{
    return (struct exchange *)(void *)job;
}

static void *worker_begin(void *context)
{
    struct http_server *server = context;
    struct worker *worker = calloc(1, sizeof *worker);
    struct codec *codec = codec_new();
    if (worker == NULL || codec == NULL) {
        log_message(LOG_LEVEL_ERROR, "out_of_memory", "no memory for a worker");
        abort();
    }
    worker->server = server;
    worker->codec = codec;
    if (server->options.worker_start != NULL) {
        worker->state = server->options.worker_start(server->options.context);
    }
    return worker;
}

static void worker_end(void *state)
{
    struct worker *worker = state;
    if (worker->server->options.worker_stop != NULL) {
        worker->server->options.worker_stop(worker->state);
    }
    codec_free(worker->codec);
    free(worker);
}

static void worker_run(void *state, struct job *job)
{
    struct worker *worker = state;
    struct exchange *exchange = exchange_of_job(job);
    if (exchange_serve(exchange, worker->state, worker->codec)) {
        daemon_resume(exchange);
    }
}

static void worker_cancel(struct job *job)
{
    struct exchange *exchange = exchange_of_job(job);
    parking_release(exchange->server->parking, &exchange->parked);
    exchange_overloaded(exchange, "The server is stopping. Try again in a moment.");
    exchange_answer(exchange, NULL);
    daemon_resume(exchange);
}

static void run_again(void *context, struct job *job)
{
    struct http_server *server = context;
    worker_pool_push_again(server->pool, job);
}

static bool start_threads(struct http_server *server, struct error *reterr)
{
    const struct worker_pool_options pool = {
        .threads = server->options.workers,
        .heavy_limit = server->options.heavy_limit,
        .queue_limit = server->options.queue_limit,
        .context = server,
        .start = worker_begin,
        .stop = worker_end,
        .run = worker_run,
        .cancel = worker_cancel,
    };
    const struct parking_options parking = {
        .places = server->options.waiting_limit,
        .places_per_address = server->options.waiting_limit_per_address,
        .context = server,
        .wake = run_again,
    };
    if (server->options.tls.certificate_file != NULL &&
        !tls_new(&server->options.tls, &server->tls, reterr)) {
        return false;
    }
    if (!proxies_new(server->options.trusted_proxies, &server->proxies, reterr)) {
        return error_context(reterr, "PENSTOCK_TRUSTED_PROXIES");
    }
    return sweeper_new(&server->sweeper, reterr) && drainer_new(&server->drainer, reterr) &&
           parking_new(&parking, &server->parking, reterr) &&
           worker_pool_new(&pool, &server->pool, reterr) && daemon_start(server, reterr);
}

static void free_server(struct http_server *server)
{
    worker_pool_free(server->pool);
    parking_free(server->parking);
    sweeper_free(server->sweeper);
    drainer_free(server->drainer);
    proxies_free(server->proxies);
    tls_free(server->tls);
    (void)pthread_cond_destroy(&server->quiet);
    (void)pthread_mutex_destroy(&server->lock);
    free(server);
}

bool http_server_reload(struct http_server *server, struct error *reterr)
{
    return server->tls == NULL || tls_reload(server->tls, reterr);
}

static bool check_options(const struct http_server_options *options, struct error *reterr)
{
    if (options->workers == 0 || options->heavy_limit == 0 || options->queue_limit == 0 ||
        !(options->request_deadline_s > 0)) {
        return error_set(reterr, ERROR_INVALID,
                         "workers, heavy limit, queue limit and deadline must be above 0");
    }
    return router_check(options->routes, options->route_count, reterr);
}

bool http_server_start(const struct http_server_options *options, struct http_server **ret_server,
                       struct error *reterr)
{
    if (!check_options(options, reterr)) {
        return error_context(reterr, "starting the HTTP server");
    }
    struct http_server *server = calloc(1, sizeof *server);
    if (server == NULL) {
        return error_set(reterr, ERROR_UNAVAILABLE, "no memory for the HTTP server");
    }
    server->options = *options;
    server->budget.memory_per_body = options->body_memory;
    pthread_condattr_t monotonic;
    (void)pthread_condattr_init(&monotonic);
    (void)pthread_condattr_setclock(&monotonic, CLOCK_MONOTONIC);
    (void)pthread_cond_init(&server->quiet, &monotonic);
    (void)pthread_condattr_destroy(&monotonic);
    (void)pthread_mutex_init(&server->lock, NULL);
    /* A peer that is gone shows as an error of the write. Signals are for the caller's thread, so
     * the threads made here inherit a mask that blocks them all. */
    (void)sigaction(SIGPIPE, &(struct sigaction){.sa_handler = SIG_IGN}, NULL);
    sigset_t all;
    sigset_t before;
    (void)sigfillset(&all);
    (void)pthread_sigmask(SIG_SETMASK, &all, &before);
    bool started = start_threads(server, reterr);
    (void)pthread_sigmask(SIG_SETMASK, &before, NULL);
    if (!started) {
        free_server(server);
        return error_context(reterr, "starting the HTTP server");
    }
    *ret_server = server;
    return true;
}

uint16_t http_server_port(const struct http_server *server)
{
    return server->port;
}

static void wait_until_quiet(struct http_server *server, double patience_s)
{
    struct timespec end = clock_monotonic_time(clock_monotonic_s() + patience_s);
    (void)pthread_mutex_lock(&server->lock);
    int waited = 0;
    while (server->in_flight > 0 && waited != ETIMEDOUT) {
        waited = pthread_cond_timedwait(&server->quiet, &server->lock, &end);
    }
    (void)pthread_mutex_unlock(&server->lock);
}

void http_server_stop(struct http_server *server, double patience_s)
{
    atomic_store(&server->draining, true);
    int listener = daemon_quiesce(server);
    parking_close(server->parking);
    wait_until_quiet(server, patience_s);
    /* What is still queued is answered with 503; what a handler still works on is waited for. No
     * connection may be suspended when the daemon is stopped. */
    worker_pool_stop(server->pool);
    wait_until_quiet(server, flush_s);
    daemon_stop(server, listener);
    free_server(server);
}
