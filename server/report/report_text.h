/* How times and people's own words look on pages; units and numbers: formats/display.h. Private to
 * report/. */
#ifndef REPORT_REPORT_TEXT_H
#define REPORT_REPORT_TEXT_H

#include "analysis/catalogue.h"
#include "base/text.h"

#include <stdint.h>

/* Words that anybody typed: escaped, and isolated so that right-to-left text or a stray direction
 * mark cannot reorder what stands around it. */
void report_person_text(struct text *out, const char *words);

/* A code as words, escaped: "pad_test" becomes "pad test". */
void report_code_words(struct text *out, const char *code);

/* A time element: "2026-03-02 08:31 UTC". */
void report_time(struct text *out, int64_t time_us);

/* One pair of a description list; the value is text that anybody typed. Nothing when it is empty.
 */
void report_fact(struct text *out, const char *term, const char *words);

/* One pair of a description list with a number as it was entered, and its unit. */
void report_fact_number(struct text *out, const char *term, struct optional_number number,
                        const char *ucum);

#endif
