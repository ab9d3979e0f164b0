/* How numbers, units, times and codes look on paper. Private to report/. */
#ifndef REPORT_REPORT_TEXT_H
#define REPORT_REPORT_TEXT_H

#include "analysis/catalogue.h"
#include "base/arena.h"
#include "base/text.h"

#include <stdint.h>

/* The unit as people write it ("cmH₂O") for a UCUM code; "" for the unit 1 and for NULL; an
 * unknown code is returned as it is. */
const char *report_unit(const char *ucum);

/* The nearest multiple of a report step (> 0), with as many decimals as the step has, at most 3. */
void report_rounded(struct text *out, double report_step, double value);

/* The value rounded to the row's report step, with as many decimals as the step has. */
void report_number(struct text *out, const struct catalogue_row *row, double value);

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
