/* Studies (one visit each) of the transaction's clinic. */
#ifndef STORE_STORE_STUDY_H
#define STORE_STORE_STUDY_H

#include "store/store_patient.h"

#include <stdint.h>

struct study {
    const char *id;
    const char *patient_id;
    const char *room;
    int64_t started_at_us;
    const char *operator_name; /* "" when not given, as the next ones */
    const char *position;
    const char *catheters; /* free text */
    const char *history;   /* JSON object text: question, diary, pad_test, medication */
    const char *status;    /* registered, preliminary, final, amended, cancelled */
    int version;
    int recording_count;      /* reads only; withdrawn ones do not count */
    int open_recording_count; /* of them; reads only */
    const char *patient_name; /* lists only: "Family, Given" */
    const char *patient_mrn;  /* lists only */
};

/* Whether a status says that somebody has signed the study: final, or amended since. */
bool study_status_is_signed(const char *status);

/* `study->id` NULL: a new id. ERROR_INVALID when the patient is unknown in this clinic,
 * ERROR_CONFLICT when the id exists. */
MUST_CHECK bool study_create(struct store *store, struct arena *arena, const struct study *study,
                             const char **ret_id, struct error *reterr);
MUST_CHECK bool study_get(struct store *store, struct arena *arena, const char *id,
                          struct study *ret_study, struct error *reterr);
/* Replaces room, started_at, operator, position, catheters, history and status; ERROR_STALE. */
MUST_CHECK bool study_update(struct store *store, const struct study *study, struct error *reterr);

/* NULL and 0 do not filter. */
struct study_filter {
    const char *patient_id;
    const char *room;
    const char *status;
    int64_t from_us;  /* started_at >= from_us */
    int64_t to_us;    /* started_at < to_us */
    bool signed_only; /* final or amended; does not go together with patient_id and room */
};

/* Newest first. */
MUST_CHECK bool study_list(struct store *store, struct arena *arena,
                           const struct study_filter *filter, const struct store_page *page,
                           struct study **ret_items, size_t *ret_count,
                           const char **ret_next_cursor, struct error *reterr);

#endif
