#include "report/document_pdf_parts.h"

#include <math.h>

static const double BODY_SIZE_PT = 9.5;
static const double NOTE_SIZE_PT = 7.5;
static const double PARAGRAPH_SPACE_PT = 6.0;

static struct canvas_style plain_style(void)
{
    return (struct canvas_style){.size_pt = BODY_SIZE_PT, .colour = paper_ink};
}

/* ---- headings ---- */

struct heading {
    double size_pt;
    double space_before;
    double space_after;
    enum canvas_tag tag;
};

static const struct heading *heading_of(int level)
{
    static const struct heading headings[] = {
        {20.0, 18.0, 8.0, CANVAS_TAG_H1},
        {13.0, 17.0, 5.0, CANVAS_TAG_H2},
        {10.5, 11.0, 3.0, CANVAS_TAG_H3},
    };
    return &headings[level <= 1 ? 0 : level == 2 ? 1 : 2];
}

static struct canvas_text heading_text(struct paper *paper, const struct document_block *block,
                                       double width_pt)
{
    const struct heading *heading = heading_of(block->level);
    struct canvas_style style = {.size_pt = heading->size_pt,
                                 .bold = true,
                                 .colour = block->level == 2 ? paper_accent : paper_ink};
    return paper_text(paper, block->spans.spans, block->spans.count, style, width_pt);
}

/* A heading and what follows it, up to the first part of what is no heading, or to more than a page
 * has room for. */
static double kept_height(struct paper *paper, const struct document_block *block, double width)
{
    double height = 0.0;
    while (block != NULL && block->kind == DOCUMENT_HEADING && height < PAPER_HEIGHT_PT) {
        const struct heading *heading = heading_of(block->level);
        struct canvas_text text = heading_text(paper, block, width);
        height += (height > 0.0 ? heading->space_before : 0.0) + paper_text_height(paper, &text) +
                  heading->space_after;
        block = block->next;
    }
    return block == NULL ? height : height + paper_first_height(paper, block);
}

static const char *plain_words(struct paper *paper, const struct document_block *block)
{
    const char *words = "";
    for (size_t i = 0; i < block->spans.count; i++) {
        words = arena_printf(paper->arena, "%s%s", words, block->spans.spans[i].words);
    }
    return words;
}

const struct document_block *paper_heading(struct paper *paper, const struct document_block *block)
{
    const struct heading *heading = heading_of(block->level);
    double kept = kept_height(paper, block, paper_width(paper, heading->space_before));
    paper_begin(paper, heading->space_before, fmin(kept, PAPER_HEIGHT_PT));
    struct canvas_text text = heading_text(paper, block, paper_width(paper, 0.0));
    if (paper->draws && block->level <= 2) {
        canvas_bookmark(paper->canvas, block->level <= 1 ? 1 : 2, plain_words(paper, block),
                        (struct canvas_point){0.0, paper->y - 6.0});
    }
    paper_tag_begin(paper, heading->tag);
    paper_draw(paper, PAPER_LEFT_PT, paper->y, &text);
    paper_tag_end(paper, heading->tag);
    paper_take(paper, paper_text_height(paper, &text));
    paper->space = heading->space_after;
    return block;
}

/* What follows a heading keeps the heading's distance, not its own. */
static double space_before(const struct paper *paper, double space)
{
    return paper->space > 0.0 ? paper->space : space;
}

/* ---- paragraphs ---- */

struct frame {
    double x;       /* of the text */
    double right;   /* what is left free beside it */
    double padding; /* above and below */
    bool is_box;
};

static void draw_box(struct paper *paper, double width, double height)
{
    static const double EDGE_PT = 3.0;
    if (paper->draws) {
        canvas_fill_rect(paper->canvas,
                         (struct canvas_rect){PAPER_LEFT_PT, paper->y, width, height},
                         paper_caution_ground);
        canvas_fill_rect(paper->canvas,
                         (struct canvas_rect){PAPER_LEFT_PT, paper->y, EDGE_PT, height},
                         paper_caution_edge);
    }
}

