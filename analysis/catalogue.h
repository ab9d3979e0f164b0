/* One row for each value of the analysis document, in the order in which people read them.
 *
 * Writers of JSON, pages, reports and the parameter reference loop over this table; a new value is
 * a member of a result struct, its computation, and one row here. */
#ifndef ANALYSIS_CATALOGUE_H
#define ANALYSIS_CATALOGUE_H

#include "analysis/result.h"

enum catalogue_kind { CATALOGUE_NUMBER, CATALOGUE_WORD, CATALOGUE_YES_NO };

struct catalogue_row {
    const char *section; /* "uroflow", "filling", "voiding" */
    const char *code;    /* "qmax" */
    enum catalogue_kind kind;
    const char *unit;   /* UCUM; "1" for counts and indices; NULL for words and yes/no */
    double report_step; /* people's pages round to a multiple of this (ICS: 1 mL/s, 10 mL, ...) */
    const char *label;  /* "Maximum flow rate (Qmax)" */
    const char *definition; /* one sentence: how it is computed here */
    const char *source;     /* where the definition is published */
    size_t offset;          /* of the struct measure within struct analysis_result */
};

/* Number of rows, and row `index` (0 <= index < catalogue_count()). */
size_t catalogue_count(void);
const struct catalogue_row *catalogue_row(size_t index);

/* The measure that a row names within a result. */
const struct measure *catalogue_measure(const struct catalogue_row *row,
                                        const struct analysis_result *result);

/* Whether the row's section is part of the result. */
bool catalogue_section_present(const struct catalogue_row *row,
                               const struct analysis_result *result);

/* Nearest multiple of the row's report_step; ties go away from zero. For print only: indices and
 * classes use unrounded values. */
double catalogue_rounded(const struct catalogue_row *row, double value);

/* Section's heading for people, e.g. "Free flow"; NULL for an unknown section. */
const char *catalogue_section_label(const char *section);

#endif
