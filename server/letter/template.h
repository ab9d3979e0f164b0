/* A clinic's template of a letter: CommonMark with fields in double braces.
 *
 * Fields are filled in by mustache.js, which runs in a sandbox: an interpreter of its own with
 * bounded memory, in which nothing else is run, and which knows no file, clock or network. What
 * would make a template's cost grow beyond all bounds is refused before: see template_check(). */
#ifndef LETTER_TEMPLATE_H
#define LETTER_TEMPLATE_H

#include "base/arena.h"
#include "base/error.h"

#include <stdbool.h>
#include <stddef.h>

enum {
    TEMPLATE_BYTES_MAX = 16384,
    TEMPLATE_TAGS_MAX = 500,
    TEMPLATE_TAG_BYTES_MAX = 200, /* of one tag, braces included */
    TEMPLATE_NESTING_MAX = 4,
    TEMPLATE_FAULTS_MAX = 50,      /* further ones are not told */
    TEMPLATE_LIST_ITEMS_MAX = 100, /* of one list among the data */
    TEMPLATE_OUTPUT_MAX = 65536    /* bytes of CommonMark that come of it: some 25 pages */
};

struct template_fault {
    int line;   /* from 1 */
    int column; /* from 1, in characters */
    const char *detail;
};

struct template_faults {
    size_t count;
    struct template_fault items[TEMPLATE_FAULTS_MAX];
};

/* Whether a template (UTF-8) may be used. Otherwise every fault, in order of place: tags and
 * sections that do not end, that cross or that are nested too deeply, lists within lists, fields
 * that do not exist or are used as what they are not, HTML, and what this template language leaves
 * out: partials, other delimiters, and values without escaping. Words are on the arena. */
MUST_CHECK bool template_check(struct arena *arena, const char *body,
                               struct template_faults *ret_faults);

/* Fills in a template that passed template_check().
 * data_json  object with the fields of letter/fields.h; strings, booleans, and lists of at most
 *            TEMPLATE_LIST_ITEMS_MAX objects of strings
 * Gives CommonMark. Whatever stands in a value is text there: its ASCII punctuation is escaped,
 * line breaks are hard ones, and each value stands between U+2068 and U+2069, which values
 * themselves lose. ERROR_INVALID: it would outgrow TEMPLATE_OUTPUT_MAX or the sandbox. */
MUST_CHECK bool template_fill(struct arena *arena, const char *body, const char *data_json,
                              const char **ret_markdown, struct error *reterr);

#endif