/* A paragraph of any length, as parts on as many pages as it takes; each part a paragraph of its
 * own to those who have it read out, since heads and feet stand between them. */
static void write_parts(struct paper *paper, const struct canvas_text *text,
                        const struct frame *frame)
{
    struct paper_part part = {.is_last = false};
    for (size_t first = 0; !part.is_last; first = part.next) {
        part =
            paper_find_part(paper, text, first, PAPER_BOTTOM_PT - paper->y - 2.0 * frame->padding);
        double height = part.height + 2.0 * frame->padding;
        if (frame->is_box) {
            draw_box(paper, text->width_pt + frame->x + frame->right - PAPER_LEFT_PT, height);
        }
        paper_tag_begin(paper, CANVAS_TAG_P);
        paper_draw_part(paper, frame->x, paper->y + frame->padding, text, &part);
        paper_tag_end(paper, CANVAS_TAG_P);
        paper_take(paper, height);
        if (part.next == first) {
            return; // nothing can be drawn: the canvas has failed
        }
        if (!part.is_last) {
            paper_next_page(paper);
        }
    }
}

static struct canvas_style tone_style(enum document_tone tone)
{
    struct canvas_style style = plain_style();
    if (tone == DOCUMENT_NOTE) {
        style.size_pt = NOTE_SIZE_PT;
        style.colour = paper_soft;
    } else if (tone == DOCUMENT_CAUTION) {
        style.colour = paper_caution_ink;
    }
    return style;
}

static struct frame tone_frame(enum document_tone tone)
{
    if (tone == DOCUMENT_CAUTION) {
        return (struct frame){
            .x = PAPER_LEFT_PT + 12.0, .right = 9.0, .padding = 6.0, .is_box = true};
    }
    return (struct frame){.x = PAPER_LEFT_PT};
}

static struct canvas_text paragraph_text(struct paper *paper, const struct document_block *block,
                                         double width_pt)
{
    struct frame frame = tone_frame(block->tone);
    return paper_text(paper, block->spans.spans, block->spans.count, tone_style(block->tone),
                      width_pt - (frame.x - PAPER_LEFT_PT) - frame.right);
}

/* DIN 5008, form B: a field of 85 x 45 mm, 20 mm from the left and 45 mm from the top; what is
 * written stands 5 mm within, in the lower 27.3 mm unless there is too much of it. */
static bool write_address(struct paper *paper, const struct document_block *block)
{
    static const double FIELD_TOP_PT = 45.0 * PAPER_MILLIMETRE;
    static const double FIELD_HEIGHT_PT = 45.0 * PAPER_MILLIMETRE;
    static const double MARGIN_PT = 2.0 * PAPER_MILLIMETRE; // below, for a letter that slips
    static const double WORDS_TOP_PT = 17.7 * PAPER_MILLIMETRE;
    static const double WORDS_LEFT_PT = 25.0 * PAPER_MILLIMETRE;
    static const double WORDS_WIDTH_PT = 78.0 * PAPER_MILLIMETRE;
    static const double AFTER_PT = 98.5 * PAPER_MILLIMETRE;

    struct canvas_text text = paper_text(paper, block->spans.spans, block->spans.count,
                                         tone_style(block->tone), WORDS_WIDTH_PT);
    double height = paper_text_height(paper, &text);
    if (paper->page > 1 || paper->y > FIELD_TOP_PT || height > FIELD_HEIGHT_PT - MARGIN_PT) {
        return false;
    }
    double top = fmin(WORDS_TOP_PT, FIELD_HEIGHT_PT - MARGIN_PT - height);
    paper_tag_begin(paper, CANVAS_TAG_P);
    paper_draw(paper, WORDS_LEFT_PT, FIELD_TOP_PT + top, &text);
    paper_tag_end(paper, CANVAS_TAG_P);
    paper->y = AFTER_PT;
    paper->is_top = false;
    return true;
}

