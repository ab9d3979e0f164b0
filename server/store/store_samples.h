/* Inside store/ only: the channels of a recording and their sample blocks. */
#ifndef STORE_STORE_SAMPLES_H
#define STORE_STORE_SAMPLES_H

#include "store/query.h"
#include "store/store_recording.h"

/* Stores the channels of a recording, in upload order. */
MUST_CHECK bool samples_store_channels(struct store *store, const char *recording_id,
                                       const struct recording_document *document,
                                       struct error *reterr);

/* Encodes and stores every block of every channel. */
MUST_CHECK bool samples_store_blocks(struct store *store, const char *recording_id,
                                     const struct recording_document *document,
                                     struct error *reterr);

/* A query for a recording's channels, to travel with another one. */
void samples_channels_query(struct query *query, const struct store *store,
                            const char *recording_id);
MUST_CHECK bool samples_channels_read(const struct rows *rows, struct arena *arena,
                                      struct recording_row *row, struct error *reterr);

#endif
