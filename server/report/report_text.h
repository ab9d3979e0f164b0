/* How times, codes and what was entered look on paper; units and numbers: formats/display.h.
 * Private to report/. */
#ifndef REPORT_REPORT_TEXT_H
#define REPORT_REPORT_TEXT_H

#include "base/arena.h"
#include "base/text.h"

#include <stdint.h>

/* A number as it was entered, and its unit. */
const char *report_entered(struct arena *arena, double value, const char *ucum);

/* A code as words: "pad_test" becomes "pad test". */
void report_code_words(struct text *out, const char *code);

/* "2026-03-02 08:31 UTC", and "2026-03-02". */
const char *report_time(struct arena *arena, int64_t time_us);
const char *report_date(struct arena *arena, int64_t time_us);

/* Whether there are words. */
bool report_is_given(const char *words);

#endif
