/* A signature as answers hold it. */
#ifndef API_SIGNATURES_JSON_H
#define API_SIGNATURES_JSON_H

#include "base/text.h"
#include "store/store_signature.h"

/* Appends {"number", "meaning", "signed_at", "signed_by": {"id", "name"}, "role", "reason",
 * "interpretation_revision", "recordings", "software", "analysis_version", "report"}. */
void signature_json_append(struct text *out, const struct signature_row *row);

#endif