const struct document_block *paper_paragraph(struct paper *paper,
                                             const struct document_block *block)
{
    if (block->tone == DOCUMENT_ADDRESS && write_address(paper, block)) {
        return block;
    }
    double space = space_before(paper, PARAGRAPH_SPACE_PT);
    struct frame frame = tone_frame(block->tone);
    struct canvas_text text = paragraph_text(paper, block, paper_width(paper, space));
    paper_begin(paper, space, paper_first_lines(paper, &text) + 2.0 * frame.padding);
    text = paragraph_text(paper, block, paper_width(paper, 0.0));
    write_parts(paper, &text, &frame);
    return block;
}

/* ---- lists ---- */

static const double ITEM_INDENT_PT = 12.0;
static const double ITEM_SPACE_PT = 2.5;

static struct canvas_text item_text(struct paper *paper, const struct document_spans *item,
                                    double width_pt)
{
    return paper_text(paper, item->spans, item->count, plain_style(), width_pt - ITEM_INDENT_PT);
}

static void draw_bullet(struct paper *paper)
{
    struct canvas_style style = plain_style();
    style.colour = paper_accent;
    struct canvas_text bullet = paper_words(paper, "\u2022", style, 0.0);
    paper_tag_begin(paper, CANVAS_TAG_LIST_LABEL);
    paper_draw(paper, PAPER_LEFT_PT + 2.0, paper->y, &bullet);
    paper_tag_end(paper, CANVAS_TAG_LIST_LABEL);
}

static void write_item(struct paper *paper, const struct canvas_text *text)
{
    struct paper_part part = {.is_last = false};
    for (size_t first = 0; !part.is_last; first = part.next) {
        part = paper_find_part(paper, text, first, PAPER_BOTTOM_PT - paper->y);
        paper_tag_begin(paper, CANVAS_TAG_LIST_ITEM);
        if (first == 0) {
            draw_bullet(paper);
        }
        paper_tag_begin(paper, CANVAS_TAG_LIST_BODY);
        paper_draw_part(paper, PAPER_LEFT_PT + ITEM_INDENT_PT, paper->y, text, &part);
        paper_tag_end(paper, CANVAS_TAG_LIST_BODY);
        paper_tag_end(paper, CANVAS_TAG_LIST_ITEM);
        paper_take(paper, part.height);
        if (part.next == first) {
            return;
        }
        if (!part.is_last) {
            paper_next_page(paper);
        }
    }
}

const struct document_block *paper_list(struct paper *paper, const struct document_block *block)
{
    paper_tag_begin(paper, CANVAS_TAG_LIST);
    for (size_t i = 0; i < block->count; i++) {
        double space = i == 0 ? space_before(paper, PARAGRAPH_SPACE_PT) : ITEM_SPACE_PT;
        struct canvas_text text = item_text(paper, &block->items[i], paper_width(paper, space));
        paper_begin(paper, space, paper_first_lines(paper, &text));
        text = item_text(paper, &block->items[i], paper_width(paper, 0.0));
        write_item(paper, &text);
    }
    paper_tag_end(paper, CANVAS_TAG_LIST);
    return block;
}

/* ---- facts ---- */

static const double FACT_GAP_PT = 8.0;
static const double FACT_COLUMN_GAP_PT = 22.0;
static const double FACT_SPACE_PT = 2.0;

/* How a list of facts is set: `columns` of pairs, each pair a term and a value. */
struct fact_grid {
    size_t columns;
    double column_width;
    double term_width;
    double value_width;
};

static struct canvas_text term_text(struct paper *paper, const struct document_term *term,
                                    double width_pt)
{
    struct canvas_style style = plain_style();
    style.colour = paper_soft;
    return paper_words(paper, term->term, style, width_pt);
}

