/* How units, numbers, signals and events are written for people: on pages, in reports and letters,
 * in figures. Plain text; whoever writes HTML escapes it. */
#ifndef FORMATS_DISPLAY_H
#define FORMATS_DISPLAY_H

#include "analysis/catalogue.h"
#include "base/text.h"
#include "formats/recording_json.h"

/* The unit as people write it ("cmH₂O") for a UCUM code; "" for the unit 1 and for NULL; an
 * unknown code is returned as it is. */
const char *display_unit(const char *ucum);

/* The nearest multiple of a step (> 0), with as many decimals as the step has, at most 3; never
 * "-0". */
void display_rounded(struct text *out, double step, double value);

/* The value rounded to the row's report step, with as many decimals as the step has. */
void display_number(struct text *out, const struct catalogue_row *row, double value);

/* The ICS symbol in one line, "pves", "Q", "panal3", and the name, "Vesical pressure". */
const char *display_signal_symbol(enum signal_kind signal);
const char *display_signal_name(enum signal_kind signal);

/* "First desire" for a code of the contract; for a clinic's own, and for NULL, NULL. */
const char *display_event_name(const char *code);

/* A code as words: "pad_test" becomes "Pad test". */
void display_words(struct text *out, const char *code);

/* An event in one line, without its note: its name, or its code as words, and its value where it
 * has one ("Balloon 40 mL"). */
void display_event(struct text *out, const struct document_event *event);

#endif
