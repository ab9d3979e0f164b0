/* Stored rows as the JSON objects that answers hold. */
#ifndef API_RESOURCES_JSON_H
#define API_RESOURCES_JSON_H

#include "base/text.h"
#include "store/store_recording.h"
#include "store/store_study.h"

void patient_json_append(struct text *out, const struct patient *patient);

/* With patient_name and patient_mrn when the row has them. */
void study_json_append(struct text *out, const struct study *study);

/* `channels` only when the row has been read with them. */
void recording_json_append(struct text *out, const struct recording_row *row);

#endif
