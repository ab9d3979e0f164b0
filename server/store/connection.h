/* Inside store/ only: the connection of a store, its session settings and its exchanges. */
#ifndef STORE_CONNECTION_H
#define STORE_CONNECTION_H

#include "base/error.h"
#include "base/uuid.h"
#include "formats/sample_block.h"
#include "store/query.h"
#include "store/store.h"

#include <libpq-fe.h>

enum transaction_state {
    TRANSACTION_NONE,
    TRANSACTION_WANTED, /* store_begin() was called, nothing sent yet */
    TRANSACTION_OPEN
};

enum { STATEMENTS_MAX = 256 };

struct store {
    char *conninfo;
    struct sample_codec *codec;
    PGconn *connection; /* NULL: not connected */
    enum transaction_state transaction;
    char clinic_id[UUID_TEXT_SIZE];
    char actor_id[UUID_TEXT_SIZE]; /* "" when there is none */
    unsigned reach;                /* bits of enum store_reach */
    bool reading;                  /* the transaction may only read */
    bool plans_once;               /* a query of it has asked for statement.plan_once */
    bool may_retry;
    bool unheard;      /* the result of connection_send() has not been read yet */
    bool unreplicated; /* a commit was not confirmed by the standby that it has to wait for */
    size_t prepared_count;
    const struct statement *prepared[STATEMENTS_MAX]; /* on this connection */
};

/* What is sent and how it is answered. */
struct command {
    const char *sql;                 /* or NULL: `prepare` or `query` */
    const struct statement *prepare; /* or NULL */
    const struct query *query;       /* or NULL */
    PGresult *result;                /* set by connection_exchange(); NULL when not reached */
};

/* Connects unless connected: sets up the session and gives up the login's privileges, and refuses
 * to work with a role that could change the schema or bypass row-level security. */
MUST_CHECK bool connection_open(struct store *store, struct error *reterr);

void connection_close(struct store *store);

/* How an exchange ended. */
enum exchange {
    EXCHANGE_DONE,   /* everything was answered; a result may be an error */
    EXCHANGE_LOST,   /* the connection broke and is closed */
    EXCHANGE_TIMEOUT /* no answer within the deadline; the connection is closed */
};

/* Sends all commands in one pipeline and collects their results, which are the caller's to
 * PQclear(). */
enum exchange connection_exchange(struct store *store, struct command *commands, size_t count);

/* Sends a command of which nobody wants the result: the next exchange passes over it. */
void connection_send(struct store *store, const char *sql);

/* Whether a result is that of a command that succeeded. */
bool connection_succeeded(const PGresult *result);

/* Turns the failure of an exchange, or the first failed result in it, into an error without any
 * value of a row; closes the connection when it is of no more use. Returns false. */
bool connection_failure(struct store *store, enum exchange exchange, const struct command *commands,
                        size_t count, struct error *reterr);

#endif
