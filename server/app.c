#include "app.h"

#include "api/dispatch.h"
#include "api/routes.h"
#include "auth/document_signature.h"
#include "auth/openid.h"
#include "auth/sealing.h"
#include "auth/web_fetch.h"
#include "base/log.h"
#include "drawing/canvas.h"
#include "store/migrate.h"
#include "store/service_file.h"
#include "store/store_audit.h"

#include <malloc.h>
#include <signal.h>
#include <stdio.h>
#include <string.h>

/* Longer than the longest request may take, shorter than a service manager's patience. */
static const double STOP_PATIENCE_S = 30.0;
static const double REQUEST_DEADLINE_S = 120.0;

/* The end of a certificate is told of at the start, as long before. */
enum { SIGNING_WARNING_DAYS = 30 };

/* A waiting request holds a connection, of which there are 768, and 256 of one address: the limits
 * leave some for everything else. Proxies commonly give up after 30 or 60 s without an answer. */
enum { WAITING_LIMIT = 400, WAITING_LIMIT_PER_ADDRESS = 200 };

static const double WAITING_MOST_S = 25.0;

static int fail(const char *event, const struct error *error)
{
    log_message(LOG_LEVEL_ERROR, event, "%s", error->detail);
    return 1;
}

static bool require_database(const char *database, struct error *reterr)
{
    return database[0] != '\0' || error_set(reterr, ERROR_INVALID, "PENSTOCK_DATABASE is not set");
}

/* Threads inherit the mask, so only this one is ever woken by a signal. */
static void block_signals(sigset_t *ret_signals)
{
    sigemptyset(ret_signals);
    sigaddset(ret_signals, SIGTERM);
    sigaddset(ret_signals, SIGINT);
    sigaddset(ret_signals, SIGHUP);
    pthread_sigmask(SIG_BLOCK, ret_signals, NULL);
}

/* A new certificate that cannot be used is no reason to stop. */
static void reload(struct http_server *server)
{
    struct error error = {0};
    if (http_server_reload(server, &error)) {
        log_message(LOG_LEVEL_INFO, "reloaded", "certificates are read anew, where there are any");
    } else {
        log_message(LOG_LEVEL_WARNING, "reload_failed", "the old certificates stay in use: %s",
                    error.detail);
    }
}

static void wait_for_stop_signal(const sigset_t *signals, struct http_server *server)
{
    int received = 0;
    while (sigwait(signals, &received) != 0 || received == SIGHUP) {
        if (received == SIGHUP) {
            reload(server);
            received = 0;
        }
    }
    log_message(LOG_LEVEL_INFO, "stopping", "signal %d", received);
}

/* Makes malloc() keep the memory of a request for the next one. Left to itself it gives an upload's
 * back and fetches it again page by page, which was a third of an upload's time. Each of its arenas
 * keeps so much at its end; an object that is larger goes back at once. */
static void keep_memory(void)
{
    enum { KEPT_BYTES = 32 * 1024 * 1024 };

    /* NOLINTBEGIN(concurrency-mt-unsafe): no thread is there yet */
    (void)mallopt(M_MMAP_THRESHOLD, KEPT_BYTES);
    (void)mallopt(M_TRIM_THRESHOLD, KEPT_BYTES);
    /* NOLINTEND(concurrency-mt-unsafe) */
}

static bool start_single_sign_on(const struct config *config, struct openid **ret_openid,
                                 struct error *reterr)
{
    return config->openid.issuer[0] == '\0' ||
           (web_fetch_start(reterr) && openid_new(&config->openid, ret_openid, reterr));
}

static void stop_single_sign_on(struct openid *openid)
{
    if (openid != NULL) {
        openid_free(openid);
        web_fetch_stop();
    }
}

/* What the settings name and the server keeps: NULL where they name nothing. */
struct kept {
    struct openid *openid;
    struct sealing_key *key;
    struct document_signer *signer;
};

static void drop_kept(const struct kept *kept)
{
    stop_single_sign_on(kept->openid);
    sealing_key_free(kept->key);
    document_signer_free(kept->signer);
}

static void warn_of_end(const struct document_signer *signer)
{
    long days = document_signer_days_left(signer);
    if (days < SIGNING_WARNING_DAYS) {
        log_message(LOG_LEVEL_WARNING, "signing_certificate_ends",
                    "PENSTOCK_SIGNING_CERTIFICATE: %ld days are left; without a valid one nothing "
                    "can be signed",
                    days);
    }
}

