/* From a recording document and a patient to the analysis document. */
#ifndef API_COMPUTE_H
#define API_COMPUTE_H

#include "base/arena.h"
#include "base/error.h"
#include "base/text.h"
#include "formats/recording_json.h"
#include "store/store_patient.h"

/* Takes sex, weight and age at the recording's start from `patient`; NULL keeps the document's own.
 * The text lives on the arena. */
MUST_CHECK bool compute_analysis(struct arena *arena, const struct recording_document *document,
                                 const struct patient *patient, const char *status, int revision,
                                 struct text *ret_json, struct error *reterr);

#endif
