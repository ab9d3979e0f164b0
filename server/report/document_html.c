/* Classes for the stylesheet (web/src/document.css):
 *   body.document            the page
 *   .document-mark           "Preliminary": at the top, and across every printed page
 *   .document-head           whose it is and whom it is about; .document-code the QR code
 *   p.note, p.caution        small print; what a reader must not miss
 *   p.address                an addressee's lines
 *   dl.facts > div > dt+dd   pairs
 *   div.scroll > table       tables may be wider than the window; td.number
 *   figure, .half            a figure; div.figures holds those that stand side by side
 *   .page-break              what follows begins a printed page
 *   .document-foot           software and revision
 */
#include "report/document.h"

#include <sodium.h>

enum { CODE_SIDE_PT = 68 };

/* Points are 1/72 inch, and pixels of a page 1/96. */
#define PIXELS_PER_POINT (96.0 / 72.0)

struct html {
    struct text *out;
    int part;             /* of level 2 that is open, from 1; 0: none */
    bool page_break_next; /* the next block begins a page */
};

/* ---- words ---- */

static void write_span(const struct document_span *span, struct text *out)
{
    text_append(out, span->strong ? "<strong>" : "");
    text_append(out, span->emphasis ? "<em>" : "");
    text_append(out, span->from_person ? "<bdi>" : "");
    text_append_html(out, span->words);
    text_append(out, span->from_person ? "</bdi>" : "");
    text_append(out, span->emphasis ? "</em>" : "");
    text_append(out, span->strong ? "</strong>" : "");
}

static void write_spans(struct document_spans spans, struct text *out)
{
    for (size_t i = 0; i < spans.count; i++) {
        write_span(&spans.spans[i], out);
        text_append(out, spans.spans[i].ends_line && i + 1 < spans.count ? "<br>" : "");
    }
}

static void write_element(const char *start, const char *words, const char *end, struct text *out)
{
    text_append(out, start);
    text_append_html(out, words);
    text_append(out, end);
}

/* ---- pictures ---- */

struct picture {
    const char *alternative;
    struct canvas_rect area;
};

static void write_base64(const unsigned char *bytes, size_t length, struct arena *scratch,
                         struct text *out)
{
    size_t size = sodium_base64_encoded_len(length, sodium_base64_VARIANT_ORIGINAL);
    char *encoded = arena_alloc(scratch, size);
    text_append(out,
                sodium_bin2base64(encoded, size, bytes, length, sodium_base64_VARIANT_ORIGINAL));
}

static void write_picture(const struct picture *picture, const unsigned char *svg, size_t length,
                          struct arena *scratch, struct text *out)
{
    text_printf(out, "<img width=\"%.0f\" height=\"%.0f\" alt=\"",
                picture->area.width * PIXELS_PER_POINT, picture->area.height * PIXELS_PER_POINT);
    text_append_html(out, picture->alternative);
    text_append(out, "\" src=\"data:image/svg+xml;base64,");
    write_base64(svg, length, scratch, out);
    text_append(out, "\">");
}

/* What cannot be drawn is told in words: a reader must not take it for left out. A page may hold
 * many pictures, each several times as large as its text here: they go as soon as they are written.
 */
static void finish_picture(const struct picture *picture, struct canvas *canvas, struct text *out)
{
    struct arena *scratch = arena_new();
    const unsigned char *svg = NULL;
    size_t length = 0;
    struct error error = {0};
    if (canvas_finish(canvas, scratch, &svg, &length, &error)) {
        write_picture(picture, svg, length, scratch, out);
    } else {
        write_element("<p>", picture->alternative, "</p>", out);
    }
    canvas_free(canvas);
    arena_free(scratch);
}

static void write_code(const struct document_facts *facts, struct text *out)
{
    const char *label = facts->code_label == NULL ? "" : facts->code_label;
    const struct picture picture = {"Code for cameras", {0, 0, CODE_SIDE_PT, CODE_SIDE_PT}};
    struct canvas *canvas = canvas_new(CANVAS_SVG, picture.area.width, picture.area.height, 1);
    if (!canvas_qr(canvas, picture.area, facts->code)) {
        canvas_free(canvas);
        return;
    }
    text_append(out, "<p class=\"document-code\">");
    finish_picture(&picture, canvas, out);
    write_element("<span>", label, "</span></p>\n", out);
}

static void write_figure(const struct document_figure *figure, struct text *out)
{
    const struct picture picture = {
        figure->alternative,
        {0, 0, figure->is_half ? DOCUMENT_HALF_WIDTH_PT : DOCUMENT_WIDTH_PT, figure->height_pt}};
    struct canvas *canvas = canvas_new(CANVAS_SVG, picture.area.width, picture.area.height, 1);
    figure->draw(figure->context, canvas, picture.area);
    text_append(out, figure->is_half ? "<figure class=\"half\">" : "<figure>");
    finish_picture(&picture, canvas, out);
    write_element("<figcaption>", figure->caption, "</figcaption></figure>\n", out);
}

static bool is_half_figure(const struct document_block *block)
{
    return block != NULL && block->kind == DOCUMENT_FIGURE && block->figure.is_half;
}

/* Halves that follow one another are written together; returns the last one. */
static const struct document_block *write_figures(const struct document_block *block,
                                                  struct text *out)
{
    if (!is_half_figure(block)) {
        write_figure(&block->figure, out);
        return block;
    }
    text_append(out, "<div class=\"figures\">\n");
    write_figure(&block->figure, out);
    while (is_half_figure(block->next)) {
        block = block->next;
        write_figure(&block->figure, out);
    }
    text_append(out, "</div>\n");
    return block;
}

/* ---- other blocks ---- */

static void end_part(struct html *html)
{
    text_append(html->out, html->part > 0 ? "</section>\n" : "");
}

