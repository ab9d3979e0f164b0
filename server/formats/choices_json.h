/* The limits that a clinic has chosen, as JSON. */
#ifndef FORMATS_CHOICES_JSON_H
#define FORMATS_CHOICES_JSON_H

#include "analysis/choices.h"
#include "base/error.h"
#include "base/text.h"
#include "formats/json_reader.h"

/* Appends {"code": number, ...} of what is known (the stored column). */
void choices_json_write(const struct analysis_choices *chosen, struct text *out);

/* Reads back what choices_json_write() wrote. A code that this program does not know, and a number
 * that it does not allow any more, counts as not chosen. */
MUST_CHECK bool choices_json_read(struct arena *arena, const char *json,
                                  struct analysis_choices *ret_chosen, struct error *reterr);

/* Reads the member "choices" of a request: numbers by code, null for what is not chosen. Faults for
 * unknown codes, numbers out of range, and limits that contradict each other. */
void choices_json_take(struct json_reader *reader, struct analysis_choices *ret_chosen);

/* Appends an array with every choice: code, label, unit, source, range, standard, the value in use,
 * and whether it was chosen. A number that is not there is null. */
void choices_json_describe(const struct analysis_choices *chosen, struct text *out);

#endif
