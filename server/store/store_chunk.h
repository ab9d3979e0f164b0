/* The pieces of a recording that is still open, and its completion. */
#ifndef STORE_STORE_CHUNK_H
#define STORE_STORE_CHUNK_H

#include "store/store_recording.h"

struct chunk_row {
    int number;  /* the sender's: the order of the samples */
    int arrival; /* from 1 in the order of arrival, without gaps */
    int64_t received_at_us;
    const char *text; /* the document as sent */
    size_t length;
};

/* Numbers first .. last have arrived. */
struct chunk_range {
    int first;
    int last;
};

struct chunk_status {
    int count;
    int last_arrival;            /* 0: none yet */
    int64_t last_received_at_us; /* 0: none yet */
    size_t range_count;
    struct chunk_range *ranges; /* ascending, with a gap between any two */
};

struct new_chunk {
    int number;
    size_t channel_count;
    const int64_t *starts; /* index of the first sample of each channel, in the opening's order */
    const int64_t *ends;   /* index after its last sample */
    size_t event_count;
    const char *text;
    size_t length;
};

/* Keeps a piece. The same piece again changes nothing (*ret_repeated), also when the recording is
 * complete or its study signed by then. ERROR_NOT_FOUND: no such recording. ERROR_CONFLICT, by
 * detail: "signed": the study takes nothing any more; "state": the recording is complete or
 * withdrawn; "digest": another piece has this number; "order": its samples do not lie between those
 * of its neighbours by number.
 */
MUST_CHECK bool recording_put_chunk(struct store *store, struct arena *arena, const char *id,
                                    const struct new_chunk *chunk, bool *ret_repeated,
                                    struct error *reterr);

MUST_CHECK bool recording_chunk_status(struct store *store, struct arena *arena,
                                       const struct recording_row *row,
                                       struct chunk_status *ret_status, struct error *reterr);

/* The newest piece alone, which is cheap enough to be asked for several times a second.
 * ret_arrival   0: none yet
 * ret_silent_s  since it came, or since the opening; at least 0. By the database's clock, which set
 *               both times: this machine's may be another one's.
 * ERROR_NOT_FOUND: no such recording. */
MUST_CHECK bool recording_newest_chunk(struct store *store, const struct recording_row *row,
                                       int *ret_arrival, double *ret_silent_s,
                                       struct error *reterr);

/* The pieces that came after piece `after` in the order of arrival, in that order, until their
 * texts exceed `byte_limit` (at least one, if there is one; not always all that the limit allows).
 * ERROR_INTERNAL names a damaged one; those of a complete recording are empty, which is the same.
 */
MUST_CHECK bool recording_chunks_after(struct store *store, struct arena *arena,
                                       const struct recording_row *row, int after,
                                       size_t byte_limit, struct chunk_row **ret_rows,
                                       size_t *ret_count, struct error *reterr);

/* Calls take() with every piece in the order of numbers; stops when it returns false. The texts
 * live until it returns. */
MUST_CHECK bool recording_each_chunk(struct store *store, const struct recording_row *row,
                                     bool (*take)(void *context, const struct chunk_row *chunk,
                                                  struct error *reterr),
                                     void *context, struct error *reterr);

/* Locks a recording so that no piece comes any more while it is completed. ERROR_CONFLICT: as
 * above; "state" also when it is complete already. */
MUST_CHECK bool recording_lock_open(struct store *store, const char *id, struct error *reterr);

/* Makes the open recording whole: conditions, channels, events and analysis of `document` become
 * its first revision, its pieces are emptied, and the study has a new version. ERROR_CONFLICT:
 * "signed" when the study was signed or cancelled since the lock. */
MUST_CHECK bool recording_complete(struct store *store, struct arena *arena,
                                   const struct recording_row *row,
                                   const struct recording_document *document,
                                   const char *analysis_json, struct error *reterr);

#endif
