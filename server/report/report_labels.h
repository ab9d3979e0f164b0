/* Words for the codes of an analysis document. Private to report/. */
#ifndef REPORT_REPORT_LABELS_H
#define REPORT_REPORT_LABELS_H

#include "analysis/catalogue.h"
#include "base/text.h"

#include <jansson.h>

/* A string member, or "" when it is missing or no string. */
const char *report_string(const json_t *object, const char *name);

/* The row with a code within a section (NULL: the first in any section), or NULL. */
const struct catalogue_row *report_find_row(const char *section, size_t section_length,
                                            const char *code);

/* The label of a value or list within a section (NULL: in any), or else the code's words. */
void report_label(const char *section, size_t section_length, const char *code, struct text *out);

/* What makes a value, or what rests on it, doubtful: after `separator`, or nothing for no codes. */
void report_doubts(const json_t *codes, const char *separator, struct text *out);

/* A section's heading, or else the code's words. */
void report_section_label(const char *section, struct text *out);

/* What a class is about, "Outlet obstruction", and whether it is among the main results: others say
 * the same by other rules. */
void report_class_label(const char *code, struct text *out);
bool report_class_is_main(const char *code);

#endif
