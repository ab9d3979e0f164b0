#include "drawing/pdf_finish.h"

#include "drawing/pdf_parts.h"

#include <qpdf/qpdf-c.h>
#include <stdlib.h>
#include <string.h>
#include <zlib.h>

/* Bounds for what a report can never reach. */
enum { CONTENT_MAX = 256 * 1024 * 1024, XMP_MAX = 64 * 1024, DEPTH_MAX = 32 };

struct finisher {
    struct arena *arena;
    qpdf_data pdf;
    const struct pdf_facts *facts;
    size_t figures; /* found so far */
};

/* Whether libqpdf has neither failed nor warned. */
static bool is_well(struct finisher *finisher, const char *doing, struct error *reterr)
{
    qpdf_error failure = qpdf_has_error(finisher->pdf)       ? qpdf_get_error(finisher->pdf)
                         : qpdf_more_warnings(finisher->pdf) ? qpdf_next_warning(finisher->pdf)
                                                             : NULL;
    return failure == NULL || error_set(reterr, ERROR_INTERNAL, "%s: %s", doing,
                                        qpdf_get_error_full_text(finisher->pdf, failure));
}

static void set(struct finisher *finisher, qpdf_oh dictionary, const char *key, qpdf_oh value)
{
    qpdf_oh_replace_key(finisher->pdf, dictionary, key, value);
}

static void set_parsed(struct finisher *finisher, qpdf_oh dictionary, const char *key,
                       const char *value)
{
    set(finisher, dictionary, key, qpdf_oh_parse(finisher->pdf, value));
}

static void set_words(struct finisher *finisher, qpdf_oh dictionary, const char *key,
                      const char *words)
{
    set(finisher, dictionary, key, qpdf_oh_new_unicode_string(finisher->pdf, words));
}

/* Null also where there is no dictionary. */
static qpdf_oh get(struct finisher *finisher, qpdf_oh dictionary, const char *key)
{
    return qpdf_oh_is_dictionary(finisher->pdf, dictionary)
               ? qpdf_oh_get_key(finisher->pdf, dictionary, key)
               : qpdf_oh_new_null(finisher->pdf);
}

static qpdf_oh new_stream(struct finisher *finisher, const void *bytes, size_t length)
{
    qpdf_oh none = qpdf_oh_new_null(finisher->pdf);
    qpdf_oh stream = qpdf_oh_new_stream(finisher->pdf);
    qpdf_oh_replace_stream_data(finisher->pdf, stream, bytes, length, none, none);
    return stream;
}

/* ---- the document ---- */

static void set_metadata(struct finisher *finisher, qpdf_oh root)
{
    struct text xmp;
    text_init(&xmp, finisher->arena, XMP_MAX);
    pdf_write_xmp(finisher->facts, &xmp);
    qpdf_oh stream = new_stream(finisher, xmp.data, xmp.length);
    qpdf_oh dictionary = qpdf_oh_get_dict(finisher->pdf, stream);
    set_parsed(finisher, dictionary, "/Type", "/Metadata");
    set_parsed(finisher, dictionary, "/Subtype", "/XML");
    set(finisher, root, "/Metadata", stream);
}

static void set_information(struct finisher *finisher)
{
    const struct pdf_facts *facts = finisher->facts;
    const char *date = pdf_date(finisher->arena, facts->made_at_us);
    qpdf_oh information = qpdf_oh_new_dictionary(finisher->pdf);
    set_words(finisher, information, "/Title", facts->title);
    set_words(finisher, information, "/Author", facts->author);
    if (facts->subject != NULL) {
        set_words(finisher, information, "/Subject", facts->subject);
    }
    set_words(finisher, information, "/Producer", PDF_PRODUCER);
    set_words(finisher, information, "/CreationDate", date);
    set_words(finisher, information, "/ModDate", date);
    set(finisher, qpdf_get_trailer(finisher->pdf), "/Info",
        qpdf_make_indirect_object(finisher->pdf, information));
}

static bool set_colours(struct finisher *finisher, qpdf_oh root, struct error *reterr)
{
    const unsigned char *bytes = NULL;
    size_t length = 0;
    if (!pdf_colour_profile(finisher->arena, &bytes, &length)) {
        return error_set(reterr, ERROR_INTERNAL, "no colour profile could be made");
    }
    qpdf_oh profile = new_stream(finisher, bytes, length);
    qpdf_oh dictionary = qpdf_oh_get_dict(finisher->pdf, profile);
    set_parsed(finisher, dictionary, "/N", "3");
    qpdf_oh intent = qpdf_oh_parse(finisher->pdf, "<< /Type /OutputIntent /S /GTS_PDFA1"
                                                  " /OutputConditionIdentifier (sRGB IEC61966-2.1)"
                                                  " /RegistryName (http://www.color.org) >>");
    set(finisher, intent, "/DestOutputProfile", profile);
    set(finisher, root, "/OutputIntents", qpdf_oh_wrap_in_array(finisher->pdf, intent));
    return true;
}

