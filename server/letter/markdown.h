/* CommonMark into the blocks of a document. Private to letter/. */
#ifndef LETTER_MARKDOWN_H
#define LETTER_MARKDOWN_H

#include "base/error.h"
#include "report/document.h"

enum { MARKDOWN_LINES_MAX = 2000 }; /* paragraphs, headings, items, and hard line breaks in them */

/* Appends what `markdown` says: headings, paragraphs, lists, emphasis and line breaks. The first
 * heading is the document's title (level 1), others are of level 2 and 3. Links are told with their
 * address, images by their words; quotations and code become paragraphs. HTML is left out.
 * What stands between U+2068 and U+2069 are a person's words.
 * ERROR_INVALID: more than MARKDOWN_LINES_MAX lines, whose pages nobody would read and whose
 * setting would take minutes. */
MUST_CHECK bool markdown_append(struct document *document, struct arena *arena,
                                const char *markdown, struct error *reterr);

#endif
