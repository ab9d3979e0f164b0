/* A connection string as an entry of a libpq service file. */
#ifndef STORE_SERVICE_FILE_H
#define STORE_SERVICE_FILE_H

#include "base/arena.h"
#include "base/error.h"

/* The section "penstock" with everything that `conninfo` says, in either of libpq's forms; it may
 * hold a password. ERROR_INVALID: no connection string, or one that such a file cannot hold. */
MUST_CHECK bool service_file_make(struct arena *arena, const char *conninfo, const char **ret_text,
                                  struct error *reterr);

#endif
