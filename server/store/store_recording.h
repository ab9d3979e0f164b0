/* Recordings: samples in compressed blocks, event lists and analyses by revision, and their state.
 */
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

enum recording_state {
    RECORDING_OPEN, /* pieces may still come; it has no revision and no channels yet */
    RECORDING_COMPLETE,
    RECORDING_WITHDRAWN, /* not to be shown or used; see store_recording_state.h */
    RECORDING_STATE_COUNT
};

/* "open", "complete", "withdrawn". */
const char *recording_state_name(enum recording_state state);

struct recording_row {
    const char *id;
    const char *study_id;
    enum recording_type type;
    enum recording_state state;
    int64_t started_at_us;
    int64_t received_at_us;
    const char *received_on; /* the UTC date of received_at: names the partition */
    const char *conditions_json;
    const char *opening; /* the document that opened it when it came in pieces, or NULL */
    double duration_s;
    int revision; /* of events and analysis, from 1; 0 before the first */
    int version;  /* of the recording, from 1: grows with every change */
    bool has_overview;
    size_t channel_count;
    struct recording_channel_row *channels;
};

/* Stores document, events and analysis (noted as made by this program's version of it) as revision
 * 1, with every sample block, in the current transaction, and sets the study's status to
 * preliminary when it was registered. A document that the study holds already, sample by sample, is
 * not stored again: *ret_existed is then true and *ret_id the recording that it made.
 * ERROR_NOT_FOUND: no such study. ERROR_CONFLICT: the id exists (detail "id"), or the study is
 * signed or cancelled. */
MUST_CHECK bool recording_create(struct store *store, struct arena *arena, const char *study_id,
                                 const struct recording_document *document,
                                 const char *analysis_json, const char **ret_id, bool *ret_existed,
                                 struct error *reterr);

/* An analysis document that is still in the making. */
struct pending_analysis {
    const char *(*finish)(void *context, struct error *reterr); /* waits; NULL with an error */
    void *context;
};

/* The same where the document is computed while the samples are stored. */
MUST_CHECK bool recording_create_pending(struct store *store, struct arena *arena,
                                         const char *study_id,
                                         const struct recording_document *document,
                                         const struct pending_analysis *analysis,
                                         const char **ret_id, bool *ret_existed,
                                         struct error *reterr);

/* Begins a recording that comes in pieces (see store_chunk.h); `document` has the shapes of its
 * channels only. Opening it again with the same id and the same text gives the first one
 * (*ret_existed). Errors as above.
 * opening  the document as sent */
MUST_CHECK bool recording_open(struct store *store, struct arena *arena, const char *study_id,
                               const struct recording_document *document, const char *opening,
                               const char **ret_id, bool *ret_existed, struct error *reterr);

MUST_CHECK bool recording_get(struct store *store, struct arena *arena, const char *id,
                              struct recording_row *ret_row, struct error *reterr);

/* Of one study, by start, with channels. Withdrawn ones only when asked for. */
MUST_CHECK bool recording_list(struct store *store, struct arena *arena, const char *study_id,
                               bool withdrawn_too, struct recording_row **ret_rows,
                               size_t *ret_count, struct error *reterr);

/* Those with an analysis, without channels but with each one's newest analysis document, in one
 * query; neither open nor withdrawn ones. */
MUST_CHECK bool recording_list_analysed(struct store *store, struct arena *arena,
                                        const char *study_id, struct recording_row **ret_rows,
                                        const char ***ret_analyses, size_t *ret_count,
                                        struct error *reterr);

/* The channel of a signal, or NULL. */
const struct recording_channel_row *recording_channel_of(const struct recording_row *row,
                                                         enum signal_kind signal);

/* The detrusor pressure that follows from two recorded channels, as a channel of which only the
 * overview is stored. False where pdet itself was recorded, or the two do not fit. */
bool recording_derived_pdet(const struct recording_row *row,
                            struct recording_channel_row *ret_pdet);

/* Samples [first, first + count) of a channel, on the arena; `missing` stays that of the whole
 * channel. Reads only the blocks that the span touches. ERROR_INTERNAL names a damaged block. */
MUST_CHECK bool recording_samples(struct store *store, struct arena *arena,
                                  const struct recording_row *row,
                                  const struct recording_channel_row *channel, size_t first,
                                  size_t count, struct samples *ret_samples, struct error *reterr);

enum sample_extreme { SAMPLE_LEAST, SAMPLE_GREATEST };

/* A part of a channel: of its samples (level 0), or of the extremes of an overview level, which the
 * recording must have (has_overview, overview_exists()). */
struct recording_part {
    const struct recording_channel_row *channel;
    int level;
    enum sample_extreme extreme;
    size_t first; /* in codes of the level */
    size_t count;
    struct samples samples; /* filled in by recording_read_parts() */
    void *codes;            /* those of `samples` */
};

/* Reads parts of any channels of one recording, mostly with one query. */
MUST_CHECK bool recording_read_parts(struct store *store, struct arena *arena,
                                     const struct recording_row *row, struct recording_part *parts,
                                     size_t count, struct error *reterr);

/* A revision's events as JSON array text; revision 0 is the newest. */
MUST_CHECK bool recording_events(struct store *store, struct arena *arena, const char *id,
                                 int revision, const char **ret_json, int *ret_revision,
                                 struct error *reterr);

/* The same as a list, sorted by time. */
MUST_CHECK bool recording_event_list(struct store *store, struct arena *arena, const char *id,
                                     int revision, struct document_event **ret_events,
                                     size_t *ret_count, int *ret_revision, struct error *reterr);

/* A revision's analysis document as JSON text; revision 0 is the newest. */
MUST_CHECK bool recording_analysis(struct store *store, struct arena *arena, const char *id,
                                   int revision, const char **ret_json, int *ret_revision,
                                   struct error *reterr);

/* Locks the recording and checks that `revision` is its newest (else ERROR_STALE), that it is
 * complete and its study neither signed nor cancelled (else ERROR_CONFLICT). */
MUST_CHECK bool recording_lock(struct store *store, const char *id, int revision,
                               struct error *reterr);

/* Adds revision `revision` (the newest + 1) of events and analysis.
 * reason  why, when nobody changed the events; else "" */
MUST_CHECK bool recording_add_revision(struct store *store, const char *id, int revision,
                                       const struct document_event *events, size_t event_count,
                                       const char *analysis_json, const char *reason,
                                       struct error *reterr);

/* What made a revision. */
struct revision_row {
    int revision;
    int64_t created_at_us;
    const char *created_by; /* account or token, or NULL: the program */
    const char *created_by_name;
    const char *reason;
    const char *analysis_version;
    size_t event_count;
    struct document_event *events; /* sorted by time */
};

/* Every revision, oldest first. */
MUST_CHECK bool recording_revisions(struct store *store, struct arena *arena, const char *id,
                                    struct revision_row **ret_rows, size_t *ret_count,
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
