#include "report/document_pdf_parts.h"

#include <math.h>
#include <string.h>

static const double SIZE_PT = 8.5;
static const double SIZE_LEAST_PT = 6.0;
static const double CAPTION_SIZE_PT = 8.5;
static const double PADDING_X_PT = 4.0;
static const double PADDING_Y_PT = 2.6;
static const double TABLE_SPACE_PT = 10.0;

/* A folded table: what lies between its columns, how far its letters may shrink before it is laid
 * out over the whole width after all, from how many rows on it is worth folding, and what of it
 * stays together. */
static const double FOLD_GAP_PT = 18.0;
static const double FOLD_SIZE_PT = 8.0;
static const double FOLD_SIZE_LEAST_PT = 7.5;
static const double FOLD_PADDING_Y_PT = 1.8;
static const size_t FOLD_ROWS_LEAST = 4;
static const double FOLD_KEPT_PT = 110.0;
static const double FOLD_LINES_MOST = 8.0; /* the height of a row, in sizes of letters */

static const double ROUNDING_PT = 0.01; /* of sums in another order */

/* No word of a text makes its column wider than this share of the table. */
static const double WORD_SHARE_MOST = 0.3;

/* What has to have room of a row that is higher than a page, as a multiple of the letters' size. */
static const double HIGH_ROW_PART = 5.0;

