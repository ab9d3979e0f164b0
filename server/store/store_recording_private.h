/* Inside store/ only: steps that several files about recordings share. */
#ifndef STORE_STORE_RECORDING_PRIVATE_H
#define STORE_STORE_RECORDING_PRIVATE_H

#include "store/store_recording.h"

/* Adds revision 1. events: as text of a JSON array. */
MUST_CHECK bool recording_insert_first_revision(struct store *store, const char *id,
                                                const char *received_on, const char *events,
                                                const char *analysis_json, struct error *reterr);

/* Notes a change of the recording's state that made `version`. */
MUST_CHECK bool recording_note_change(struct store *store, const char *id, int version,
                                      const char *change, const char *reason, struct error *reterr);

/* The columns' text of what a document says; NULL with an error when it is too long. */
const char *recording_events_text(struct arena *arena, const struct document_event *events,
                                  size_t count, struct error *reterr);
const char *recording_conditions_text(struct arena *arena,
                                      const struct document_conditions *conditions,
                                      struct error *reterr);

#endif
