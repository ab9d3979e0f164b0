#include "report/document_pdf_parts.h"

#include <math.h>
#include <string.h>

/* Head and foot: a rule, and words beyond it. */
static const double HEAD_WORDS_PT = 28.0;
static const double HEAD_RULE_PT = 44.0;
static const double FOOT_RULE_PT = CANVAS_A4_HEIGHT_PT - 46.0;
static const double FOOT_WORDS_PT = CANVAS_A4_HEIGHT_PT - 41.0;
static const double SMALL_SIZE_PT = 7.5;

/* The code's square, to the right at the top of the first page, and its label below. */
static const double CODE_PT = 64.0;
static const double CODE_GAP_PT = 14.0;
static const double CODE_LABEL_SIZE_PT = 6.5;
static const double CODE_HEIGHT_PT = 64.0 + 12.0;

static const struct canvas_colour MARK_COLOUR = {0.940, 0.928, 0.912};

/* Body and the document's own words are far below this. */
enum { PAGES_MAX = 10000 };

/* ---- what stands on every page ---- */

static void draw_rule(struct paper *paper, double y)
{
    struct canvas_pen pen = {.colour = paper_rule, .width_pt = 0.6};
    canvas_line(paper->canvas, (struct canvas_point){PAPER_LEFT_PT, y},
                (struct canvas_point){PAPER_LEFT_PT + PAPER_WIDTH_PT, y}, &pen);
}

/* Words at both ends of a line; those at the start give way. They may be a person's. */
static void draw_ends(struct paper *paper, double y, const char *start, const char *end)
{
    struct canvas_run run = {.words = end, .from_person = true};
    struct canvas_text text = {.runs = &run,
                               .run_count = 1,
                               .style = {.size_pt = SMALL_SIZE_PT, .colour = paper_soft},
                               .align = CANVAS_END,
                               .width_pt = PAPER_WIDTH_PT / 2.0,
                               .lines_most = 1};
    double taken = canvas_text_size(paper->canvas, &text).width;
    (void)canvas_draw_text(paper->canvas,
                           (struct canvas_point){PAPER_LEFT_PT + PAPER_WIDTH_PT / 2.0, y}, &text);
    run.words = start;
    text.align = CANVAS_START;
    text.width_pt = PAPER_WIDTH_PT - taken - 12.0;
    (void)canvas_draw_text(paper->canvas, (struct canvas_point){PAPER_LEFT_PT, y}, &text);
}

static void draw_mark(struct paper *paper)
{
    static const double ANGLE = 52.0; // about the page's own diagonal
    static const double SIZE_PT = 96.0;
    static const double ROOM_PT = 760.0;

    struct canvas_style style = {.size_pt = SIZE_PT, .bold = true, .colour = MARK_COLOUR};
    struct canvas_text text = paper_words(paper, paper->facts->mark, style, 0.0);
    struct canvas_size size = canvas_text_size(paper->canvas, &text);
    if (size.width > ROOM_PT) {
        style.size_pt *= ROOM_PT / size.width;
        size.height *= ROOM_PT / size.width;
    }
    double turn = ANGLE * 3.14159265358979323846 / 180.0;
    struct canvas_point at = {CANVAS_A4_WIDTH_PT / 2.0 - size.height / 2.0 * sin(turn),
                              CANVAS_A4_HEIGHT_PT / 2.0 - size.height / 2.0 * cos(turn)};
    (void)canvas_label(paper->canvas, at, paper->facts->mark, &style, CANVAS_CENTRE, ANGLE);
}

static void draw_code(struct paper *paper)
{
    struct canvas_rect square = {PAPER_LEFT_PT + PAPER_WIDTH_PT - CODE_PT, PAPER_TOP_PT, CODE_PT,
                                 CODE_PT};
    if (!canvas_qr(paper->canvas, square, paper->facts->code) || paper->facts->code_label == NULL) {
        return;
    }
    struct canvas_style style = {.size_pt = CODE_LABEL_SIZE_PT, .colour = paper_soft};
    struct canvas_text text = paper_words(paper, paper->facts->code_label, style, CODE_PT);
    text.align = CANVAS_CENTRE;
    text.lines_most = 1;
    paper_draw(paper, square.x, square.y + CODE_PT, &text);
}

static const char *page_words(struct paper *paper)
{
    bool is_english = strncmp(paper->facts->language, "en", 2) == 0;
    return arena_printf(paper->arena, is_english ? "Page %d of %d" : "%d / %d", paper->page,
                        paper->page_count);
}

