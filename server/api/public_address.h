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

enum { API_SHORT_ID_SIZE = 9 };

/* The end of an id, by which people tell papers apart: of a UUID of version 7 the beginning is only
 * the time. */
void api_short_id(const char *id, char ret_short[API_SHORT_ID_SIZE]);

#endif
