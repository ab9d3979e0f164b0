#include "report/document_pdf_parts.h"

#include <math.h>
#include <string.h>

static const double SIZE_PT = 8.5;
static const double SIZE_LEAST_PT = 6.0;
static const double CAPTION_SIZE_PT = 8.5;
static const double PADDING_X_PT = 4.0;
static const double PADDING_Y_PT = 2.6;
static const double TABLE_SPACE_PT = 10.0;

/* No word of a text makes its column wider than this share of the table. */
static const double WORD_SHARE_MOST = 0.3;

/* What has to have room of a row that is higher than a page, as a multiple of the letters' size. */
static const double HIGH_ROW_PART = 5.0;

struct table {
    const struct document_block *block;
    double size_pt;
    double *widths;      /* of the columns, with padding */
    bool breaks_numbers; /* so many or so long that they do not fit even when small */
};

static struct canvas_text cell_text(struct paper *paper, const struct table *table, size_t column,
                                    const struct document_span *cell)
{
    bool is_number = table->block->columns[column].is_number;
    struct canvas_style style = {.size_pt = table->size_pt, .colour = paper_ink};
    double width = table->widths[column] - 2.0 * PADDING_X_PT;
    struct canvas_text text =
        paper_text(paper, cell, 1, style, is_number && !table->breaks_numbers ? 0.0 : width);
    text.align = is_number ? CANVAS_END : CANVAS_START;
    return text;
}

static struct canvas_text label_text(struct paper *paper, const struct table *table, size_t column)
{
    const struct document_column *columns = table->block->columns;
    struct canvas_style style = {
        .size_pt = table->size_pt - 0.5, .bold = true, .colour = paper_soft};
    struct canvas_text text = paper_words(paper, columns[column].label, style,
                                          table->widths[column] - 2.0 * PADDING_X_PT);
    text.align = columns[column].is_number ? CANVAS_END : CANVAS_START;
    return text;
}

/* ---- widths ---- */

static double words_width(struct paper *paper, const char *words, double size_pt, bool bold)
{
    struct canvas_style style = {.size_pt = size_pt, .bold = bold, .colour = paper_ink};
    struct canvas_text text = paper_words(paper, words, style, 0.0);
    return canvas_text_size(paper->canvas, &text).width + 0.5; // or rounding may break it
}

/* The longest word by its bytes: near enough for what is only a wish. */
static const char *longest_word(struct paper *paper, const char *words)
{
    size_t longest = 0;
    const char *from = words;
    for (const char *at = words; *at != '\0';) {
        size_t length = strcspn(at, " ");
        if (length > longest) {
            longest = length;
            from = at;
        }
        at += length + strspn(at + length, " ");
    }
    return arena_strndup(paper->arena, from, longest);
}

/* What a column needs: its numbers in one piece, its longest word unless that is too long. */
static double needed_width(struct paper *paper, const struct table *table, size_t column)
{
    const struct document_block *block = table->block;
    double most = WORD_SHARE_MOST * PAPER_WIDTH_PT;
    double needed = fmin(most, words_width(paper, longest_word(paper, block->columns[column].label),
                                           table->size_pt - 0.5, true));
    for (size_t row = 0; row < block->count; row++) {
        const struct document_span *cell = &block->rows[row][column];
        if (block->columns[column].is_number) {
            needed = fmax(needed, words_width(paper, cell->words, table->size_pt, cell->strong));
        } else {
            needed = fmax(needed, fmin(most, words_width(paper, longest_word(paper, cell->words),
                                                         table->size_pt, cell->strong)));
        }
    }
    return needed + 2.0 * PADDING_X_PT;
}

/* Shares by weight; a column that needs more than its share gets what it needs, from the others. */
static void share_width(const struct table *table, const double *needed, bool *is_settled)
{
    const struct document_block *block = table->block;
    bool changed = true;
    while (changed) {
        double left = PAPER_WIDTH_PT;
        double weights = 0.0;
        for (size_t i = 0; i < block->column_count; i++) {
            left -= is_settled[i] ? needed[i] : 0.0;
            weights += is_settled[i] ? 0.0 : block->columns[i].weight;
        }
        changed = false;
        for (size_t i = 0; i < block->column_count; i++) {
            table->widths[i] =
                is_settled[i] ? needed[i] : left * block->columns[i].weight / weights;
            if (!is_settled[i] && needed[i] > table->widths[i]) {
                is_settled[i] = true;
                changed = true;
            }
        }
    }
}

