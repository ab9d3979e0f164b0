/* The table of routes: method, path, handler, roles, limits. */
#ifndef API_ROUTES_H
#define API_ROUTES_H

#include "http/http.h"

#include <stddef.h>

/* The table; the transport and the OpenAPI test walk it. */
const struct http_route *routes_table(size_t *ret_count);

/* Prints one line a route: method, path, roles. */
void routes_print(void);

#endif