static struct canvas_text value_text(struct paper *paper, const struct document_term *term,
                                     double width_pt)
{
    return paper_text(paper, &term->value, 1, plain_style(), width_pt);
}

static struct fact_grid find_grid(struct paper *paper, const struct document_block *block,
                                  double width)
{
    double term_width = 0.0;
    double value_width = 0.0;
    for (size_t i = 0; i < block->count; i++) {
        struct canvas_text term = term_text(paper, &block->terms[i], 0.0);
        struct canvas_text value = value_text(paper, &block->terms[i], 0.0);
        term_width = fmax(term_width, canvas_text_size(paper->canvas, &term).width);
        value_width = fmax(value_width, canvas_text_size(paper->canvas, &value).width);
    }
    double half = (width - FACT_COLUMN_GAP_PT) / 2.0;
    bool fits = block->count > 2 && term_width + FACT_GAP_PT + value_width <= half;
    struct fact_grid grid = {.columns = fits ? 2 : 1, .column_width = fits ? half : width};
    grid.term_width = fmin(term_width, 0.4 * grid.column_width) + 0.5; // or rounding may break it
    grid.value_width = grid.column_width - grid.term_width - FACT_GAP_PT;
    return grid;
}

static double fact_height(struct paper *paper, const struct document_term *term,
                          const struct fact_grid *grid)
{
    struct canvas_text words = term_text(paper, term, grid->term_width);
    struct canvas_text value = value_text(paper, term, grid->value_width);
    return fmax(paper_text_height(paper, &words), paper_text_height(paper, &value));
}

static double fact_row_height(struct paper *paper, const struct document_block *block, size_t first,
                              const struct fact_grid *grid)
{
    double height = 0.0;
    for (size_t i = first; i < block->count && i < first + grid->columns; i++) {
        height = fmax(height, fact_height(paper, &block->terms[i], grid));
    }
    return height;
}

static void draw_fact(struct paper *paper, const struct document_term *term, double x,
                      const struct fact_grid *grid)
{
    struct canvas_text words = term_text(paper, term, grid->term_width);
    struct canvas_text value = value_text(paper, term, grid->value_width);
    paper_tag_begin(paper, CANVAS_TAG_LIST_ITEM);
    paper_tag_begin(paper, CANVAS_TAG_LIST_LABEL);
    paper_draw(paper, x, paper->y, &words);
    paper_tag_end(paper, CANVAS_TAG_LIST_LABEL);
    paper_tag_begin(paper, CANVAS_TAG_LIST_BODY);
    paper_draw(paper, x + grid->term_width + FACT_GAP_PT, paper->y, &value);
    paper_tag_end(paper, CANVAS_TAG_LIST_BODY);
    paper_tag_end(paper, CANVAS_TAG_LIST_ITEM);
}

static void write_fact_row(struct paper *paper, const struct document_block *block, size_t first,
                           const struct fact_grid *grid)
{
    for (size_t i = first; i < block->count && i < first + grid->columns; i++) {
        double x = PAPER_LEFT_PT + (double)(i - first) * (grid->column_width + FACT_COLUMN_GAP_PT);
        draw_fact(paper, &block->terms[i], x, grid);
    }
    paper_take(paper, fact_row_height(paper, block, first, grid));
}

