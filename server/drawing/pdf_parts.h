/* What the files of pdf_finish() share. */
#ifndef DRAWING_PDF_PARTS_H
#define DRAWING_PDF_PARTS_H

#include "base/text.h"
#include "drawing/pdf_finish.h"

/* A page's content once more, with everything between its tags marked as an artefact. False when it
 * is not nested as ISO 32000-1, 14.6 wants it. */
MUST_CHECK bool pdf_mark_artefacts(const unsigned char *content, size_t length, struct text *out);

/* The XMP packet. */
void pdf_write_xmp(const struct pdf_facts *facts, struct text *out);

/* "D:20260102030405Z", the date of the document information. */
const char *pdf_date(struct arena *arena, int64_t at_us);

/* An ICC profile of sRGB, always with the same bytes. */
MUST_CHECK bool pdf_colour_profile(struct arena *arena, const unsigned char **ret_bytes,
                                   size_t *ret_length);

/* What made the file. */
#define PDF_PRODUCER "Penstock"

#endif
