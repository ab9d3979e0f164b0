/* Forward migrations: the numbered SQL files of schema/, embedded in the program. */
#ifndef STORE_MIGRATE_H
#define STORE_MIGRATE_H

#include "base/error.h"

#include <stdbool.h>

/* Version of the newest migration embedded. */
int migrate_newest_version(void);

/* Applies what is missing, each in a transaction of its own, under an advisory lock, so that any
 * number of servers may start at once. Refuses when an applied migration's text differs from the
 * embedded one (its SHA-256 is kept) or when the database is newer than the program.
 *
 * conninfo     of a role that may create schema and roles (the owner), never the server's own
 * ret_applied  how many were applied */
MUST_CHECK bool migrate_run(const char *conninfo, int *ret_applied, struct error *reterr);

#endif
