/* What the analysis computes, as JSON: the catalogue for pages and integrators. */
#ifndef FORMATS_PARAMETERS_JSON_H
#define FORMATS_PARAMETERS_JSON_H

#include "base/text.h"

/* Appends {"analysis_version", "sections": [{"code", "label", "repeated", "values": [...],
 * "lists": [...]}]}, each value with kind, unit, report_step, label, definition and source. */
void parameters_json_write(struct text *out);

#endif
