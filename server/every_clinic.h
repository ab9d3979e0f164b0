/* Work on recordings, clinic by clinic, one transaction a recording, while servers run. */
#ifndef SERVER_EVERY_CLINIC_H
#define SERVER_EVERY_CLINIC_H

#include "config.h"
#include "store/store.h"

#include <stddef.h>

struct work_item {
    const char *id; /* of a recording */
    int version;    /* what it is when it is listed, for finding out that it changed since */
};

/* A kind of work. Its functions are called with the job's context. */
struct clinic_job {
    void *context;
    const char *failed;      /* event of the log when a clinic or all of them cannot be worked on */
    const char *item_failed; /* event of the log when one recording cannot */
    const char *command;     /* as the audit names it */
    const char *audit_action; /* what it does to a recording there */
    bool dry_run;             /* list, and count as done */

    /* At most `limit` recordings that are to be worked on, by id, behind `after` (NULL: from the
     * first), within a transaction of the clinic. */
    bool (*list)(void *context, struct store *store, struct arena *arena, const char *after,
                 int limit, struct work_item **ret_items, size_t *ret_count, struct error *reterr);

    /* Works on one, within a transaction of the clinic that is committed behind it. ERROR_STALE:
     * changed since, to be tried again; ERROR_CONFLICT: there is nothing to do any more. */
    bool (*take)(void *context, struct store *store, struct arena *arena,
                 const struct work_item *item, struct error *reterr);

    /* One recording is done and committed; NULL: nothing to say. */
    void (*taken)(void *context, const char *clinic_id, const struct work_item *item);

    /* A clinic is done. */
    void (*report)(void *context, const char *clinic_id, int done, int failed);
};

/* Does the job for every clinic, or for the one named, and logs what fails. Recordings that
 * somebody changed meanwhile, or that could not be locked, are tried again after the others.
 * clinic_id  NULL: every one, for which PENSTOCK_OWNER_DATABASE has to be the owner's
 * Returns the process's exit status: 0 when everything is done. */
int every_clinic(const struct config *config, const char *clinic_id, const struct clinic_job *job);

#endif
