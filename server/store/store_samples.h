/* Inside store/ only: the channels of a recording and their sample blocks. */
#ifndef STORE_STORE_SAMPLES_H
#define STORE_STORE_SAMPLES_H

#include "store/query.h"
#include "store/store_recording.h"

/* Stores the channels of a recording in upload order, every block of their samples, and the
 * overviews for drawing.
 * received_on  that of the recording: the partition of its blocks */
MUST_CHECK bool samples_store(struct store *store, const char *recording_id,
                              const char *received_on, const struct recording_document *document,
                              struct error *reterr);

/* A query for a recording's channels, or for those of all recordings of a study, to travel with
 * another one. */
void samples_channels_query(struct query *query, const struct store *store,
                            const char *recording_id);
void samples_channels_of_study_query(struct query *query, const struct store *store,
                                     const char *study_id);

/* Takes the channels of recording `row->id` out of what either query gave. */
MUST_CHECK bool samples_channels_read(const struct rows *rows, struct arena *arena,
                                      struct recording_row *row, struct error *reterr);

/* The level under which a block is stored: 0 are the samples, then two for each overview level. */
int samples_level(int overview_level, enum sample_extreme extreme);

#endif
