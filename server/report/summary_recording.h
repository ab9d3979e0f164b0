/* One recording's part of the summary page. Private to report/. */
#ifndef REPORT_SUMMARY_RECORDING_H
#define REPORT_SUMMARY_RECORDING_H

#include "report/summary_html.h"

/* Appends the section of recording `number` (from 1): conditions, numbers, what was not computed,
 * quality, suggestions. `is_signed` leaves the word "preliminary" out. */
void summary_recording_write(const struct summary_recording *recording, size_t number,
                             bool is_signed, struct arena *arena, struct text *out);

#endif
