/* What figures read from an analysis document. Private to figure/. */
#ifndef FIGURE_NUMBERS_H
#define FIGURE_NUMBERS_H

#include "figure/figure.h"

/* A value of the document. */
struct number {
    bool known;
    double value;
    double at_s;                     /* NaN: it has no moment */
    const struct catalogue_row *row; /* its label, unit and step; NULL for what is unknown */
};

struct number number_of(const struct figure_source *source, const char *section, const char *code);

/* The same of entry `index` of a repeated section. */
struct number number_of_entry(const struct figure_source *source, const char *section, size_t index,
                              const char *code);

/* How many entries a repeated section has. */
size_t number_entries(const struct figure_source *source, const char *section);

/* A word of an entry; "" when it is not there. */
const char *number_word_of_entry(const struct figure_source *source, const char *section,
                                 size_t index, const char *code);

/* A list of a section (index: of a repeated one), NULL when there is none. */
const json_t *number_list(const struct figure_source *source, const char *section, size_t index,
                          const char *code);

/* A number among the members of an object; NaN when it is not there. */
double number_member(const json_t *object, const char *name);

/* The classification with a code, or NULL. */
const json_t *number_classification(const struct figure_source *source, const char *code);

/* The limits that the document was made with. */
struct analysis_choices number_choices(const struct figure_source *source);

/* The voiding, from the onset of flow to its end. False when the document has none. */
bool number_voiding(const struct figure_source *source, struct figure_span *ret_span);

/* By which flow is recorded later than pressure; 0 without a voiding. */
double number_flow_delay_s(const struct figure_source *source);

/* "86 cmH₂O": rounded after the row. */
void number_append(struct text *out, const struct number *number);

#endif
