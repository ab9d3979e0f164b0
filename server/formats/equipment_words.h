/* What a check of equipment showed, in English sentences for people. */
#ifndef FORMATS_EQUIPMENT_WORDS_H
#define FORMATS_EQUIPMENT_WORDS_H

#include "analysis/equipment.h"
#include "base/text.h"

/* The verdict, then every rule that was not met: "Failed. 1 of 4 points is outside its limits. …"
 */
void equipment_words_append(const struct equipment_check *check,
                            const struct equipment_judgement *judgement, struct text *out);

/* One rule that was not met, as a sentence without a space around it. */
void equipment_words_note(const struct equipment_check *check, const struct equipment_note *note,
                          struct text *out);

#endif
