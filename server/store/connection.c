#include "store/connection.h"

#include "base/clock.h"

#include <errno.h>
#include <math.h>
#include <poll.h>
#include <string.h>

/* Longer than the server's own statement_timeout, which does not end the wait for a standby. */
static const double EXCHANGE_DEADLINE_S = 45.0;

#define APP_ROLE "penstock_app"

/* A cancelled wait for the standby is reported as a success with a warning. The text may be
 * translated; the function that raises it is not. */
static void receive_notice(void *context, const PGresult *notice)
{
    struct store *store = context;
    const char *function = PQresultErrorField(notice, PG_DIAG_SOURCE_FUNCTION);
    if (function != NULL && strcmp(function, "SyncRepWaitForLSN") == 0) {
        store->unreplicated = true;
    }
}

void connection_close(struct store *store)
{
    PQfinish(store->connection);
    store->connection = NULL;
    store->prepared_count = 0;
    store->unheard = false;
}

/* ---- exchange ---- */

static bool send_command(PGconn *connection, const struct command *command)
{
    if (command->prepare != NULL) {
        return PQsendPrepare(connection, command->prepare->name, command->prepare->sql, 0, NULL) ==
               1;
    }
    const struct query *query = command->query;
    if (query != NULL) {
        return PQsendQueryPrepared(connection, query->statement->name, query->count, query->values,
                                   query->lengths, query->formats,
                                   query->statement->binary_result ? 1 : 0) == 1;
    }
    return PQsendQueryParams(connection, command->sql, 0, NULL, NULL, NULL, NULL, 0) == 1;
}

/* Waits until the next result is complete, sending what is still to be sent meanwhile. */
static enum exchange wait_for_result(PGconn *connection, double deadline_s)
{
    for (;;) {
        int unsent = PQflush(connection);
        if (unsent < 0) {
            return EXCHANGE_LOST;
        }
        if (unsent == 0 && PQisBusy(connection) == 0) {
            return EXCHANGE_DONE;
        }
        if (PQstatus(connection) != CONNECTION_OK) {
            return EXCHANGE_LOST;
        }
        double left_s = deadline_s - clock_monotonic_s();
        if (left_s <= 0) {
            return EXCHANGE_TIMEOUT;
        }
        struct pollfd descriptor = {.fd = PQsocket(connection),
                                    .events = (short)(unsent > 0 ? POLLIN | POLLOUT : POLLIN)};
        int ready = poll(&descriptor, 1, (int)ceil(left_s * 1000.0));
        if (ready < 0 && errno != EINTR) {
            return EXCHANGE_LOST;
        }
        if (ready > 0 && PQconsumeInput(connection) == 0) {
            return EXCHANGE_LOST;
        }
    }
}

/* The result of one command; the NULL that ends its results is consumed too. */
static enum exchange receive_result(PGconn *connection, double deadline_s, PGresult **ret_result)
{
    PGresult *first = NULL;
    for (;;) {
        enum exchange outcome = wait_for_result(connection, deadline_s);
        if (outcome != EXCHANGE_DONE) {
            PQclear(first);
            return outcome;
        }
        PGresult *result = PQgetResult(connection);
        if (result == NULL || PQresultStatus(result) == PGRES_PIPELINE_SYNC) {
            *ret_result = first != NULL ? first : result;
            return first != NULL || result != NULL ? EXCHANGE_DONE : EXCHANGE_LOST;
        }
        if (first == NULL) {
            first = result;
        } else {
            PQclear(result);
        }
    }
}

static enum exchange receive_sync(PGconn *connection, double deadline_s)
{
    PGresult *sync = NULL;
    enum exchange outcome = receive_result(connection, deadline_s, &sync);
    bool synchronised = PQresultStatus(sync) == PGRES_PIPELINE_SYNC;
    PQclear(sync);
    return outcome == EXCHANGE_DONE && !synchronised ? EXCHANGE_LOST : outcome;
}

