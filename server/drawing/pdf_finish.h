/* Makes a document of what cairo drew: language, title, alternative texts, XMP, colour profile,
 * artefact marks, and bytes that are the same each time. By libqpdf. */
#ifndef DRAWING_PDF_FINISH_H
#define DRAWING_PDF_FINISH_H

#include "drawing/canvas.h"

struct pdf_facts {
    const char *title;
    const char *language; /* "en": BCP 47 */
    const char *author;   /* the clinic */
    const char *subject;  /* NULL: none */
    int64_t made_at_us;   /* the document's date: of the revision, not of the clock */
    /* Texts of the figures, in the order of their tags. */
    const char *const *alternatives;
    size_t alternative_count;
};

/* `bytes` are those of canvas_finish() for CANVAS_PDF. The result is tagged, PDF/A-2u as far as its
 * fonts allow, and the same for the same drawing and facts. */
MUST_CHECK bool pdf_finish(struct arena *arena, const unsigned char *bytes, size_t length,
                           const struct pdf_facts *facts, const unsigned char **ret_bytes,
                           size_t *ret_length, struct error *reterr);

#endif
