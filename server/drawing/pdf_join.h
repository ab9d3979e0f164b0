/* Several PDF files as one, page after page, for a printer. By libqpdf. */
#ifndef DRAWING_PDF_JOIN_H
#define DRAWING_PDF_JOIN_H

#include "base/arena.h"
#include "base/error.h"

#include <stdbool.h>
#include <stddef.h>

struct pdf_part {
    const unsigned char *bytes;
    size_t length;
};

/* The parts' pages in their order (at least one part). What a file says beside its pages (outline,
 * structure, metadata) is the parts' own and not joined. The same parts give the same bytes.
 * ERROR_INTERNAL: a part is damaged. */
MUST_CHECK bool pdf_join(struct arena *arena, const struct pdf_part *parts, size_t count,
                         const unsigned char **ret_bytes, size_t *ret_length, struct error *reterr);

#endif