/* Passes over what connection_send() has left behind. */
static enum exchange receive_unheard(struct store *store, double deadline_s)
{
    if (!store->unheard) {
        return EXCHANGE_DONE;
    }
    store->unheard = false;
    PGresult *result = NULL;
    enum exchange outcome = receive_result(store->connection, deadline_s, &result);
    PQclear(result);
    return outcome == EXCHANGE_DONE ? receive_sync(store->connection, deadline_s) : outcome;
}

static bool send_pipeline(PGconn *connection, const struct command *commands, size_t count)
{
    for (size_t i = 0; i < count; i++) {
        if (!send_command(connection, &commands[i])) {
            return false;
        }
    }
    return PQpipelineSync(connection) == 1;
}

static enum exchange run_pipeline(struct store *store, struct command *commands, size_t count)
{
    double deadline_s = clock_monotonic_s() + EXCHANGE_DEADLINE_S;
    if (!send_pipeline(store->connection, commands, count)) {
        return EXCHANGE_LOST;
    }
    enum exchange outcome = receive_unheard(store, deadline_s);
    for (size_t i = 0; outcome == EXCHANGE_DONE && i < count; i++) {
        outcome = receive_result(store->connection, deadline_s, &commands[i].result);
    }
    return outcome == EXCHANGE_DONE ? receive_sync(store->connection, deadline_s) : outcome;
}

enum exchange connection_exchange(struct store *store, struct command *commands, size_t count)
{
    for (size_t i = 0; i < count; i++) {
        commands[i].result = NULL;
    }
    enum exchange outcome = run_pipeline(store, commands, count);
    if (outcome != EXCHANGE_DONE || PQstatus(store->connection) != CONNECTION_OK) {
        connection_close(store);
        return outcome == EXCHANGE_DONE ? EXCHANGE_LOST : outcome;
    }
    return EXCHANGE_DONE;
}

void connection_send(struct store *store, const char *sql)
{
    const struct command command = {.sql = sql};
    if (!send_pipeline(store->connection, &command, 1) || PQflush(store->connection) < 0) {
        connection_close(store);
        return;
    }
    store->unheard = true;
}

bool connection_succeeded(const PGresult *result)
{
    ExecStatusType status = PQresultStatus(result);
    return status == PGRES_COMMAND_OK || status == PGRES_TUPLES_OK;
}

/* ---- failures ---- */

enum failure_action { FAILURE_KEEP, FAILURE_RETRY, FAILURE_RECONNECT };

/* Rows are tried in order: the most specific SQLSTATE first, then its class. */
static const struct failure_rule {
    const char *prefix;
    enum error_kind kind;
    enum failure_action action;
    bool show_message; /* the server's message cannot hold a value of a row */
} failure_rules[] = {
    {"PS001", ERROR_CONFLICT, FAILURE_KEEP, false},
    {"PS003", ERROR_CONFLICT, FAILURE_KEEP, false},
    {"25006", ERROR_UNAVAILABLE, FAILURE_RECONNECT, true}, /* connected to a standby */
    {"26000", ERROR_UNAVAILABLE, FAILURE_RECONNECT, true}, /* prepared statement lost */
    {"40", ERROR_UNAVAILABLE, FAILURE_RETRY, false},       /* serialisation, deadlock */
    {"57014", ERROR_UNAVAILABLE, FAILURE_KEEP, true},      /* cancelled, statement timeout */
    {"57", ERROR_UNAVAILABLE, FAILURE_RECONNECT, true},    /* server shutting down, starting */
    {"08", ERROR_UNAVAILABLE, FAILURE_RECONNECT, true},
    {"25P03", ERROR_UNAVAILABLE, FAILURE_RECONNECT, true}, /* idle in transaction too long */
    {"55P03", ERROR_UNAVAILABLE, FAILURE_KEEP, false},     /* lock timeout */
    {"53", ERROR_UNAVAILABLE, FAILURE_KEEP, true},         /* out of memory, disk, connections */
    {"58", ERROR_UNAVAILABLE, FAILURE_KEEP, true},         /* input or output error */
    {"23505", ERROR_CONFLICT, FAILURE_KEEP, false},
    {"22", ERROR_INVALID, FAILURE_KEEP, false},
    {"23", ERROR_INVALID, FAILURE_KEEP, false},
    {"42", ERROR_INTERNAL, FAILURE_KEEP, true}, /* syntax or rights: names of the schema only */
    {"", ERROR_INTERNAL, FAILURE_KEEP, false},
};

