/* What becomes of a recording as a whole: withdrawn with a reason, and restored. Nothing of it is
 * deleted, and who did what stays known. */
#ifndef STORE_STORE_RECORDING_STATE_H
#define STORE_STORE_RECORDING_STATE_H

#include "store/store_recording.h"

struct recording_change_row {
    int version;        /* of the recording, that the change made */
    const char *change; /* "opened", "completed", "withdrawn", "restored" */
    const char *reason;
    int64_t created_at_us;
    const char *created_by; /* account or token, or NULL: the program */
    const char *created_by_name;
};

/* Every change of the recording's state, oldest first; none when it came in one request and is as
 * it came. */
MUST_CHECK bool recording_changes(struct store *store, struct arena *arena, const char *id,
                                  struct recording_change_row **ret_rows, size_t *ret_count,
                                  struct error *reterr);

/* Withdraws the recording. ERROR_STALE: `version` is not its version. ERROR_CONFLICT: it is
 * withdrawn already (detail "state"), or its study is signed and the clinic has not kept it as long
 * as it decided (detail "signed"). The study's version grows too. */
MUST_CHECK bool recording_withdraw(struct store *store, const char *id, int version,
                                   const char *reason, struct error *reterr);

/* Makes it what it was before it was withdrawn; errors as above, and always "signed" where the
 * study is: what was signed without it stays so. */
MUST_CHECK bool recording_restore(struct store *store, const char *id, int version,
                                  const char *reason, struct error *reterr);

#endif
