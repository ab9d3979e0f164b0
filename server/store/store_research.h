/* What a de-identified export is made of. Nothing that is read here names a patient, but the ids of
 * recordings, by which their analyses are found and which never leave the server. */
#ifndef STORE_STORE_RESEARCH_H
#define STORE_STORE_RESEARCH_H

#include "store/store.h"

#include <stddef.h>
#include <stdint.h>

enum { RESEARCH_DATE_SIZE = 11 };

struct research_line {
    const char *recording_id; /* not to be exported */
    const char *subject;      /* the patient's random pseudonym */
    int sequence;             /* of the recording among the subject's, from 1, by time */
    const char *sex;
    const char *type;
    int age_years;          /* at the study: whole years, at least 0 */
    int year;               /* of the study */
    int days;               /* from the subject's first study to this one */
    const char *shifted_on; /* date of the study, moved by the subject's offset; YYYY-MM-DD */
    double duration_s;
    bool is_signed;
};

struct research_pool {
    size_t count;
    struct research_line *lines; /* by subject and time */
    /* Recordings that may not be exported, and of how many patients. */
    int erasure_subjects; /* patients about whom an erasure is requested or approved */
    int erasure_recordings;
    int unusable_recordings; /* open, withdrawn, or of a cancelled study */
};

/* All of the clinic that was received before `until_us`. At most `limit` lines: ERROR_INVALID with
 * the detail "too many" when there are more. */
MUST_CHECK bool research_pool_load(struct store *store, struct arena *arena, int64_t until_us,
                                   int limit, struct research_pool *ret_pool, struct error *reterr);

/* Where a page of subjects begins: an opaque text that holds until_us and the pseudonym of the last
 * subject before. ERROR_INVALID when it is none. */
MUST_CHECK bool research_cursor_read(struct arena *arena, const char *cursor, int64_t *ret_until_us,
                                     const char **ret_after_subject, struct error *reterr);
const char *research_cursor_write(struct arena *arena, int64_t until_us, const char *subject);

#endif