/* Everything here lies outside of tags, and below what comes after it. */
static void begin_page(struct paper *paper)
{
    paper->y = PAPER_TOP_PT;
    paper->space = 0.0;
    paper->is_top = true;
    if (!paper->draws) {
        return;
    }
    if (paper->facts->mark != NULL) {
        draw_mark(paper);
    }
    draw_ends(paper, HEAD_WORDS_PT, paper->facts->head_start, paper->facts->head_end);
    draw_rule(paper, HEAD_RULE_PT);
    draw_rule(paper, FOOT_RULE_PT);
    draw_ends(paper, FOOT_WORDS_PT, paper->facts->foot, page_words(paper));
    if (paper->page == 1 && paper->facts->code != NULL) {
        draw_code(paper);
    }
}

void paper_next_page(struct paper *paper)
{
    paper->page++;
    if (paper->draws) {
        canvas_next_page(paper->canvas);
    }
    begin_page(paper);
}

/* ---- room ---- */

static double start_of(const struct paper *paper, double space)
{
    return paper->is_top ? paper->y : paper->y + fmax(space, paper->space);
}

double paper_room(const struct paper *paper, double space)
{
    return PAPER_BOTTOM_PT - start_of(paper, space);
}

void paper_begin(struct paper *paper, double space, double height)
{
    if (!paper->is_top && paper_room(paper, space) < height && paper->page < PAGES_MAX) {
        paper_next_page(paper);
    }
    paper->y = start_of(paper, space);
    paper->space = 0.0;
}

void paper_take(struct paper *paper, double height)
{
    paper->y += height;
    paper->is_top = false;
}

static bool is_beside_code(const struct paper *paper, double y)
{
    return paper->page == 1 && paper->facts->code != NULL && y < PAPER_TOP_PT + CODE_HEIGHT_PT;
}

double paper_width(const struct paper *paper, double space)
{
    return is_beside_code(paper, start_of(paper, space)) ? PAPER_WIDTH_PT - CODE_PT - CODE_GAP_PT
                                                         : PAPER_WIDTH_PT;
}

void paper_clear_code(struct paper *paper)
{
    if (is_beside_code(paper, start_of(paper, 0.0))) {
        paper->y = PAPER_TOP_PT + CODE_HEIGHT_PT;
        paper->is_top = false;
    }
}

void paper_tag_begin(struct paper *paper, enum canvas_tag tag)
{
    if (paper->draws) {
        canvas_tag_begin(paper->canvas, tag, NULL);
    }
}

void paper_tag_end(struct paper *paper, enum canvas_tag tag)
{
    if (paper->draws) {
        canvas_tag_end(paper->canvas, tag);
    }
}

/* ---- the document ---- */

static const struct document_block *write_block(struct paper *paper,
                                                const struct document_block *block)
{
    switch (block->kind) {
    case DOCUMENT_HEADING:
        return paper_heading(paper, block);
    case DOCUMENT_PARAGRAPH:
        return paper_paragraph(paper, block);
    case DOCUMENT_LIST:
        return paper_list(paper, block);
    case DOCUMENT_FACTS:
        return paper_facts(paper, block);
    case DOCUMENT_TABLE:
        return paper_table(paper, block);
    case DOCUMENT_FIGURE:
        return paper_figure(paper, block);
    case DOCUMENT_PAGE_BREAK:
        break;
    }
    if (!paper->is_top) {
        paper_next_page(paper);
    }
    return block;
}

static void write_pages(struct paper *paper, const struct document *document)
{
    paper->page = 1;
    paper_tag_begin(paper, CANVAS_TAG_DOCUMENT);
    begin_page(paper);
    const struct document_block *block = document_first_block(document);
    while (block != NULL) {
        block = write_block(paper, block)->next;
    }
    paper_tag_end(paper, CANVAS_TAG_DOCUMENT);
}

static bool draw_document(struct paper *paper, const struct document *document,
                          const unsigned char **ret_bytes, size_t *ret_length, struct error *reterr)
{
    paper->canvas = canvas_new(CANVAS_PDF, CANVAS_A4_WIDTH_PT, CANVAS_A4_HEIGHT_PT, 1.0);
    write_pages(paper, document);
    paper->page_count = paper->page;
    paper->draws = true;
    write_pages(paper, document);
    bool good = canvas_finish(paper->canvas, paper->arena, ret_bytes, ret_length, reterr);
    canvas_free(paper->canvas);
    return good;
}

bool document_write_pdf(const struct document *document, struct arena *arena,
                        const unsigned char **ret_bytes, size_t *ret_length, struct error *reterr)
{
    const struct document_facts *facts = document_facts(document);
    struct paper paper = {.arena = arena, .facts = facts};
    const unsigned char *drawing = NULL;
    size_t length = 0;
    if (!draw_document(&paper, document, &drawing, &length, reterr)) {
        return false;
    }
    struct pdf_facts pdf = {.title = facts->title,
                            .language = facts->language,
                            .author = facts->author,
                            .subject = facts->subject,
                            .made_at_us = facts->made_at_us,
                            .figures = paper.figures,
                            .figure_count = paper.figure_count};
    return pdf_finish(arena, drawing, length, &pdf, ret_bytes, ret_length, reterr);
}
