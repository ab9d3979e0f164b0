/* What a reader must weigh: what is missing, signal quality, suggestions. Private to report/. */
#ifndef REPORT_SUMMARY_REMARKS_H
#define REPORT_SUMMARY_REMARKS_H

#include "base/text.h"

#include <jansson.h>

/* Appends what could not be computed, signal quality, and the classes and draft findings. */
void summary_remarks_write(const json_t *analysis, struct text *out);

#endif
