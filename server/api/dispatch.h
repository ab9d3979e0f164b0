/* Between the transport and the handlers: who is it, may they, transaction, repeated requests. */
#ifndef API_DISPATCH_H
#define API_DISPATCH_H

#include "api/api.h"

/* What the workers of an http_server share; lives as long as it. */
struct dispatch_options {
    struct api_settings settings;
    const char *database; /* libpq connection string of the server's role */
};

/* Whether a request was made by this server's own pages. A browser adds the cookie to requests that
 * other sites cause; Sec-Fetch-Site and Origin tell where a request came from and cannot be set by
 * a page's script. A page that came without TLS may be anyone's, so that it counts for no request
 * that comes with it. */
bool dispatch_comes_from_own_pages(const struct http_request *request);

/* Callbacks of struct http_server_options; `context` is a struct dispatch_options. */
void *dispatch_worker_start(void *context);
void dispatch_worker_stop(void *worker);
void dispatch_serve(void *worker, struct http_request *request, struct http_response *response);
void dispatch_serve_inline(void *context, struct http_request *request,
                           struct http_response *response);
bool dispatch_has_credential(const struct http_request *request);

#endif
