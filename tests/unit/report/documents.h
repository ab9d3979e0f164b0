/* An invented document with a block of every kind, and its forms as text. */
#ifndef TESTS_REPORT_DOCUMENTS_H
#define TESTS_REPORT_DOCUMENTS_H

#include "report/document.h"

/* Facts that a test may change. */
struct document_facts documents_facts(void);

/* Begins a document with those facts. */
struct document *documents_begin(struct arena *arena);

/* Every kind of block once, two halves of figures side by side; `words` stands as a person's own in
 * all of them. */
struct document *documents_make(struct arena *arena, const char *words);

/* A form; fails when it is cut off. */
const char *documents_html(const struct document *document, struct arena *arena);
const char *documents_text(const struct document *document, struct arena *arena);

/* What people type into forms to see what happens: markup of several languages, right-to-left and
 * invisible marks, control characters, every script, no space for a long while. Ends with NULL. */
extern const char *const DOCUMENTS_HOSTILE[];

#endif
