/* The audit: entries of who did what, which are added and read and nothing else.
 *
 * The table and its chains of hashes: schema/0009_audit.sql; their check: store_audit_verify.h. */
#ifndef STORE_STORE_AUDIT_H
#define STORE_STORE_AUDIT_H

#include "store/store.h"

#include <stddef.h>
#include <stdint.h>

/* Actor of what the program does by itself. */
#define AUDIT_PROGRAM_ID "00000000-0000-0000-0000-000000000000"

/* Texts are never NULL unless it is said. */
struct new_audit_entry {
    const char *clinic_id; /* NULL: the clinic and the actor are found by the credential */
    const char *actor_id;  /* may be NULL */
    const char *actor_name;
    const char *actor_kind; /* "person", "token", "program", "nobody" */
    unsigned actor_roles;   /* bits of enum role */
    const char *address;
    const char *request_id;
    const char *action;
    const char *resource;
    const char *what;
    const char *object_type; /* "patients" as in the path, or NULL; of patients, studies and
                                recordings the database finds whose they are */
    const char *object_id;   /* or NULL */
    const char *patient_ids; /* separated by commas; repetitions do no harm */
    int status;              /* HTTP status, or 0 */
    const char *reason;
    const char *detail;
    const char *credential_kind; /* "username", "session", "token", or NULL */
    const char *credential;      /* the username, or the secret's hash in hexadecimal */
    bool keep_unknown; /* also of a credential that is nobody's: an entry of no clinic; else none */
};

/* Adds an entry: to the open transaction, with which it stands or falls, or else by itself, durable
 * when this returns. Outside a transaction it may be added twice when a connection is lost. */
MUST_CHECK bool audit_append(struct store *store, struct arena *arena,
                             const struct new_audit_entry *entry, struct error *reterr);

/* ---- inside store_begin() ---- */

struct audit_row {
    int lane;
    int64_t number;
    int64_t at_us;
    const char *actor_id; /* NULL: nobody known */
    const char *actor_name;
    const char *actor_kind;
    unsigned actor_roles;
    const char *address;
    const char *request_id;
    const char *action;
    const char *resource;
    const char *what;
    const char *object_type; /* or NULL */
    const char *object_id;   /* or NULL */
    const char **patient_ids;
    size_t patient_count;
    bool emergency;
    int status;
    const char *outcome;
    const char *reason;
    const char *detail;
    const char *hash; /* hexadecimal: see penstock-server audit verify */
};

/* NULL, 0 and false leave a filter out. */
struct audit_filter {
    const char *patient_id;
    const char *actor_id;
    const char *resource;
    const char *action;
    const char *outcome;
    int64_t from_us; /* at or after */
    int64_t to_us;   /* before */
    bool emergency;  /* only such */
};

/* A page of the clinic's entries, the newest first. */
MUST_CHECK bool audit_list(struct store *store, struct arena *arena,
                           const struct audit_filter *filter, const struct store_page *page,
                           struct audit_row **ret_items, size_t *ret_count,
                           const char **ret_next_cursor, struct error *reterr);

/* What one actor did with a patient's data on one day (UTC). */
struct audit_day {
    const char *day; /* YYYY-MM-DD */
    const char *actor_id;
    const char *actor_name;
    const char *actor_kind;
    unsigned actor_roles;   /* of all that day */
    const char **addresses; /* in order */
    size_t address_count;
    const char **kinds; /* "read studies", in order; of what was done */
    size_t kind_count;
    int done;
    int refused; /* or failed */
    int64_t first_us;
    int64_t last_us;
    bool emergency;
};

/* A page of who has looked at a patient's data or changed them, the newest day first. */
MUST_CHECK bool audit_days(struct store *store, struct arena *arena, const char *patient_id,
                           const struct store_page *page, struct audit_day **ret_items,
                           size_t *ret_count, const char **ret_next_cursor, struct error *reterr);

/* The patient with a record number, or with an id (the other is NULL), whatever the transaction's
 * reach is; by id also one of whom there are only entries left. ERROR_NOT_FOUND. */
MUST_CHECK bool audit_find_patient(struct store *store, struct arena *arena, const char *mrn,
                                   const char *id, const char **ret_id, struct error *reterr);

#endif
