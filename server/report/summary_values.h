/* The values and lists of an analysis document as tables. Private to report/. */
#ifndef REPORT_SUMMARY_VALUES_H
#define REPORT_SUMMARY_VALUES_H

#include "base/text.h"

#include <jansson.h>
#include <stdbool.h>

/* Appends the sections that the document holds, in the catalogue's order; each entry of a repeated
 * one with its number. `is_signed` leaves the word "preliminary" out. */
void summary_values_write(const json_t *sections, bool is_signed, struct text *out);

#endif
