#include "drawing/pdf_join.h"

#include <qpdf/qpdf-c.h>
#include <string.h>

/* Objects of parts must live until the whole is written. */
static void release(void *object)
{
    qpdf_data data = object;
    qpdf_cleanup(&data);
}

static qpdf_data open_one(struct arena *arena)
{
    qpdf_data data = qpdf_init();
    qpdf_set_suppress_warnings(data, QPDF_TRUE);
    qpdf_silence_errors(data);
    arena_defer(arena, release, data);
    return data;
}

static bool add_pages(qpdf_data whole, qpdf_data part)
{
    int count = qpdf_get_num_pages(part);
    for (int i = 0; i < count; i++) {
        qpdf_oh page = qpdf_get_page_n(part, (size_t)i);
        /* What a page says about the structure of its own file leads nowhere in another. */
        qpdf_oh_remove_key(part, page, "/StructParents");
        if ((qpdf_add_page(whole, part, page, QPDF_FALSE) & QPDF_ERRORS) != 0) {
            return false;
        }
    }
    return count > 0;
}

bool pdf_join(struct arena *arena, const struct pdf_part *parts, size_t count,
              const unsigned char **ret_bytes, size_t *ret_length, struct error *reterr)
{
    qpdf_data whole = open_one(arena);
    if ((qpdf_empty_pdf(whole) & QPDF_ERRORS) != 0) {
        return error_set(reterr, ERROR_INTERNAL, "begin a joined PDF");
    }
    for (size_t i = 0; i < count; i++) {
        qpdf_data part = open_one(arena);
        if ((qpdf_read_memory(part, "part", (const char *)parts[i].bytes, parts[i].length, NULL) &
             QPDF_ERRORS) != 0 ||
            !add_pages(whole, part)) {
            return error_set(reterr, ERROR_INTERNAL, "part %zu of a joined PDF is damaged", i);
        }
    }
    if ((qpdf_init_write_memory(whole) & QPDF_ERRORS) != 0) {
        return error_set(reterr, ERROR_INTERNAL, "write a joined PDF");
    }
    qpdf_set_deterministic_ID(whole, QPDF_TRUE);
    qpdf_set_object_stream_mode(whole, qpdf_o_generate);
    if ((qpdf_write(whole) & QPDF_ERRORS) != 0) {
        return error_set(reterr, ERROR_INTERNAL, "write a joined PDF");
    }
    *ret_length = qpdf_get_buffer_length(whole);
    *ret_bytes = qpdf_get_buffer(whole); /* lives as long as `whole` */
    return true;
}
