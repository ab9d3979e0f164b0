/* The one place that lets libmicrohttpd run. Private to http/. */
#ifndef HTTP_DAEMON_H
#define HTTP_DAEMON_H

#include "http/exchange.h"

/* Listens, and serves on an event thread from here on. Sweeper and pool must be there already. */
MUST_CHECK bool daemon_start(struct http_server *server, struct error *reterr);

/* The exchange, with its answer, belongs to the event thread again; the caller must not touch it
 * afterwards. Exactly once for each job that the pool got. */
void daemon_resume(struct exchange *exchange);

/* Accepts no more connections. Returns the listening socket, for daemon_stop(). */
int daemon_quiesce(struct http_server *server);

/* Closes all connections, of which none may be suspended, and then the listening socket. */
void daemon_stop(struct http_server *server, int listener);

#endif