static bool set_catalogue(struct finisher *finisher, struct error *reterr)
{
    qpdf_oh root = qpdf_get_root(finisher->pdf);
    set_words(finisher, root, "/Lang", finisher->facts->language);
    set_parsed(finisher, root, "/MarkInfo", "<< /Marked true >>");
    set_parsed(finisher, root, "/ViewerPreferences", "<< /DisplayDocTitle true >>");
    set_metadata(finisher, root);
    set_information(finisher);
    return set_colours(finisher, root, reterr);
}

/* ---- pages ---- */

/* libqpdf would press as hard as zlib does by itself: several times the time, for a fifth of the
 * bytes. What is compressed already it leaves as it is. */
static bool set_content(struct finisher *finisher, qpdf_oh page, const struct text *content)
{
    enum { LEVEL = 1 };

    uLongf length = compressBound(content->length);
    unsigned char *pressed = arena_alloc(finisher->arena, length);
    if (compress2(pressed, &length, (const Bytef *)content->data, content->length, LEVEL) != Z_OK) {
        return false;
    }
    qpdf_oh stream = qpdf_oh_new_stream(finisher->pdf);
    qpdf_oh_replace_stream_data(finisher->pdf, stream, pressed, length,
                                qpdf_oh_new_name(finisher->pdf, "/FlateDecode"),
                                qpdf_oh_new_null(finisher->pdf));
    set(finisher, page, "/Contents", stream);
    return true;
}

static bool mark_artefacts(struct finisher *finisher, qpdf_oh page, struct error *reterr)
{
    unsigned char *content = NULL;
    size_t length = 0;
    (void)qpdf_oh_get_page_content_data(finisher->pdf, page, &content, &length);
    if (!is_well(finisher, "reading its content", reterr)) {
        free(content);
        return false;
    }
    struct text marked;
    text_init(&marked, finisher->arena, CONTENT_MAX);
    bool good = pdf_mark_artefacts(content, length, &marked);
    free(content);
    good = good && set_content(finisher, page, &marked);
    return good || error_set(reterr, ERROR_INTERNAL, "a page's marks are not nested soundly");
}

/* For the keys of one dictionary at a time, which need not be there. */
static bool has_more_keys(struct finisher *finisher, qpdf_oh dictionary, bool *is_begun)
{
    if (!*is_begun && !qpdf_oh_is_dictionary(finisher->pdf, dictionary)) {
        return false;
    }
    if (!*is_begun) {
        qpdf_oh_begin_dict_key_iter(finisher->pdf, dictionary);
        *is_begun = true;
    }
    return qpdf_oh_dict_more_keys(finisher->pdf) != 0;
}

/* ISO 19005-2, 6.2.11.3.2: the map has to be there even where it is the standard one. */
static void set_glyph_maps(struct finisher *finisher, qpdf_oh page)
{
    bool is_begun = false;
    qpdf_oh fonts = get(finisher, get(finisher, page, "/Resources"), "/Font");
    while (has_more_keys(finisher, fonts, &is_begun)) {
        qpdf_oh font = get(finisher, fonts, qpdf_oh_dict_next_key(finisher->pdf));
        qpdf_oh descendants = get(finisher, font, "/DescendantFonts");
        if (!qpdf_oh_is_array(finisher->pdf, descendants)) {
            continue;
        }
        qpdf_oh descendant = qpdf_oh_get_array_item(finisher->pdf, descendants, 0);
        if (qpdf_oh_is_dictionary_of_type(finisher->pdf, descendant, "", "/CIDFontType2") &&
            !qpdf_oh_has_key(finisher->pdf, descendant, "/CIDToGIDMap")) {
            set_parsed(finisher, descendant, "/CIDToGIDMap", "/Identity");
        }
    }
}