static const struct failure_rule *rule_for(const char *state)
{
    const struct failure_rule *rule = failure_rules;
    while (strncmp(state, rule->prefix, strlen(rule->prefix)) != 0) {
        rule++;
    }
    return rule;
}

static const char *field_or(const PGresult *result, int field, const char *otherwise)
{
    const char *text = PQresultErrorField(result, field);
    return text != NULL ? text : otherwise;
}

static const char *command_name(const struct command *command)
{
    if (command->query != NULL) {
        return command->query->statement->name;
    }
    return command->prepare != NULL ? command->prepare->name : "session";
}

static bool result_failure(struct store *store, const struct command *command, struct error *reterr)
{
    const PGresult *result = command->result;
    const char *state = field_or(result, PG_DIAG_SQLSTATE, "");
    const struct failure_rule *rule = rule_for(state);
    if (strcmp(state, "PS001") == 0) {
        error_set(reterr, rule->kind, "signed");
    } else if (strcmp(state, "25006") == 0 && store->reading &&
               store->transaction == TRANSACTION_OPEN) {
        return error_set(reterr, ERROR_INTERNAL, "%s: a change in a transaction that only reads",
                         command_name(command));
    } else {
        error_set(reterr, rule->kind, "%s: SQLSTATE %s%s%s%s%s", command_name(command), state,
                  rule->show_message ? ", " : "",
                  rule->show_message ? field_or(result, PG_DIAG_MESSAGE_PRIMARY, "") : "",
                  PQresultErrorField(result, PG_DIAG_CONSTRAINT_NAME) != NULL ? ", constraint "
                                                                              : "",
                  field_or(result, PG_DIAG_CONSTRAINT_NAME, ""));
    }
    if (rule->action != FAILURE_KEEP) {
        store->may_retry = true;
    }
    if (rule->action == FAILURE_RECONNECT) {
        connection_close(store);
    }
    return false;
}

bool connection_failure(struct store *store, enum exchange exchange, const struct command *commands,
                        size_t count, struct error *reterr)
{
    /* A server that shuts down says so before it closes: that message is the better one. */
    for (size_t i = 0; i < count; i++) {
        if (commands[i].result != NULL && !connection_succeeded(commands[i].result)) {
            return result_failure(store, &commands[i], reterr);
        }
    }
    if (exchange == EXCHANGE_TIMEOUT) {
        return error_set(reterr, ERROR_UNAVAILABLE, "the database did not answer in time");
    }
    store->may_retry = true;
    return error_set(reterr, ERROR_UNAVAILABLE, "the connection to the database was lost");
}

/* ---- opening ---- */

static const char session_sql[] =
    "select pg_catalog.set_config('search_path', 'pg_catalog, pg_temp', false),"
    " pg_catalog.set_config('synchronous_commit', 'on', false),"
    " pg_catalog.set_config('statement_timeout', '30s', false),"
    " pg_catalog.set_config('lock_timeout', '5s', false),"
    " pg_catalog.set_config('idle_in_transaction_session_timeout', '60s', false),"
    " pg_catalog.set_config('default_transaction_isolation', 'read committed', false),"
    " pg_catalog.set_config('TimeZone', 'UTC', false),"
    " pg_catalog.set_config('DateStyle', 'ISO, YMD', false),"
    " pg_catalog.set_config('extra_float_digits', '1', false)";

/* One row: is the schema there; may it be used; could this role harm it or see through row-level
 * security. */
