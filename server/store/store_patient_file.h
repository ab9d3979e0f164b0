/* Everything that is kept about one patient, as JSON for the patient to have. */
#ifndef STORE_STORE_PATIENT_FILE_H
#define STORE_STORE_PATIENT_FILE_H

#include "store/store.h"

#include <stddef.h>
#include <stdint.h>

struct patient_file_size {
    int64_t bytes;   /* of the long parts: events and analyses of every revision, openings, notes */
    int64_t samples; /* of all channels */
};

/* ERROR_NOT_FOUND: no such patient. */
MUST_CHECK bool patient_file_size(struct store *store, const char *patient_id,
                                  struct patient_file_size *ret_size, struct error *reterr);

/* Objects as JSON text, on the arena. */
struct patient_file_study {
    const char *id;
    const char *json;
};

struct patient_file_recording {
    const char *id;
    const char *study_id;
    const char *json;
};

struct patient_file {
    const char *json; /* the patient, and all that hangs on the patient and on no study */
    size_t study_count;
    struct patient_file_study *studies; /* by time */
    size_t recording_count;
    struct patient_file_recording *recordings; /* by time; withdrawn and open ones too */
};

MUST_CHECK bool patient_file_load(struct store *store, struct arena *arena, const char *patient_id,
                                  struct patient_file *ret_file, struct error *reterr);

#endif
