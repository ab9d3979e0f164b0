/* The analysis document as JSON. */
#ifndef FORMATS_ANALYSIS_JSON_H
#define FORMATS_ANALYSIS_JSON_H

#include "analysis/result.h"
#include "base/text.h"

/* Appends the document: type, status, revision, software, sections, findings, classifications,
 * quality, not_computed. Values keep three decimals. Sections the recording lacks are left out.
 * `status` is "preliminary", "final" or "amended". */
void analysis_json_write(const struct analysis_result *result, const char *status, int revision,
                         struct text *out);

/* "penstock 0.1.0": this program. */
const char *analysis_json_software(void);

#endif
