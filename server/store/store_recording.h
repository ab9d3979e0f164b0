/* Recordings: samples in compressed blocks, event lists and analyses by revision. */
#ifndef STORE_STORE_RECORDING_H
#define STORE_STORE_RECORDING_H

#include "formats/recording_json.h"
#include "store/store.h"

#include <stddef.h>
#include <stdint.h>

struct recording_channel_row {
    int number; /* 0, 1, ... in upload order */
    enum signal_kind signal;
    const char *unit;
    double rate_hz;
    double start_s;
    struct samples shape; /* encoding, decimals, scale, offset, count, missing; no codes */
};

struct recording_row {
    const char *id;
    const char *study_id;
    enum recording_type type;
    int64_t started_at_us;
    int64_t received_at_us;
    const char *conditions_json;
    double duration_s;
    int revision; /* of events and analysis, from 1 */
    size_t channel_count;
    struct recording_channel_row *channels;
};

/* Stores document, events and analysis (noted as made by this program's version of it) as revision
 * 1, with every sample block, in the current transaction, and sets the study's status to
 * preliminary when it was registered.
 * ERROR_NOT_FOUND: no such study. ERROR_CONFLICT: the id exists (detail "id"), or the study is
 * signed or cancelled. */
MUST_CHECK bool recording_create(struct store *store, struct arena *arena, const char *study_id,
                                 const struct recording_document *document,
                                 const char *analysis_json, const char **ret_id,
                                 struct error *reterr);

MUST_CHECK bool recording_get(struct store *store, struct arena *arena, const char *id,
                              struct recording_row *ret_row, struct error *reterr);

/* Of one study, by start; without channels (channel_count 0). */
MUST_CHECK bool recording_list(struct store *store, struct arena *arena, const char *study_id,
                               struct recording_row **ret_rows, size_t *ret_count,
                               struct error *reterr);

/* The same with each recording's newest analysis document, in one query. */
MUST_CHECK bool recording_list_analysed(struct store *store, struct arena *arena,
                                        const char *study_id, struct recording_row **ret_rows,
                                        const char ***ret_analyses, size_t *ret_count,
                                        struct error *reterr);

/* Samples [from_index, from_index + count) of a channel, on the arena; `missing` stays that of the
 * whole channel. Reads only the blocks that the span touches. ERROR_INTERNAL names a damaged block.
 */
MUST_CHECK bool recording_samples(struct store *store, struct arena *arena, const char *id,
                                  const struct recording_channel_row *channel, size_t from_index,
                                  size_t count, struct samples *ret_samples, struct error *reterr);

/* A revision's events as JSON array text; revision 0 is the newest. */
MUST_CHECK bool recording_events(struct store *store, struct arena *arena, const char *id,
                                 int revision, const char **ret_json, int *ret_revision,
                                 struct error *reterr);

/* A revision's analysis document as JSON text; revision 0 is the newest. */
MUST_CHECK bool recording_analysis(struct store *store, struct arena *arena, const char *id,
                                   int revision, const char **ret_json, int *ret_revision,
                                   struct error *reterr);

/* Locks the recording and checks that `revision` is its newest (else ERROR_STALE) and its study
 * neither signed nor cancelled (else ERROR_CONFLICT). */
MUST_CHECK bool recording_lock(struct store *store, const char *id, int revision,
                               struct error *reterr);

/* Adds revision `revision` (the newest + 1) of events and analysis.
 * reason  why, when nobody changed the events; else "" */
MUST_CHECK bool recording_add_revision(struct store *store, const char *id, int revision,
                                       const struct document_event *events, size_t event_count,
                                       const char *analysis_json, const char *reason,
                                       struct error *reterr);

/* The newest revision of a recording whose document an older analysis made. */
struct stale_recording {
    const char *id;
    int revision;
};

/* Those of studies that are neither signed nor cancelled, by id, after `after` (NULL: from the
 * first). */
MUST_CHECK bool recording_list_stale(struct store *store, struct arena *arena, const char *after,
                                     int limit, struct stale_recording **ret_items,
                                     size_t *ret_count, struct error *reterr);

/* How many documents of signed or cancelled studies an older analysis made: they stay. */
MUST_CHECK bool recording_count_kept(struct store *store, int *ret_count, struct error *reterr);

/* The whole recording as it was uploaded, with a revision's events (0: newest), for recomputation.
 */
MUST_CHECK bool recording_load(struct store *store, struct arena *arena, const char *id,
                               int revision, const struct recording_document **ret_document,
                               struct error *reterr);

#endif