static double find_needs(struct paper *paper, const struct table *table, double *needed)
{
    double sum = 0.0;
    for (size_t i = 0; i < table->block->column_count; i++) {
        needed[i] = needed_width(paper, table, i);
        sum += needed[i];
    }
    return sum;
}

/* Letters become smaller until everything fits; when even that is not enough, whatever is too long
 * is broken, numbers too: nothing runs out of the table. */
static struct table new_table(struct paper *paper, const struct document_block *block)
{
    struct table table = {.block = block, .size_pt = SIZE_PT};
    table.widths = arena_array(paper->arena, block->column_count, sizeof *table.widths);
    double *needed = arena_array(paper->arena, block->column_count, sizeof *needed);
    bool *is_settled = arena_array(paper->arena, block->column_count, sizeof *is_settled);
    double sum = find_needs(paper, &table, needed);
    while (sum > PAPER_WIDTH_PT && table.size_pt > SIZE_LEAST_PT) {
        table.size_pt -= 0.5;
        sum = find_needs(paper, &table, needed);
    }
    if (sum > PAPER_WIDTH_PT) {
        table.breaks_numbers = true;
        for (size_t i = 0; i < block->column_count; i++) {
            table.widths[i] = needed[i] * PAPER_WIDTH_PT / sum;
        }
        return table;
    }
    share_width(&table, needed, is_settled);
    return table;
}

/* ---- rows ---- */

static double head_height(struct paper *paper, const struct table *table)
{
    double height = 0.0;
    for (size_t i = 0; i < table->block->column_count; i++) {
        struct canvas_text text = label_text(paper, table, i);
        height = fmax(height, paper_text_height(paper, &text));
    }
    return height + 2.0 * PADDING_Y_PT;
}

static double row_height(struct paper *paper, const struct table *table, size_t row)
{
    double height = 0.0;
    for (size_t i = 0; i < table->block->column_count; i++) {
        struct canvas_text text = cell_text(paper, table, i, &table->block->rows[row][i]);
        height = fmax(height, paper_text_height(paper, &text));
    }
    return height + 2.0 * PADDING_Y_PT;
}

static void draw_rule(struct paper *paper, double y, double width_pt, struct canvas_colour colour)
{
    if (paper->draws) {
        struct canvas_pen pen = {.colour = colour, .width_pt = width_pt};
        canvas_line(paper->canvas, (struct canvas_point){PAPER_LEFT_PT, y},
                    (struct canvas_point){PAPER_LEFT_PT + PAPER_WIDTH_PT, y}, &pen);
    }
}

/* Where a cell's text is drawn: texts without a width hang on their end. */
static double text_x(const struct table *table, size_t column, double left,
                     const struct canvas_text *text)
{
    bool hangs = text->align == CANVAS_END && text->width_pt <= 0.0;
    return hangs ? left + table->widths[column] - PADDING_X_PT : left + PADDING_X_PT;
}

/* The head is part of the table once; on later pages it is there for the eye only. */
static void write_head(struct paper *paper, const struct table *table, bool is_repeated)
{
    double height = head_height(paper, table);
    double left = PAPER_LEFT_PT;
    if (!is_repeated) {
        paper_tag_begin(paper, CANVAS_TAG_ROW);
    }
    for (size_t i = 0; i < table->block->column_count; i++) {
        struct canvas_text text = label_text(paper, table, i);
        double below = height - PADDING_Y_PT - paper_text_height(paper, &text);
        if (!is_repeated) {
            paper_tag_begin(paper, CANVAS_TAG_HEADER_CELL);
        }
        paper_draw(paper, text_x(table, i, left, &text), paper->y + below, &text);
        if (!is_repeated) {
            paper_tag_end(paper, CANVAS_TAG_HEADER_CELL);
        }
        left += table->widths[i];
    }
    if (!is_repeated) {
        paper_tag_end(paper, CANVAS_TAG_ROW);
    }
    draw_rule(paper, paper->y + height, 0.8, paper_soft);
    paper_take(paper, height);
}

/* What of a row's cells goes onto this page; `next` holds each cell's next line. Returns whether
 * something is left. */
