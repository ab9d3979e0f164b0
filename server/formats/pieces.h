/* A recording that comes in pieces: the document that opens it (recording_json_read() with
 * RECORDING_JSON_OPEN), the pieces, and the document that they make together. */
#ifndef FORMATS_PIECES_H
#define FORMATS_PIECES_H

#include "formats/recording_json.h"

/* A run of samples of one channel. */
struct piece_channel {
    size_t first; /* index of the first of them in the whole channel */
    struct samples samples;
};

struct piece {
    struct piece_channel *channels; /* as many as the opening has, in its order */
    size_t event_count;
    struct document_event *events; /* at times of the whole recording */
};

/* Reads {"channels": [{"signal", "first", and what holds the samples in a recording document}],
 * "events": [...]}. Every channel of the opening must be there; one without new samples has neither
 * `samples` nor `data`. */
MUST_CHECK enum json_read_outcome
piece_json_read(struct arena *arena, const struct recording_document *opening, const char *body,
                size_t length, const struct piece **ret_piece, struct fault_list *faults);

/* Index after the last sample of a channel. */
size_t piece_end(const struct piece_channel *channel);

/* Appends the members "channels" and "events" of a piece with plain values, for whoever watches. */
void piece_json_append(struct text *out, const struct recording_document *opening,
                       const struct piece *piece);

/* What completes a recording. */
struct completion {
    int chunk_count;  /* pieces 0 to chunk_count - 1 make the recording */
    bool accept_gaps; /* what never came becomes missing samples */
    bool has_conditions;
    struct document_conditions conditions; /* in place of the opening's */
};

MUST_CHECK enum json_read_outcome completion_json_read(struct arena *arena, const char *body,
                                                       size_t length,
                                                       struct completion *ret_completion,
                                                       struct fault_list *faults);

/* Joins pieces, which must be in the order of their numbers, to one document on the arena. Between
 * them and before the first, missing samples stand for what did not come. Codes stay codes where
 * all pieces of a channel agree on encoding, scale and offset. A channel without samples is left
 * out. False with faults when nothing can be made of them. */
MUST_CHECK bool pieces_join(struct arena *arena, const struct recording_document *opening,
                            const struct piece *const *pieces, size_t count,
                            const struct recording_document **ret_document,
                            struct fault_list *faults);

#endif