/* Pictures come from fonts that are made of them. ISO 19005-2, 6.2.8: no interpolation. */
static void forbid_interpolation(struct finisher *finisher, qpdf_oh page)
{
    bool is_begun = false;
    qpdf_oh objects = get(finisher, get(finisher, page, "/Resources"), "/XObject");
    while (has_more_keys(finisher, objects, &is_begun)) {
        qpdf_oh object = get(finisher, objects, qpdf_oh_dict_next_key(finisher->pdf));
        qpdf_oh dictionary = qpdf_oh_is_stream(finisher->pdf, object)
                                 ? qpdf_oh_get_dict(finisher->pdf, object)
                                 : object;
        qpdf_oh_remove_key(finisher->pdf, dictionary, "/Interpolate");
    }
}

/* Links are printed, and say where they lead (ISO 14289-1, 7.18.5). */
static void finish_links(struct finisher *finisher, qpdf_oh page)
{
    qpdf_oh annotations = get(finisher, page, "/Annots");
    int count = qpdf_oh_is_array(finisher->pdf, annotations)
                    ? qpdf_oh_get_array_n_items(finisher->pdf, annotations)
                    : 0;
    for (int i = 0; i < count; i++) {
        qpdf_oh link = qpdf_oh_get_array_item(finisher->pdf, annotations, i);
        qpdf_oh address = get(finisher, get(finisher, link, "/A"), "/URI");
        set_parsed(finisher, link, "/F", "4");
        if (qpdf_oh_is_string(finisher->pdf, address)) {
            set_words(finisher, link, "/Contents", qpdf_oh_get_utf8_value(finisher->pdf, address));
        }
    }
}

static bool finish_pages(struct finisher *finisher, struct error *reterr)
{
    int count = qpdf_get_num_pages(finisher->pdf);
    for (int i = 0; i < count; i++) {
        qpdf_oh page = qpdf_get_page_n(finisher->pdf, (size_t)i);
        set_parsed(finisher, page, "/Tabs", "/S");
        set_glyph_maps(finisher, page);
        forbid_interpolation(finisher, page);
        finish_links(finisher, page);
        if (!mark_artefacts(finisher, page, reterr)) {
            return error_context(reterr, "page %d", i + 1);
        }
    }
    return true;
}

/* ---- structure ---- */

static bool is_element(struct finisher *finisher, qpdf_oh object, const char *name)
{
    return qpdf_oh_is_name_and_equals(finisher->pdf, get(finisher, object, "/S"), name);
}

static double page_height_pt(struct finisher *finisher, qpdf_oh page)
{
    qpdf_oh box = get(finisher, page, "/MediaBox");
    return qpdf_oh_is_array(finisher->pdf, box)
               ? qpdf_oh_get_numeric_value(finisher->pdf,
                                           qpdf_oh_get_array_item(finisher->pdf, box, 3))
               : CANVAS_A4_HEIGHT_PT;
}

static bool finish_figure(struct finisher *finisher, qpdf_oh element, struct error *reterr)
{
    if (finisher->figures == finisher->facts->figure_count) {
        return error_set(reterr, ERROR_INTERNAL, "there are more tags of figures than figures");
    }
    const struct pdf_figure *figure = &finisher->facts->figures[finisher->figures++];
    double height_pt = page_height_pt(finisher, get(finisher, element, "/Pg"));
    set_words(finisher, element, "/Alt", figure->alternative);
    set_parsed(finisher, element, "/A",
               arena_printf(finisher->arena,
                            "<< /O /Layout /Placement /Block /BBox [%.3f %.3f %.3f %.3f] >>",
                            figure->area.x, height_pt - figure->area.y - figure->area.height,
                            figure->area.x + figure->area.width, height_pt - figure->area.y));
    return true;
}

static bool finish_element(struct finisher *finisher, qpdf_oh element, struct error *reterr)
{
    if (is_element(finisher, element, "/Figure")) {
        return finish_figure(finisher, element, reterr);
    }
    if (is_element(finisher, element, "/TH")) {
        set_parsed(finisher, element, "/A", "<< /O /Table /Scope /Column >>");
    }
    return true;
}

/* A caption belongs to its figure (ISO 14289-1, 7.3). It was drawn after it, since cairo takes what
 * is drawn in a tag that holds another one for an artefact: so it is moved from behind it into it.
 */
static void adopt_caption(struct finisher *finisher, qpdf_oh kids, int place)
{
    qpdf_oh figure = qpdf_oh_get_array_item(finisher->pdf, kids, place);
    if (place + 1 >= qpdf_oh_get_array_n_items(finisher->pdf, kids)) {
        return;
    }
    qpdf_oh caption = qpdf_oh_get_array_item(finisher->pdf, kids, place + 1);
    if (!is_element(finisher, caption, "/Caption")) {
        return;
    }
    qpdf_oh content = get(finisher, figure, "/K");
    if (!qpdf_oh_is_array(finisher->pdf, content)) {
        content = qpdf_oh_wrap_in_array(finisher->pdf, content);
    }
    qpdf_oh_append_item(finisher->pdf, content, caption);
    set(finisher, figure, "/K", content);
    set(finisher, caption, "/P", figure);
    qpdf_oh_erase_item(finisher->pdf, kids, place + 1);
}