static const char rights_sql[] =
    "select n.oid is not null,"
    " coalesce(pg_catalog.has_schema_privilege(current_user, n.oid, 'USAGE'), false),"
    " r.rolsuper or r.rolbypassrls"
    " or coalesce(pg_catalog.has_schema_privilege(current_user, n.oid, 'CREATE'), false)"
    " or coalesce(pg_catalog.pg_has_role(current_user, n.nspowner, 'MEMBER'), false)"
    " or pg_catalog.has_database_privilege(current_user, pg_catalog.current_database(), 'CREATE')"
    " from pg_catalog.pg_roles r"
    " left join pg_catalog.pg_namespace n on n.nspname = 'penstock'"
    " where r.rolname = current_user";

struct rights {
    bool schema_exists;
    bool usable;
    bool harmful;
};

/* Runs `first`, then looks at the rights. */
static bool run_and_look(struct store *store, const char *first, struct rights *ret_rights,
                         struct error *reterr)
{
    struct command commands[] = {{.sql = first}, {.sql = rights_sql}};
    enum exchange exchange = connection_exchange(store, commands, 2);
    const PGresult *row = commands[1].result;
    bool good = exchange == EXCHANGE_DONE && connection_succeeded(commands[0].result) &&
                connection_succeeded(row) && PQntuples(row) == 1;
    if (good) {
        *ret_rights = (struct rights){
            .schema_exists = PQgetvalue(row, 0, 0)[0] == 't',
            .usable = PQgetvalue(row, 0, 1)[0] == 't',
            .harmful = PQgetvalue(row, 0, 2)[0] == 't',
        };
    } else {
        connection_failure(store, exchange, commands, 2, reterr);
    }
    PQclear(commands[0].result);
    PQclear(commands[1].result);
    return good;
}

static bool set_up_session(struct store *store, struct error *reterr)
{
    struct rights rights;
    if (!run_and_look(store, session_sql, &rights, reterr)) {
        return error_context(reterr, "set up the session");
    }
    if (!rights.schema_exists) {
        return error_set(reterr, ERROR_UNAVAILABLE,
                         "the database has no schema penstock: run the migrations first");
    }
    if (!rights.harmful && rights.usable) {
        return true;
    }
    if (!run_and_look(store, "set role " APP_ROLE, &rights, reterr)) {
        enum error_kind kind = reterr->kind;
        reterr->kind = kind == ERROR_UNAVAILABLE ? kind : ERROR_INTERNAL;
        return error_context(reterr, "become " APP_ROLE);
    }
    if (rights.harmful) {
        return error_set(reterr, ERROR_INTERNAL,
                         "role " APP_ROLE " can change the schema or bypass row-level security: "
                         "take these rights away from it");
    }
    return true;
}

static bool connect_to(struct store *store, struct error *reterr)
{
    /* What stands before "dbname" can be overridden by the connection string, what follows not. */
    static const char *const keywords[] = {"connect_timeout", "application_name", "dbname",
                                           "client_encoding", NULL};
    const char *const values[] = {"5", "penstock", store->conninfo, "UTF8", NULL};
    store->connection = PQconnectdbParams(keywords, values, 1);
    if (PQstatus(store->connection) != CONNECTION_OK) {
        const char *message =
            store->connection != NULL ? PQerrorMessage(store->connection) : "out of memory";
        return error_set(reterr, ERROR_UNAVAILABLE, "connect to the database: %.*s",
                         (int)strcspn(message, "\n"), message);
    }
    PQsetNoticeReceiver(store->connection, receive_notice, store);
    if (PQsetnonblocking(store->connection, 1) != 0 ||
        PQenterPipelineMode(store->connection) != 1) {
        return error_set(reterr, ERROR_INTERNAL, "cannot use the connection in pipeline mode");
    }
    return set_up_session(store, reterr);
}

bool connection_open(struct store *store, struct error *reterr)
{
    if (store->connection != NULL) {
        return true;
    }
    store->unreplicated = false;
    if (!connect_to(store, reterr)) {
        connection_close(store);
        return false;
    }
    return true;
}