static bool read_kept(const struct config *config, struct kept *kept, struct error *reterr)
{
    if (!start_single_sign_on(config, &kept->openid, reterr) ||
        (config->key_file[0] != '\0' && !sealing_key_read(config->key_file, &kept->key, reterr)) ||
        (config->signing_key != NULL &&
         !document_signer_read(config->signing_certificate, config->signing_key, &kept->signer,
                               reterr))) {
        drop_kept(kept);
        return false;
    }
    if (kept->signer != NULL) {
        warn_of_end(kept->signer);
    }
    return true;
}

int app_serve(const struct config *config)
{
    keep_memory();
    struct error error = {0};
    struct kept kept = {0};
    struct dispatch_options dispatch = {
        .settings = {.secure_cookies = config->secure_cookies,
                     .follow_cookies = config->follow_cookies,
                     .public_url = config->openid.public_url},
        .database = config->database,
    };
    struct http_server_options options = {
        .address = config->address,
        .port = config->port,
        .tls = {config->tls_certificate, config->tls_key, config->tls_client_ca},
        .trusted_proxies = config->trusted_proxies,
        .context = &dispatch,
        .workers = config->workers,
        .heavy_limit = config->workers / 2,
        .queue_limit = config->queue,
        .body_memory = (size_t)config->body_memory_mib * 1024 * 1024,
        .request_deadline_s = REQUEST_DEADLINE_S,
        .waiting_limit = WAITING_LIMIT,
        .waiting_limit_per_address = WAITING_LIMIT_PER_ADDRESS,
        .waiting_most_s = WAITING_MOST_S,
        .worker_start = dispatch_worker_start,
        .worker_stop = dispatch_worker_stop,
        .serve = dispatch_serve,
        .serve_inline = dispatch_serve_inline,
        .has_credential = dispatch_has_credential,
    };
    options.routes = routes_table(&options.route_count);
    if (!require_database(config->database, &error) || !canvas_check_fonts(&error) ||
        !read_kept(config, &kept, &error)) {
        return fail("cannot_start", &error);
    }
    dispatch.settings.openid = kept.openid;
    dispatch.settings.sealing_key = kept.key;
    dispatch.settings.document_signer = kept.signer;
    sigset_t signals;
    block_signals(&signals);
    struct http_server *server = NULL;
    if (!http_server_start(&options, &server, &error)) {
        drop_kept(&kept);
        return fail("cannot_start", &error);
    }
    printf("penstock-server listening on %s://%s:%u\n",
           config->tls_certificate == NULL ? "http" : "https", config->address,
           (unsigned)http_server_port(server));
    (void)fflush(stdout);
    wait_for_stop_signal(&signals, server);
    http_server_stop(server, STOP_PATIENCE_S);
    canvas_forget_fonts();
    drop_kept(&kept);
    log_message(LOG_LEVEL_INFO, "stopped", "every accepted request is answered");
    return 0;
}

int app_migrate(const struct config *config)
{
    struct error error = {0};
    int applied = 0;
    if (!require_database(config->owner_database, &error) ||
        !migrate_run(config->owner_database, &applied, &error)) {
        return fail("migrate_failed", &error);
    }
    printf("schema version %d (%d applied)\n", migrate_newest_version(), applied);
    return 0;
}

int app_service_file(const struct config *config)
{
    struct error error = {0};
    const char *text = NULL;
    struct arena *arena = arena_new();
    bool good = require_database(config->owner_database, &error) &&
                service_file_make(arena, config->owner_database, &text, &error);
    if (good) {
        (void)fputs(text, stdout);
    }
    arena_free(arena);
    return good ? 0 : fail("service_file_failed", &error);
}

int app_clinic_add(const struct config *config, const char *name)
{
    struct error error = {0};
    const char *id = NULL;
    if (!require_database(config->owner_database, &error)) {
        return fail("clinic_add_failed", &error);
    }
    struct arena *arena = arena_new();
    struct store *store = store_new(config->owner_database);
    bool created = clinic_create(store, arena, name, &id, &error);
    if (created) {
        printf("%s\n", id);
    }
    store_free(store);
    arena_free(arena);
    return created ? 0 : fail("clinic_add_failed", &error);
}