/* Each heading of level 2 begins a section that it names. */
static void write_heading(struct html *html, const struct document_block *block)
{
    struct text *out = html->out;
    const char *page_break = html->page_break_next ? " class=\"page-break\"" : "";
    html->page_break_next = false;
    if (block->level == 2) {
        end_part(html);
        html->part++;
        text_printf(out, "<section aria-labelledby=\"part-%d\"%s>\n<h2 id=\"part-%d\">", html->part,
                    page_break, html->part);
    } else {
        text_printf(out, "<h%d%s>", block->level, page_break);
    }
    write_spans(block->spans, out);
    text_printf(out, "</h%d>\n", block->level);
}

static void write_paragraph(const struct document_block *block, struct text *out)
{
    static const char *const starts[] = {[DOCUMENT_PLAIN] = "<p>",
                                         [DOCUMENT_NOTE] = "<p class=\"note\">",
                                         [DOCUMENT_CAUTION] = "<p class=\"caution\">",
                                         [DOCUMENT_ADDRESS] = "<p class=\"address\">"};
    text_append(out, starts[block->tone]);
    write_spans(block->spans, out);
    text_append(out, "</p>\n");
}

static void write_list(const struct document_block *block, struct text *out)
{
    text_append(out, "<ul>\n");
    for (size_t i = 0; i < block->count; i++) {
        text_append(out, "<li>");
        write_spans(block->items[i], out);
        text_append(out, "</li>\n");
    }
    text_append(out, "</ul>\n");
}

static void write_facts(const struct document_block *block, struct text *out)
{
    text_append(out, "<dl class=\"facts\">\n");
    for (size_t i = 0; i < block->count; i++) {
        write_element("<div><dt>", block->terms[i].term, "</dt><dd>", out);
        write_span(&block->terms[i].value, out);
        text_append(out, "</dd></div>\n");
    }
    text_append(out, "</dl>\n");
}

static void write_row(const struct document_block *block, const struct document_span *row,
                      struct text *out)
{
    text_append(out, "<tr>");
    for (size_t i = 0; i < block->column_count; i++) {
        bool is_number = block->columns[i].is_number;
        bool is_head = i == 0 && !is_number;
        text_append(out, is_head     ? "<th scope=\"row\">"
                         : is_number ? "<td class=\"number\">"
                                     : "<td>");
        write_span(&row[i], out);
        text_append(out, is_head ? "</th>" : "</td>");
    }
    text_append(out, "</tr>\n");
}

static void write_table(const struct document_block *block, struct text *out)
{
    text_append(out, "<div class=\"scroll\" role=\"group\" tabindex=\"0\" aria-label=\"");
    text_append_html(out, block->caption[0] == '\0' ? "Table" : block->caption);
    text_append(out, "\">\n<table>\n");
    if (block->caption[0] != '\0') {
        write_element("<caption>", block->caption, "</caption>\n", out);
    }
    text_append(out, "<thead><tr>");
    for (size_t i = 0; i < block->column_count; i++) {
        write_element(block->columns[i].is_number ? "<th scope=\"col\" class=\"number\">"
                                                  : "<th scope=\"col\">",
                      block->columns[i].label, "</th>", out);
    }
    text_append(out, "</tr></thead>\n<tbody>\n");
    for (size_t i = 0; i < block->count; i++) {
        write_row(block, block->rows[i], out);
    }
    text_append(out, "</tbody>\n</table>\n</div>\n");
}

/* Returns the last block that was written. */
static const struct document_block *write_block(struct html *html,
                                                const struct document_block *block)
{
    switch (block->kind) {
    case DOCUMENT_HEADING:
        write_heading(html, block);
        break;
    case DOCUMENT_PARAGRAPH:
        write_paragraph(block, html->out);
        break;
    case DOCUMENT_LIST:
        write_list(block, html->out);
        break;
    case DOCUMENT_FACTS:
        write_facts(block, html->out);
        break;
    case DOCUMENT_TABLE:
        write_table(block, html->out);
        break;
    case DOCUMENT_FIGURE:
        return write_figures(block, html->out);
    case DOCUMENT_PAGE_BREAK:
        html->page_break_next = true;
        break;
    }
    return block;
}

/* ---- the page ---- */

static void write_head(const struct document_facts *facts, struct text *out)
{
    write_element("<!doctype html>\n<html lang=\"", facts->language, "\">\n", out);
    text_append(out, "<head>\n<meta charset=\"utf-8\">\n<meta name=\"viewport\" "
                     "content=\"width=device-width, initial-scale=1\">\n");
    write_element("<title>", facts->title, "</title>\n", out);
    text_append(out, "<link rel=\"stylesheet\" href=\"/assets/penstock.css\">\n</head>\n"
                     "<body class=\"document\">\n<header class=\"document-head\">\n");
    if (facts->mark != NULL) {
        write_element("<p class=\"document-mark\">", facts->mark, "</p>\n", out);
    }
    write_element("<p class=\"document-whose\"><bdi>", facts->head_end, "</bdi></p>\n", out);
    write_element("<p class=\"document-whom\"><bdi>", facts->head_start, "</bdi></p>\n", out);
    if (facts->code != NULL) {
        write_code(facts, out);
    }
    text_append(out, "</header>\n<main>\n");
}

void document_write_html(const struct document *document, struct text *out)
{
    struct html html = {.out = out};
    const struct document_facts *facts = document_facts(document);
    write_head(facts, out);
    for (const struct document_block *block = document_first_block(document); block != NULL;
         block = block->next) {
        block = write_block(&html, block);
    }
    end_part(&html);
    write_element("</main>\n<footer class=\"document-foot\">\n<p>", facts->foot,
                  "</p>\n</footer>\n</body>\n</html>\n", out);
}
