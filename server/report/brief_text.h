/* Words of a brief as HTML. Private to report/. */
#ifndef REPORT_BRIEF_TEXT_H
#define REPORT_BRIEF_TEXT_H

#include "base/text.h"

#include <jansson.h>
#include <stdint.h>

/* Words that anybody typed: escaped, and isolated so that right-to-left text or a stray direction
 * mark cannot reorder what stands around it. */
void brief_person(struct text *out, const char *words);

/* A code as words: "not_obstructed" becomes "not obstructed". */
void brief_code_words(struct text *out, const char *code);

/* A time element: "2026-03-02 08:31 UTC". */
void brief_time(struct text *out, int64_t time_us);

/* One pair of a description list; the value is text that anybody typed. Nothing when it is empty.
 */
void brief_fact(struct text *out, const char *term, const char *words);

/* The label of a value or list of a section, or else the code's words. */
void brief_label(const char *section, const char *code, struct text *out);

/* What makes a value doubtful: after `separator`, or nothing for no codes. */
void brief_doubts(const json_t *codes, const char *separator, struct text *out);

#endif