static bool write_row_part(struct paper *paper, const struct table *table, size_t row, size_t *next)
{
    double room = PAPER_BOTTOM_PT - paper->y - 2.0 * PADDING_Y_PT;
    double left = PAPER_LEFT_PT;
    double height = 0.0;
    bool is_left = false;
    paper_tag_begin(paper, CANVAS_TAG_ROW);
    for (size_t i = 0; i < table->block->column_count; i++) {
        struct canvas_text text = cell_text(paper, table, i, &table->block->rows[row][i]);
        double taken = 0.0;
        paper_tag_begin(paper, CANVAS_TAG_CELL);
        if (text.width_pt <= 0.0 && next[i] == 0) {
            paper_draw(paper, text_x(table, i, left, &text), paper->y + PADDING_Y_PT, &text);
            taken = paper_text_height(paper, &text);
            next[i] = 1;
        } else if (text.width_pt > 0.0) {
            struct canvas_point at = {left + PADDING_X_PT, paper->y + PADDING_Y_PT};
            is_left = canvas_draw_lines(paper->canvas, at, &text, next[i], room, !paper->draws,
                                        &next[i], &taken) ||
                      is_left;
        }
        paper_tag_end(paper, CANVAS_TAG_CELL);
        height = fmax(height, taken);
        left += table->widths[i];
    }
    paper_tag_end(paper, CANVAS_TAG_ROW);
    draw_rule(paper, paper->y + height + 2.0 * PADDING_Y_PT, 0.4, paper_rule);
    paper_take(paper, height + 2.0 * PADDING_Y_PT);
    return is_left;
}

static void turn_page(struct paper *paper, const struct table *table)
{
    paper_next_page(paper);
    write_head(paper, table, true);
}

static void write_row(struct paper *paper, const struct table *table, size_t row)
{
    double height = row_height(paper, table, row);
    bool fits_a_page = height <= PAPER_HEIGHT_PT - head_height(paper, table);
    if (fits_a_page && paper->y + height > PAPER_BOTTOM_PT) {
        turn_page(paper, table);
    }
    size_t *next = arena_array(paper->arena, table->block->column_count, sizeof *next);
    while (write_row_part(paper, table, row, next)) {
        turn_page(paper, table);
    }
}

/* ---- the table ---- */

static struct canvas_text caption_text(struct paper *paper, const struct document_block *block)
{
    struct canvas_style style = {.size_pt = CAPTION_SIZE_PT, .bold = true, .colour = paper_ink};
    return paper_words(paper, block->caption, style, PAPER_WIDTH_PT);
}

static void write_caption(struct paper *paper, const struct document_block *block)
{
    if (block->caption[0] != '\0') {
        struct canvas_text text = caption_text(paper, block);
        paper_tag_begin(paper, CANVAS_TAG_CAPTION);
        paper_draw(paper, PAPER_LEFT_PT, paper->y, &text);
        paper_tag_end(paper, CANVAS_TAG_CAPTION);
        paper_take(paper, paper_text_height(paper, &text) + 2.0);
    }
}

static double first_height(struct paper *paper, const struct table *table)
{
    struct canvas_text caption = caption_text(paper, table->block);
    double height =
        table->block->caption[0] == '\0' ? 0.0 : paper_text_height(paper, &caption) + 2.0;
    height += head_height(paper, table);
    double row = table->block->count > 0 ? row_height(paper, table, 0) : 0.0;
    bool fits_a_page = height + row <= PAPER_HEIGHT_PT;
    return height + (fits_a_page ? row : HIGH_ROW_PART * table->size_pt);
}

double paper_table_first_height(struct paper *paper, const struct document_block *block)
{
    struct table table = new_table(paper, block);
    return first_height(paper, &table);
}

const struct document_block *paper_table(struct paper *paper, const struct document_block *block)
{
    struct table table = new_table(paper, block);
    paper_clear_code(paper);
    paper_begin(paper, paper->space > 0.0 ? paper->space : TABLE_SPACE_PT,
                first_height(paper, &table));
    paper_tag_begin(paper, CANVAS_TAG_TABLE);
    write_caption(paper, block);
    write_head(paper, &table, false);
    for (size_t row = 0; row < block->count; row++) {
        write_row(paper, &table, row);
    }
    paper_tag_end(paper, CANVAS_TAG_TABLE);
    paper->space = TABLE_SPACE_PT;
    return block;
}
