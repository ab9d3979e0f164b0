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

/* Makes a clinic's first administrator and prints its id. Refuses when the clinic has an active
 * one. The password is the first line of standard input, never an argument that other processes
 * could read. */
int app_administrator_first(const struct config *config, const char *clinic_id,
                            const char *username);

/* Lets an active administrator who is locked out in again: with a new password (from standard
 * input, as above), without second factor; their sessions end. */
int app_administrator_recover(const struct config *config, const char *clinic_id,
                              const char *username);

/* Makes the documents of an older analysis anew, except those of signed or cancelled studies.
 * clinic_id  NULL: of every clinic */
int app_recompute(const struct config *config, const char *clinic_id, bool dry_run);

/* Withdraws recordings that have been kept as long as their clinic decided.
 * clinic_id  NULL: of every clinic */
int app_retention(const struct config *config, const char *clinic_id, bool dry_run);

/* Erases every patient whose approved erasure is due and not held; says what was skipped and why.
 * Needs the owner's connection.
 * clinic_id  NULL: of every clinic */
int app_erase(const struct config *config, const char *clinic_id, bool dry_run);

/* Prints who was erased: a line each of clinic, patient, request and time, and a last one of
 * counts. */
int app_erase_list(const struct config *config, const char *clinic_id);

/* Erases in a restored copy whoever is on such a list and came back with it, without asking for a
 * request. Whoever is on hold there, or newer than the erasure, is named and stays: exit code 1.
 * file  "-": standard input */
int app_erase_again(const struct config *config, const char *file);

/* Reads every recording, says on stderr what is damaged, and writes a checksum of each, in order of
 * clinic and id, and a last line of counts, without which the list is not whole. 0: all is well;
 * 1: something is damaged; 2: not everything could be read.
 * clinic_id  NULL: of every clinic
 * file       where to; NULL: standard output
 * snapshot   an exported snapshot of the database to read, or NULL */
int app_verify(const struct config *config, const char *clinic_id, const char *file,
               const char *snapshot);

/* Reads every entry of the audit, says on stderr which one was changed, removed, added or moved,
 * and writes the last entry of each chain, a line each, and a last line of counts. 0: all is well;
 * 1: something is damaged; 2: not everything could be read. Asks the owner's database.
 * clinic_id  NULL: every clinic, and the entries of none
 * heads      a list that an earlier run wrote, which must still be part of the chains ("-":
 * standard input); or NULL snapshot   an exported snapshot of the database to read, or NULL */
int app_audit_verify(const struct config *config, const char *clinic_id, const char *heads,
                     const char *snapshot);

/* Prints the owner's connection as section "penstock" of a libpq service file, so that PostgreSQL's
 * own programs use it without a password on their command line. */
int app_service_file(const struct config *config);

#endif