struct table {
    const struct document_block *block;
    double size_pt;
    double left; /* where it begins, and how wide it is: a folded one has half the page */
    double width;
    double *widths; /* of the columns, with padding */
    double padding_y;
    double *heights;     /* of the rows, with padding; 0: not measured yet */
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
    double most = WORD_SHARE_MOST * table->width;
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
        double left = table->width;
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

/* Letters become smaller until everything fits; returns what the columns need together. */
static double shrink(struct paper *paper, struct table *table, double *needed, double least_pt)
{
    double sum = find_needs(paper, table, needed);
    while (sum > table->width && table->size_pt > least_pt) {
        table->size_pt -= 0.5;
        sum = find_needs(paper, table, needed);
    }
    return sum;
}

static void set_width(struct table *table, double width_pt)
{
    bool is_whole = width_pt >= PAPER_WIDTH_PT;
    table->size_pt = is_whole ? SIZE_PT : FOLD_SIZE_PT;
    table->padding_y = is_whole ? PADDING_Y_PT : FOLD_PADDING_Y_PT;
    table->left = PAPER_LEFT_PT;
    table->width = width_pt;
}

/* When even the smallest letters are not small enough, whatever is too long is broken, numbers too:
 * nothing runs out of the table. */
static struct table new_table(struct paper *paper, const struct document_block *block)
{
    struct table table = {.block = block};
    table.widths = arena_array(paper->arena, block->column_count, sizeof *table.widths);
    table.heights = arena_array(paper->arena, block->count, sizeof *table.heights);
    double *needed = arena_array(paper->arena, block->column_count, sizeof *needed);
    bool *is_settled = arena_array(paper->arena, block->column_count, sizeof *is_settled);
    bool fits = false;
    if (block->is_folded && block->count >= FOLD_ROWS_LEAST) {
        set_width(&table, (PAPER_WIDTH_PT - FOLD_GAP_PT) / 2.0);
        fits = shrink(paper, &table, needed, FOLD_SIZE_LEAST_PT) <= table.width;
    }
    if (!fits) {
        set_width(&table, PAPER_WIDTH_PT);
        double sum = shrink(paper, &table, needed, SIZE_LEAST_PT);
        if (sum > table.width) {
            table.breaks_numbers = true;
            for (size_t i = 0; i < block->column_count; i++) {
                table.widths[i] = needed[i] * table.width / sum;
            }
            return table;
        }
    }
    share_width(&table, needed, is_settled);
    return table;
}

static bool is_folded(const struct table *table)
{
    return table->width < PAPER_WIDTH_PT;
}

/* ---- rows ---- */

static double head_height(struct paper *paper, const struct table *table)
{
    double height = 0.0;
    for (size_t i = 0; i < table->block->column_count; i++) {
        struct canvas_text text = label_text(paper, table, i);
        height = fmax(height, paper_text_height(paper, &text));
    }
    return height + 2.0 * table->padding_y;
}

static double measure_row(struct paper *paper, const struct table *table, size_t row)
{
    double height = 0.0;
    for (size_t i = 0; i < table->block->column_count; i++) {
        struct canvas_text text = cell_text(paper, table, i, &table->block->rows[row][i]);
        height = fmax(height, paper_text_height(paper, &text));
    }
    return height + 2.0 * table->padding_y;
}

static double row_height(struct paper *paper, const struct table *table, size_t row)
{
    if (table->heights[row] <= 0.0) {
        table->heights[row] = measure_row(paper, table, row);
    }
    return table->heights[row];
}

static void draw_rule(struct paper *paper, const struct table *table, double y, double width_pt,
                      struct canvas_colour colour)
{
    if (paper->draws) {
        struct canvas_pen pen = {.colour = colour, .width_pt = width_pt};
        canvas_line(paper->canvas, (struct canvas_point){table->left, y},
                    (struct canvas_point){table->left + table->width, y}, &pen);
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
    double left = table->left;
    if (!is_repeated) {
        paper_tag_begin(paper, CANVAS_TAG_ROW);
    }
    for (size_t i = 0; i < table->block->column_count; i++) {
        struct canvas_text text = label_text(paper, table, i);
        double below = height - table->padding_y - paper_text_height(paper, &text);
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
    draw_rule(paper, table, paper->y + height, 0.8, paper_soft);
    paper_take(paper, height);
}

/* What of a row's cells goes onto this page; `next` holds each cell's next line. Returns whether
 * something is left. */
static bool write_row_part(struct paper *paper, const struct table *table, size_t row, size_t *next)
{
    double room = PAPER_BOTTOM_PT - paper->y - 2.0 * table->padding_y;
    double left = table->left;
    double height = 0.0;
    bool is_left = false;
    paper_tag_begin(paper, CANVAS_TAG_ROW);
    for (size_t i = 0; i < table->block->column_count; i++) {
        struct canvas_text text = cell_text(paper, table, i, &table->block->rows[row][i]);
        double taken = 0.0;
        paper_tag_begin(paper, CANVAS_TAG_CELL);
        if (text.width_pt <= 0.0 && next[i] == 0) {
            paper_draw(paper, text_x(table, i, left, &text), paper->y + table->padding_y, &text);
            taken = paper_text_height(paper, &text);
            next[i] = 1;
        } else if (text.width_pt > 0.0) {
            struct canvas_point at = {left + PADDING_X_PT, paper->y + table->padding_y};
            is_left = canvas_draw_lines(paper->canvas, at, &text, next[i], room, !paper->draws,
                                        &next[i], &taken) ||
                      is_left;
        }
        paper_tag_end(paper, CANVAS_TAG_CELL);
        height = fmax(height, taken);
        left += table->widths[i];
    }
    paper_tag_end(paper, CANVAS_TAG_ROW);
    draw_rule(paper, table, paper->y + height + 2.0 * table->padding_y, 0.4, paper_rule);
    paper_take(paper, height + 2.0 * table->padding_y);
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

/* ---- folded tables ---- */

static double rows_height(struct paper *paper, const struct table *table, size_t first, size_t next)
{
    double height = 0.0;
    for (size_t row = first; row < next; row++) {
        height += row_height(paper, table, row);
    }
    return height;
}

/* How many rows from `first` on go into a column of that height. */
static size_t count_fitting(struct paper *paper, const struct table *table, size_t first,
                            double room)
{
    size_t row = first;
    for (double height = 0.0; row < table->block->count; row++) {
        height += row_height(paper, table, row);
        if (height > room) {
            break;
        }
    }
    return row - first;
}

/* The rows of the first column: as few as leave no more than that for the second one, or as many as
 * there is room for. */
static size_t count_first(struct paper *paper, const struct table *table, size_t first, double room)
{
    size_t most = count_fitting(paper, table, first, room);
    size_t count = 1;
    double left = row_height(paper, table, first);
    double right = rows_height(paper, table, first + 1, table->block->count);
    while (count < most && left < right) {
        double height = row_height(paper, table, first + count);
        left += height;
        right -= height;
        count++;
    }
    return count;
}

static void write_rows(struct paper *paper, const struct table *table, size_t first, size_t count)
{
    for (size_t row = first; row < first + count; row++) {
        write_row(paper, table, row);
    }
}

/* What goes onto this page, from a row on, with the head over both columns; returns the next row.
 */
static size_t write_fold(struct paper *paper, struct table *table, size_t first)
{
    double top = paper->y;
    double room = PAPER_BOTTOM_PT - top - head_height(paper, table) - ROUNDING_PT;
    size_t count = count_first(paper, table, first, room);
    table->left = PAPER_LEFT_PT;
    write_head(paper, table, first > 0);
    write_rows(paper, table, first, count);
    double bottom = paper->y;
    first += count;
    if (first < table->block->count) {
        count = count_fitting(paper, table, first, room);
        paper->y = top;
        table->left = PAPER_LEFT_PT + table->width + FOLD_GAP_PT;
        write_head(paper, table, true);
        write_rows(paper, table, first, count);
        first += count;
    }
    paper->y = fmax(bottom, paper->y);
    return first;
}

/* A row of many lines: what is in it is too long for half the width. */
static bool has_high_row(struct paper *paper, const struct table *table)
{
    double most = 0.0;
    for (size_t row = 0; row < table->block->count; row++) {
        most = fmax(most, row_height(paper, table, row));
    }
    return most > FOLD_LINES_MOST * table->size_pt;
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
    if (is_folded(table)) {
        row = fmin(FOLD_KEPT_PT, rows_height(paper, table, 0, table->block->count) / 2.0 + row);
    }
    bool fits_a_page = height + row <= PAPER_HEIGHT_PT;
    return height + (fits_a_page ? row : HIGH_ROW_PART * table->size_pt);
}

static struct table lay_out(struct paper *paper, const struct document_block *block)
{
    struct table table = new_table(paper, block);
    if (is_folded(&table) && has_high_row(paper, &table)) {
        struct document_block whole = *block;
        whole.is_folded = false;
        table = new_table(paper, &whole);
        table.block = block;
    }
    return table;
}

static void write_folded(struct paper *paper, struct table *table)
{
    size_t row = write_fold(paper, table, 0);
    while (row < table->block->count) {
        paper_next_page(paper);
        row = write_fold(paper, table, row);
    }
}

double paper_table_first_height(struct paper *paper, const struct document_block *block)
{
    struct table table = lay_out(paper, block);
    return first_height(paper, &table);
}

const struct document_block *paper_table(struct paper *paper, const struct document_block *block)
{
    struct table table = lay_out(paper, block);
    paper_clear_code(paper);
    paper_begin(paper, paper->space > 0.0 ? paper->space : TABLE_SPACE_PT,
                first_height(paper, &table));
    paper_tag_begin(paper, CANVAS_TAG_TABLE);
    write_caption(paper, block);
    if (is_folded(&table)) {
        write_folded(paper, &table);
    } else {
        write_head(paper, &table, false);
        write_rows(paper, &table, 0, block->count);
    }
    paper_tag_end(paper, CANVAS_TAG_TABLE);
    paper->space = TABLE_SPACE_PT;
    return block;
}
