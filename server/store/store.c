#include "store/store.h"

#include "base/uuid.h"
#include "store/connection.h"
#include "store/migrate.h"

#include <assert.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

struct store *store_new(const char *conninfo)
{
    struct store *store = calloc(1, sizeof *store);
    char *copy = strdup(conninfo);
    struct sample_codec *codec = sample_codec_new();
    if (store == NULL || copy == NULL || codec == NULL) {
        fputs("out of memory\n", stderr);
        abort();
    }
    store->conninfo = copy;
    store->codec = codec;
    return store;
}

void store_free(struct store *store)
{
    if (store == NULL) {
        return;
    }
    connection_close(store);
    sample_codec_free(store->codec);
    free(store->conninfo);
    free(store);
}

bool store_may_retry(const struct store *store)
{
    return store->may_retry;
}

bool store_ready(struct store *store, struct error *reterr)
{
    struct command command = {
        .sql = "select coalesce(max(version), 0) from penstock.schema_migration"};
    bool was_connected = store->connection != NULL;
    enum exchange exchange = EXCHANGE_LOST;
    if (store->transaction == TRANSACTION_OPEN) {
        return error_set(reterr, ERROR_INTERNAL, "a transaction is open");
    }
    for (int attempt = 0; attempt < (was_connected ? 2 : 1) && exchange == EXCHANGE_LOST;
         attempt++) {
        /* What the lost connection said last. */
        PQclear(command.result);
        command.result = NULL;
        if (!connection_open(store, reterr)) {
            return false;
        }
        exchange = connection_exchange(store, &command, 1);
    }
    if (exchange != EXCHANGE_DONE || !connection_succeeded(command.result)) {
        connection_failure(store, exchange, &command, 1, reterr);
        PQclear(command.result);
        return false;
    }
    long version = strtol(PQgetvalue(command.result, 0, 0), NULL, 10);
    PQclear(command.result);
    if (version != migrate_newest_version()) {
        return error_set(reterr, ERROR_UNAVAILABLE, "the schema has version %ld, not %d: %s",
                         version, migrate_newest_version(),
                         version < migrate_newest_version() ? "run the migrations"
                                                            : "this program is too old");
    }
    return true;
}

static bool begin(struct store *store, const char *clinic_id, const char *actor_id, bool reading,
                  struct error *reterr)
{
    if (store->transaction != TRANSACTION_NONE) {
        return error_set(reterr, ERROR_INTERNAL, "a transaction is open already");
    }
    if (!uuid_is_valid(clinic_id) || (actor_id != NULL && !uuid_is_valid(actor_id))) {
        return error_set(reterr, ERROR_INTERNAL, "a transaction needs the ids of clinic and actor");
    }
    memcpy(store->clinic_id, clinic_id, sizeof store->clinic_id);
    store->actor_id[0] = '\0';
    if (actor_id != NULL) {
        memcpy(store->actor_id, actor_id, sizeof store->actor_id);
    }
    store->may_retry = false;
    store->reach = STORE_REACH_CLINIC;
    store->reading = reading;
    store->plans_once = false;
    store->transaction = TRANSACTION_WANTED;
    return true;
}

bool store_begin(struct store *store, const char *clinic_id, const char *actor_id,
                 struct error *reterr)
{
    return begin(store, clinic_id, actor_id, false, reterr);
}

bool store_begin_reading(struct store *store, const char *clinic_id, const char *actor_id,
                         struct error *reterr)
{
    return begin(store, clinic_id, actor_id, true, reterr);
}

void store_narrow(struct store *store, unsigned reach)
{
    assert(store->transaction == TRANSACTION_WANTED);
    store->reach = reach;
}

void store_end_reading(struct store *store)
{
    assert(store->transaction == TRANSACTION_NONE || store->reading);
    if (store->transaction == TRANSACTION_OPEN && store->connection != NULL) {
        connection_send(store, "rollback");
    }
    store->transaction = TRANSACTION_NONE;
}

/* Sends what ends a transaction. */
static enum exchange end_transaction(struct store *store, struct command *command)
{
    store->transaction = TRANSACTION_NONE;
    store->unreplicated = false;
    return connection_exchange(store, command, 1);
}

bool store_commit(struct store *store, struct error *reterr)
{
    enum transaction_state before = store->transaction;
    if (before == TRANSACTION_WANTED) { /* nothing was done in it */
        store->transaction = TRANSACTION_NONE;
        return true;
    }
    if (before == TRANSACTION_NONE) {
        return error_set(reterr, ERROR_INTERNAL, "no transaction to commit");
    }
    if (store->connection == NULL) { /* lost before: surely not committed */
        store->transaction = TRANSACTION_NONE;
        return error_set(reterr, ERROR_UNAVAILABLE, "the transaction was lost with its connection");
    }

    struct command command = {.sql = "commit"};
    enum exchange exchange = end_transaction(store, &command);
    bool good = exchange == EXCHANGE_DONE && connection_succeeded(command.result);
    if (!good) {
        connection_failure(store, exchange, &command, 1, reterr);
        if (store->connection == NULL) {
            store->may_retry = false;
            error_set(reterr, ERROR_UNAVAILABLE,
                      "whether the transaction was committed is unknown");
        }
    } else if (strcmp(PQcmdStatus(command.result), "COMMIT") != 0) {
        /* COMMIT of a failed transaction rolls back, and reports success. */
        good = error_set(reterr, ERROR_INTERNAL, "the transaction had failed and was rolled back");
    } else if (store->unreplicated) {
        store->unreplicated = false;
        good = error_set(reterr, ERROR_UNAVAILABLE,
                         "committed here, but the standby has not confirmed it");
    }
    PQclear(command.result);
    return good;
}

void store_rollback(struct store *store)
{
    if (store->transaction == TRANSACTION_OPEN && store->connection != NULL) {
        struct command command = {.sql = "rollback"};
        if (end_transaction(store, &command) == EXCHANGE_DONE &&
            !connection_succeeded(command.result)) {
            connection_close(store);
        }
        PQclear(command.result);
    }
    store->transaction = TRANSACTION_NONE;
}
