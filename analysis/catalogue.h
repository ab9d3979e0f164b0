/* What the analysis document holds: its sections, and in each one row for each value and one list
 * for each kind of thing found, in the order in which people read them.
 *
 * Writers of JSON, pages, reports and the parameter reference loop over these tables; a new value
 * is a member of a result struct, its computation, and one row in catalogue/<section>.c. */
#ifndef ANALYSIS_CATALOGUE_H
#define ANALYSIS_CATALOGUE_H

#include "analysis/result.h"

enum catalogue_kind { CATALOGUE_NUMBER, CATALOGUE_WORD, CATALOGUE_YES_NO };

/* A bit for each signal that a value rests on: CATALOGUE_SIGNAL(PVES) | CATALOGUE_SIGNAL(PABD). */
#define CATALOGUE_SIGNAL(name) (1u << SIGNAL_##name)

struct catalogue_row {
    const char *section; /* "uroflow", "filling", "voiding" */
    const char *code;    /* "qmax" */
    enum catalogue_kind kind;
    const char *unit;   /* UCUM; "1" for counts and indices; NULL for words and yes/no */
    double report_step; /* people's pages round to a multiple of this (ICS: 1 mL/s, 10 mL, ...) */
    const char *label;  /* "Maximum flow rate (Qmax)" */
    const char *definition; /* one sentence: how it is computed here */
    const char *source;     /* where the definition is published */
    size_t offset;          /* of the struct measure within the section's struct */
    unsigned signals;       /* CATALOGUE_SIGNAL bits: quality findings on these make it doubtful */
};

/* A member of a list's items. Numbers are doubles (NaN: not known, left out), words const char *
 * (NULL: left out), yes/no bool. */
struct catalogue_column {
    const char *code; /* "start_s" */
    enum catalogue_kind kind;
    const char *unit; /* UCUM, or NULL */
    double report_step;
    const char *label;
    size_t offset; /* within the item */
};

struct catalogue_list {
    const char *code;  /* "coughs" */
    const char *label; /* "Coughs" */
    const char *definition;
    const char *source;
    size_t offset;    /* of the struct item_list within the section's struct */
    size_t item_size; /* sizeof one item */
    size_t column_count;
    const struct catalogue_column *columns;
};

struct catalogue_section {
    const char *code;  /* "filling" */
    const char *label; /* "Filling" */
    bool repeated;     /* an array in the document, one entry a pull: "profiles" */
    size_t row_count;
    const struct catalogue_row *rows;
    size_t list_count;
    const struct catalogue_list *lists;
};

size_t catalogue_section_count(void);
const struct catalogue_section *catalogue_section(size_t index);

/* How often a section occurs in a result: 0 when it is not part of it, else 1, or the number of
 * entries when it is repeated. */
size_t catalogue_instances(const struct catalogue_section *section,
                           const struct analysis_result *result);

/* A repeated section that was looked for and has no entry is part of the result all the same. */
bool catalogue_present(const struct catalogue_section *section,
                       const struct analysis_result *result);

/* The section's struct, entry `index` (0 <= index < catalogue_instances()). */
const void *catalogue_instance(const struct catalogue_section *section,
                               const struct analysis_result *result, size_t index);

void *catalogue_writable(const struct catalogue_section *section, struct analysis_result *result,
                         size_t index);

/* The measure, or list, that a row or list names within an instance of its section. */
const struct measure *catalogue_measure(const struct catalogue_row *row, const void *instance);
const struct item_list *catalogue_items(const struct catalogue_list *list, const void *instance);

/* A member of item `index` of a list. */
double catalogue_number(const struct catalogue_list *list, const struct item_list *items,
                        size_t index, const struct catalogue_column *column);
const char *catalogue_word(const struct catalogue_list *list, const struct item_list *items,
                           size_t index, const struct catalogue_column *column);
bool catalogue_yes(const struct catalogue_list *list, const struct item_list *items, size_t index,
                   const struct catalogue_column *column);

/* All rows of all sections, section by section. */
size_t catalogue_count(void);
const struct catalogue_row *catalogue_row(size_t index);

/* Nearest multiple of a report step; ties go away from zero. For print only: indices and classes
 * use unrounded values. */
double catalogue_rounded_to(double report_step, double value);
double catalogue_rounded(const struct catalogue_row *row, double value);

/* The section with a code, or NULL. */
const struct catalogue_section *catalogue_find_section(const char *code);

/* Section's heading for people, e.g. "Free flow"; NULL for an unknown section. */
const char *catalogue_section_label(const char *section);

#endif
