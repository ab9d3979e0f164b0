/* Addresses of this server that leave it: on paper, in letters, in what is sent on. */
#ifndef API_PUBLIC_ADDRESS_H
#define API_PUBLIC_ADDRESS_H

#include "api/api.h"

/* The address of a path ("/r/..."): below PENSTOCK_PUBLIC_URL, else below the host that the client
 * asked. NULL when neither is known. */
const char *api_public_address(const struct api_context *context,
                               const struct http_request *request, const char *path);

/* The same, but NULL when PENSTOCK_PUBLIC_URL is not set. */
const char *api_configured_address(const struct api_context *context, struct arena *arena,
                                   const char *path);

/* What the code on a study's papers holds: "/r/<study id>" below PENSTOCK_PUBLIC_URL. NULL when
 * that is not set: what one client calls this server has no place in a document that is kept. */
const char *api_study_code(const struct api_context *context, struct arena *arena,
                           const char *study_id);

/* The end of an id, by which people tell papers apart: of a UUID of version 7 the beginning is only
 * the time. */
const char *api_short_id(struct arena *arena, const char *id);

#endif
