/* Makes a document of what cairo drew: language, title, alternative texts, XMP, colour profile,
 * artefact marks, and bytes that are the same each time. By libqpdf. */
#ifndef DRAWING_PDF_FINISH_H
#define DRAWING_PDF_FINISH_H

#include "drawing/canvas.h"

/* What a figure shows in words, and where it stands on its page. */
struct pdf_figure {
    const char *alternative;
    struct canvas_rect area;
};

struct pdf_facts {
    const char *title;
    const char *language;             /* "en": BCP 47 */
    const char *author;               /* the clinic */
    const char *subject;              /* NULL: none */
    int64_t made_at_us;               /* the document's date: of the revision, not of the clock */
    const struct pdf_figure *figures; /* in the order of their tags, as many as there are */
    size_t figure_count;
};

/* `bytes` are those of canvas_finish() for CANVAS_PDF. The result is tagged, says that it is
 * PDF/A-2u (ISO 19005-2) and PDF/UA-1 (ISO 14289-1), and is the same for the same drawing and
 * facts. Strings are UTF-8.
 *
 * It keeps the machine's part of these norms: everything drawn is tagged or an artefact, every
 * figure has its text, header cells their scope, fonts are embedded and say which characters they
 * show, colours have a profile, metadata agree. That headings do not skip a level and that the
 * texts say what there is to see is up to who draws. Fails when `figures` and the tags differ. */
MUST_CHECK bool pdf_finish(struct arena *arena, const unsigned char *bytes, size_t length,
                           const struct pdf_facts *facts, const unsigned char **ret_bytes,
                           size_t *ret_length, struct error *reterr);

#endif