/* Children that are still to be looked at, on each level. */
struct level {
    qpdf_oh kids;
    int count;
    int next;
};

static bool enter(struct finisher *finisher, struct level *levels, size_t *depth, qpdf_oh element)
{
    qpdf_oh kids = get(finisher, element, "/K");
    if (!qpdf_oh_is_array(finisher->pdf, kids)) {
        kids = qpdf_oh_wrap_in_array(finisher->pdf, kids);
    }
    if (*depth == DEPTH_MAX) {
        return false;
    }
    levels[(*depth)++] =
        (struct level){.kids = kids, .count = qpdf_oh_get_array_n_items(finisher->pdf, kids)};
    return true;
}

static bool finish_structure(struct finisher *finisher, struct error *reterr)
{
    struct level levels[DEPTH_MAX];
    size_t depth = 0;
    qpdf_oh tree = get(finisher, qpdf_get_root(finisher->pdf), "/StructTreeRoot");
    bool good = enter(finisher, levels, &depth, tree);
    while (good && depth > 0) {
        struct level *level = &levels[depth - 1];
        if (level->next == level->count) {
            depth--;
            continue;
        }
        qpdf_oh kid = qpdf_oh_get_array_item(finisher->pdf, level->kids, level->next);
        if (is_element(finisher, kid, "/Figure")) {
            adopt_caption(finisher, level->kids, level->next);
            level->count = qpdf_oh_get_array_n_items(finisher->pdf, level->kids);
        }
        level->next++;
        if (qpdf_oh_is_name(finisher->pdf, get(finisher, kid, "/S"))) {
            if (!finish_element(finisher, kid, reterr)) {
                return false;
            }
            good = enter(finisher, levels, &depth, kid);
        }
    }
    if (!good) {
        return error_set(reterr, ERROR_INTERNAL, "tags are nested too deeply");
    }
    return finisher->figures == finisher->facts->figure_count ||
           error_set(reterr, ERROR_INTERNAL, "there are fewer tags of figures than figures");
}

/* ---- the file ---- */

static bool write_file(struct finisher *finisher, const unsigned char **ret_bytes,
                       size_t *ret_length, struct error *reterr)
{
    qpdf_data pdf = finisher->pdf;
    if (qpdf_init_write_memory(pdf) == QPDF_SUCCESS) {
        qpdf_set_deterministic_ID(pdf, QPDF_TRUE);
        qpdf_set_object_stream_mode(pdf, qpdf_o_generate);
        qpdf_set_compress_streams(pdf, QPDF_TRUE);
        qpdf_force_pdf_version(pdf, "1.7");
        (void)qpdf_write(pdf);
    }
    if (!is_well(finisher, "writing", reterr)) {
        return false;
    }
    *ret_length = qpdf_get_buffer_length(pdf);
    unsigned char *bytes = arena_alloc(finisher->arena, *ret_length);
    memcpy(bytes, qpdf_get_buffer(pdf), *ret_length);
    *ret_bytes = bytes;
    return true;
}

static bool finish(struct finisher *finisher, const unsigned char *bytes, size_t length,
                   struct error *reterr)
{
    (void)qpdf_read_memory(finisher->pdf, "drawing", (const char *)bytes, length, NULL);
    return is_well(finisher, "reading", reterr) && set_catalogue(finisher, reterr) &&
           finish_pages(finisher, reterr) && finish_structure(finisher, reterr) &&
           is_well(finisher, "changing", reterr);
}

bool pdf_finish(struct arena *arena, const unsigned char *bytes, size_t length,
                const struct pdf_facts *facts, const unsigned char **ret_bytes, size_t *ret_length,
                struct error *reterr)
{
    struct finisher finisher = {.arena = arena, .pdf = qpdf_init(), .facts = facts};
    qpdf_silence_errors(finisher.pdf);
    qpdf_set_suppress_warnings(finisher.pdf, QPDF_TRUE);
    qpdf_set_attempt_recovery(finisher.pdf, QPDF_FALSE);
    bool good = finish(&finisher, bytes, length, reterr) &&
                write_file(&finisher, ret_bytes, ret_length, reterr);
    qpdf_cleanup(&finisher.pdf);
    return good || error_context(reterr, "finishing a PDF");
}
