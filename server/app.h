/* The commands of the program. Each returns the process's exit status. */
#ifndef SERVER_APP_H
#define SERVER_APP_H

#include "config.h"

/* Listens and serves until SIGTERM or SIGINT, then finishes what was accepted. */
int app_serve(const struct config *config);

/* Brings the database's schema up to date. */
int app_migrate(const struct config *config);

/* Adds a clinic and prints its id. */
int app_clinic_add(const struct config *config, const char *name);

/* Adds an account with comma-separated roles and prints its id; the password is the first line of
 * standard input, never an argument that other processes could read. */
int app_account_add(const struct config *config, const char *clinic_id, const char *username,
                    const char *roles);

/* Makes the documents of an older analysis anew, except those of signed or cancelled studies.
 * clinic_id  NULL: of every clinic */
int app_recompute(const struct config *config, const char *clinic_id, bool dry_run);

#endif
