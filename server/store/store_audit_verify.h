/* Reads every entry of the audit in order, computes the hashes anew, and says which entry was
 * changed, removed, added or moved. */
#ifndef STORE_STORE_AUDIT_VERIFY_H
#define STORE_STORE_AUDIT_VERIFY_H

#include "base/error.h"
#include "base/uuid.h"

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

enum { AUDIT_LANES = 16, AUDIT_HASH_BYTES = 32 };

/* The last entry of a lane. Kept elsewhere, it shows later that nothing up to it was made anew. */
struct audit_head {
    char clinic_id[UUID_TEXT_SIZE]; /* nil: entries of no clinic */
    int lane;
    int64_t number; /* 0: no entry yet */
    unsigned char hash[AUDIT_HASH_BYTES];
};

struct audit_damage {
    const char *clinic_id;
    int lane;
    int64_t number; /* of the entry that is wrong, or before which one is missing; 0: the lane */
    const char *detail;
};

/* What is told as it is found. */
struct audit_verify_listener {
    void *context;
    /* Once a lane, in order of clinic and lane: its last entry as it is in the table. False with an
     * error ends the run. */
    bool (*take_head)(void *context, const struct audit_head *head, struct error *reterr);
    void (*take_damage)(void *context, const struct audit_damage *damage);
};

struct audit_verify_counts {
    int64_t clinics; /* without the nil one */
    int64_t entries;
    int64_t heads; /* of `kept` that were found */
    int64_t damages;
};

struct audit_verify_options {
    const char *conninfo;    /* of the schema's owner, or of a role above it */
    const char *clinic_id;   /* NULL: every clinic, and the entries of none */
    struct audit_head *kept; /* heads of earlier runs; sorted in place. Those of other clinics than
                                clinic_id are passed over */
    size_t kept_count;
    const char *snapshot; /* an exported snapshot of the database (pg_export_snapshot()), or NULL */
};

/* One read-only snapshot, a connection of its own, bounded memory. Damage is told, not an error;
 * errors are a role that may not see all (ERROR_INVALID), a clinic that is none (ERROR_NOT_FOUND),
 * a lost database. */
MUST_CHECK bool audit_verify_run(const struct audit_verify_options *options,
                                 const struct audit_verify_listener *listener,
                                 struct audit_verify_counts *ret_counts, struct error *reterr);

#endif
