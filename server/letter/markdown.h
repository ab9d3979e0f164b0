/* CommonMark into the blocks of a document. Private to letter/. */
#ifndef LETTER_MARKDOWN_H
#define LETTER_MARKDOWN_H

#include "report/document.h"

/* Appends what `markdown` says: headings, paragraphs, lists, emphasis and line breaks. The first
 * heading is the document's title (level 1), others are of level 2 and 3. Links are told with their
 * address, images by their words; quotations and code become paragraphs. HTML is left out.
 * What stands between U+2068 and U+2069 are a person's words. */
void markdown_append(struct document *document, struct arena *arena, const char *markdown);

#endif