/* A fact that is higher than a page, its value in parts. */
static void write_high_fact(struct paper *paper, const struct document_term *term,
                            const struct fact_grid *grid)
{
    struct canvas_text words = term_text(paper, term, grid->term_width);
    struct canvas_text value = value_text(paper, term, grid->value_width);
    struct paper_part part = {.is_last = false};
    for (size_t first = 0; !part.is_last; first = part.next) {
        part = paper_find_part(paper, &value, first, PAPER_BOTTOM_PT - paper->y);
        paper_tag_begin(paper, CANVAS_TAG_LIST_ITEM);
        if (first == 0) {
            paper_tag_begin(paper, CANVAS_TAG_LIST_LABEL);
            paper_draw(paper, PAPER_LEFT_PT, paper->y, &words);
            paper_tag_end(paper, CANVAS_TAG_LIST_LABEL);
        }
        paper_tag_begin(paper, CANVAS_TAG_LIST_BODY);
        paper_draw_part(paper, PAPER_LEFT_PT + grid->term_width + FACT_GAP_PT, paper->y, &value,
                        &part);
        paper_tag_end(paper, CANVAS_TAG_LIST_BODY);
        paper_tag_end(paper, CANVAS_TAG_LIST_ITEM);
        paper_take(paper, part.height);
        if (part.next == first) {
            return;
        }
        if (!part.is_last) {
            paper_next_page(paper);
        }
    }
}

const struct document_block *paper_facts(struct paper *paper, const struct document_block *block)
{
    double space = space_before(paper, PARAGRAPH_SPACE_PT);
    struct fact_grid grid = find_grid(paper, block, paper_width(paper, space));
    paper_tag_begin(paper, CANVAS_TAG_LIST);
    for (size_t first = 0; first < block->count; first += grid.columns) {
        double height = fact_row_height(paper, block, first, &grid);
        bool is_high = grid.columns == 1 && height > PAPER_HEIGHT_PT;
        paper_begin(paper, first == 0 ? space : FACT_SPACE_PT, is_high ? 0.0 : height);
        if (is_high) {
            write_high_fact(paper, &block->terms[first], &grid);
        } else {
            write_fact_row(paper, block, first, &grid);
        }
    }
    paper_tag_end(paper, CANVAS_TAG_LIST);
    return block;
}

/* ---- figures ---- */

static const double FIGURE_SPACE_PT = 10.0;
static const double FIGURE_GAP_PT = 18.0;
static const double CAPTION_SPACE_PT = 3.0;

static struct canvas_text caption_text(struct paper *paper, const struct document_figure *figure,
                                       double width_pt)
{
    struct canvas_style style = {.size_pt = 8.5, .colour = paper_soft};
    return paper_words(paper, figure->caption, style, width_pt);
}

static double caption_height(struct paper *paper, const struct document_figure *figure,
                             double width_pt)
{
    struct canvas_text text = caption_text(paper, figure, width_pt);
    return figure->caption[0] == '\0' ? 0.0 : CAPTION_SPACE_PT + paper_text_height(paper, &text);
}

/* Rather than leave the rest of a page empty a figure becomes lower, down to this share. */
static const double FIGURE_SHARE_LEAST = 0.75;

/* Never higher than what a page leaves beside its caption. */
static double drawing_height(struct paper *paper, const struct document_figure *figure,
                             double width_pt, double share)
{
    return fmin(share * figure->height_pt,
                PAPER_HEIGHT_PT - caption_height(paper, figure, width_pt));
}

static double figure_height(struct paper *paper, const struct document_figure *figure,
                            double width_pt, double share)
{
    return drawing_height(paper, figure, width_pt, share) + caption_height(paper, figure, width_pt);
}

static void keep_figure(struct paper *paper, const char *alternative, struct canvas_rect area)
{
    enum { FIRST_CAPACITY = 8 };

    if (paper->figure_count == paper->figure_capacity) {
        size_t capacity = paper->figure_capacity == 0 ? FIRST_CAPACITY : 2 * paper->figure_count;
        struct pdf_figure *larger = arena_array(paper->arena, capacity, sizeof *larger);
        for (size_t i = 0; i < paper->figure_count; i++) {
            larger[i] = paper->figures[i];
        }
        paper->figures = larger;
        paper->figure_capacity = capacity;
    }
    paper->figures[paper->figure_count++] =
        (struct pdf_figure){.alternative = alternative, .area = area};
}

