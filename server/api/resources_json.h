/* Stored rows as the JSON objects that answers hold. */
#ifndef API_RESOURCES_JSON_H
#define API_RESOURCES_JSON_H

#include "base/text.h"
#include "store/store_chunk.h"
#include "store/store_study.h"

void patient_json_append(struct text *out, const struct patient *patient);

/* With patient_name and patient_mrn when the row has them. */
void study_json_append(struct text *out, const struct study *study);

/* `channels` only when the row has been read with them. */
void recording_json_append(struct text *out, const struct recording_row *row);

/* The same for a recording in pieces: which channels its opening announced, which pieces came. */
void recording_json_append_pieces(struct text *out, const struct recording_row *row,
                                  const struct recording_document *opening,
                                  const struct chunk_status *status);

/* Appends "<member>": {"id", "name"} of an account or token, or null: the program. */
void author_json_append(struct text *out, const char *member, const char *id, const char *name);

#endif
