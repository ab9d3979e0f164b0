/* Connections whose answer was given before their body was read. Closed at once, the peer's system
 * would throw the answer away together with the connection (RFC 9112, section 9.6); so what still
 * comes is read and dropped for a while first. */
#ifndef HTTP_DRAINER_H
#define HTTP_DRAINER_H

#include "base/compiler.h"
#include "base/error.h"

#include <stdbool.h>

struct drainer;

/* Starts the thread that reads and drops. */
MUST_CHECK bool drainer_new(struct drainer **ret_drainer, struct error *reterr);

/* Closes what is left and ends the thread. NULL is allowed. */
void drainer_free(struct drainer *drainer);

/* Takes a socket whose sending side is shut down, and closes it when the peer does, after a few
 * seconds, or after more bytes than any honest body has. */
void drainer_take(struct drainer *drainer, int socket);

#endif