static void draw_figure(struct paper *paper, const struct document_figure *figure, double x,
                        double width, double share)
{
    if (!paper->draws) {
        return;
    }
    double height = drawing_height(paper, figure, width, share);
    struct canvas_rect area = {x, paper->y, width, height};
    keep_figure(paper, figure->alternative, area);
    canvas_tag_begin(paper->canvas, CANVAS_TAG_FIGURE, figure->alternative);
    figure->draw(figure->context, paper->canvas, area);
    canvas_tag_end(paper->canvas, CANVAS_TAG_FIGURE);
    if (figure->caption[0] != '\0') {
        struct canvas_text text = caption_text(paper, figure, width);
        canvas_tag_begin(paper->canvas, CANVAS_TAG_CAPTION, NULL);
        paper_draw(paper, x, paper->y + height + CAPTION_SPACE_PT, &text);
        canvas_tag_end(paper->canvas, CANVAS_TAG_CAPTION);
    }
}

static bool is_pair(const struct document_block *block)
{
    const struct document_block *next = block->next;
    return block->figure.is_half && next != NULL && next->kind == DOCUMENT_FIGURE &&
           next->figure.is_half;
}

static double half_width(void)
{
    return (PAPER_WIDTH_PT - FIGURE_GAP_PT) / 2.0;
}

static double figures_height(struct paper *paper, const struct document_block *block, double share)
{
    double width = block->figure.is_half ? half_width() : PAPER_WIDTH_PT;
    double height = figure_height(paper, &block->figure, width, share);
    return is_pair(block) ? fmax(height, figure_height(paper, &block->next->figure, width, share))
                          : height;
}

/* The share of its height at which a figure goes onto this page, or else 1. */
static double share_that_fits(struct paper *paper, const struct document_block *block, double space)
{
    enum { STEPS = 5 };

    for (int step = 0; step <= STEPS; step++) {
        double share = 1.0 - (1.0 - FIGURE_SHARE_LEAST) * step / STEPS;
        if (figures_height(paper, block, share) <= paper_room(paper, space)) {
            return share;
        }
    }
    return 1.0;
}

const struct document_block *paper_figure(struct paper *paper, const struct document_block *block)
{
    double width = block->figure.is_half ? half_width() : PAPER_WIDTH_PT;
    paper_clear_code(paper);
    double space = space_before(paper, FIGURE_SPACE_PT);
    double share = share_that_fits(paper, block, space);
    double height = figures_height(paper, block, share);
    paper_begin(paper, space, height);
    draw_figure(paper, &block->figure, PAPER_LEFT_PT, width, share);
    if (is_pair(block)) {
        draw_figure(paper, &block->next->figure, PAPER_LEFT_PT + width + FIGURE_GAP_PT, width,
                    share);
    }
    paper_take(paper, height);
    paper->space = FIGURE_SPACE_PT;
    return is_pair(block) ? block->next : block;
}

/* ---- what stays with a heading ---- */

double paper_first_height(struct paper *paper, const struct document_block *block)
{
    struct canvas_text text;
    struct fact_grid grid;
    switch (block->kind) {
    case DOCUMENT_PARAGRAPH:
        text = paragraph_text(paper, block, PAPER_WIDTH_PT);
        return paper_first_lines(paper, &text) + 2.0 * tone_frame(block->tone).padding;
    case DOCUMENT_LIST:
        text = item_text(paper, &block->items[0], PAPER_WIDTH_PT);
        return paper_first_lines(paper, &text);
    case DOCUMENT_FACTS:
        grid = find_grid(paper, block, PAPER_WIDTH_PT);
        return fact_row_height(paper, block, 0, &grid);
    case DOCUMENT_TABLE:
        return paper_table_first_height(paper, block);
    case DOCUMENT_FIGURE:
        return figures_height(paper, block, FIGURE_SHARE_LEAST);
    case DOCUMENT_HEADING:
    case DOCUMENT_PAGE_BREAK:
        break;
    }
    return 0.0;
}
