/* Finds the row of the table that a request is for. */
#ifndef HTTP_ROUTER_H
#define HTTP_ROUTER_H

#include "http/http.h"
#include "http/target.h"

#include <stdbool.h>
#include <stddef.h>

struct route_match {
    const struct http_route *route; /* NULL: the path is unknown or does not take this method */
    const char *parameters[HTTP_PATH_PARAMETERS_MAX];
    unsigned methods; /* bits 1 << enum http_method of what the path takes; 0: unknown path */
};

/* Where several patterns match, the one with the earliest literal segment wins, so that
 * "/v1/sessions/current" goes before "/v1/sessions/{id}". HEAD finds the row of GET. */
void router_find(const struct http_route *routes, size_t count, enum http_method method,
                 const struct target *target, struct route_match *ret_match);

/* Whether the first segment is that of an HTTP_ROUTE_SECRET_PATH, so that no answer may repeat the
 * path: below it, also where nothing is served, stands a secret with a slip in it. `target` may be
 * one of which target_parse() could read no more than that segment. */
bool router_hides_path(const struct http_route *routes, size_t count, const struct target *target);

/* Method by its name, which is case-sensitive; false for one that no path takes. */
MUST_CHECK bool router_method(const char *name, enum http_method *ret_method);
const char *router_method_name(enum http_method method);

/* The value of an Allow field: "GET, HEAD, OPTIONS" for the bits of GET. */
const char *router_allow(struct arena *arena, unsigned methods);

/* False with the reason when a row of the table cannot be served as it stands. */
MUST_CHECK bool router_check(const struct http_route *routes, size_t count, struct error *reterr);

#endif
