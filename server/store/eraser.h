/* Carries out what was approved: erases patients, as only the owner of the tables may. A connection
 * of its own that keeps the login's rights; whether a row may go is decided by the triggers of
 * schema/0013_data_protection.sql. */
#ifndef STORE_ERASER_H
#define STORE_ERASER_H

#include "base/arena.h"
#include "base/error.h"

#include <stdbool.h>
#include <stddef.h>

struct eraser;

/* ERROR_INVALID: this login does not own the schema. Close with eraser_close(). */
MUST_CHECK bool eraser_open(const char *conninfo, struct eraser **ret_eraser, struct error *reterr);

/* NULL is allowed. */
void eraser_close(struct eraser *eraser);

/* An approved request. */
struct erasure_due {
    const char *request_id;
    const char *obstacle; /* "held", "cooling off", "new data"; NULL: it can be carried out */
};

/* ERROR_NOT_FOUND: no such clinic. */
MUST_CHECK bool eraser_list_approved(struct eraser *eraser, struct arena *arena,
                                     const char *clinic_id, struct erasure_due **ret_items,
                                     size_t *ret_count, struct error *reterr);

/* Erases the patient of an approved request, all or nothing, and says how many rows of each table
 * went (a JSON object). ERROR_CONFLICT: something keeps it from being carried out by now.
 * ERROR_UNAVAILABLE: a lock could not be had, or the database is away; try again later. */
MUST_CHECK bool eraser_erase(struct eraser *eraser, struct arena *arena, const char *clinic_id,
                             const char *request_id, const char **ret_counts, struct error *reterr);

/* What is left of an erased patient. */
struct erased_patient {
    const char *clinic_id;
    const char *patient_id;
    const char *request_id;
    const char *erased_at; /* RFC 3339 */
};

/* By time. */
MUST_CHECK bool eraser_list_erased(struct eraser *eraser, struct arena *arena,
                                   const char *clinic_id, struct erased_patient **ret_items,
                                   size_t *ret_count, struct error *reterr);

/* Erases a patient who came back with a restored backup; whoever was not in it is noted as erased.
 * *ret_was_there: whether there was anything of the patient. ERROR_CONFLICT: the patient is on
 * legal hold, or something of the patient is newer than the erasure, so that this is no such copy.
 */
MUST_CHECK bool eraser_erase_again(struct eraser *eraser, const struct erased_patient *patient,
                                   bool *ret_was_there, struct error *reterr);

#endif
