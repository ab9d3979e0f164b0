/* The few numbers of a brief. Private to report/. */
#ifndef REPORT_BRIEF_NUMBERS_H
#define REPORT_BRIEF_NUMBERS_H

#include "report/brief.h"

/* Appends a list of key numbers for the last recording of each kind, most telling first, with the
 * class that a number belongs to in words, and what makes it doubtful. `is_signed` leaves the word
 * "preliminary" out. */
void brief_numbers_write(const struct brief *brief, bool is_signed, struct text *out);

/* Appends what was found wrong with the signals, each text once: items of a list. False when there
 * is nothing. */
bool brief_cautions_write(const struct brief *brief, struct text *out);

#endif
