/* Columns are those of a terminal: wide characters take two, marks that combine none. What is
 * written from the right is isolated (Unicode UAX 9), so that it cannot reorder what stands beside
 * it. */
#include "report/document.h"

#include <string.h>
#include <utf8proc.h>

enum {
    WIDTH = 78,
    GAP = 2,
    TERM_WIDTH_MAX = 30,
    COLUMNS_MAX = 24,
    LABEL_WIDTH_MAX = 14, /* of a column whose cells are narrower */
    WORD_WIDTH_MAX = 24   /* longer words of cells are broken where there is no room */
};

/* ---- words ---- */

/* Columns of the character at `at`, and its length in *ret_length. */
static int character_width(const char *at, size_t *ret_length)
{
    utf8proc_int32_t point = 0;
    utf8proc_ssize_t length = utf8proc_iterate((const utf8proc_uint8_t *)at, -1, &point);
    *ret_length = length > 0 ? (size_t)length : 1;
    return length > 0 ? utf8proc_charwidth(point) : 1;
}

static int words_width(const char *words, size_t length)
{
    int width = 0;
    size_t taken = 0;
    for (size_t i = 0; i < length; i += taken) {
        width += character_width(words + i, &taken);
    }
    return width;
}

static int width_of(const char *words)
{
    return words_width(words, strlen(words));
}

/* Embedding, overriding and isolating marks: in a line of text nothing ends what they begin. */
static bool is_direction_mark(const char *at)
{
    return (memcmp(at, "\u202a", 3) >= 0 && memcmp(at, "\u202e", 3) <= 0) ||
           (memcmp(at, "\u2066", 3) >= 0 && memcmp(at, "\u2069", 3) <= 0);
}

static bool is_written_from_right(utf8proc_int32_t point)
{
    utf8proc_bidi_class_t direction =
        (utf8proc_bidi_class_t)utf8proc_get_property(point)->bidi_class;
    return direction == UTF8PROC_BIDI_CLASS_R || direction == UTF8PROC_BIDI_CLASS_AL;
}

static bool has_right_to_left(const char *words)
{
    const utf8proc_uint8_t *at = (const utf8proc_uint8_t *)words;
    while (*at != 0) {
        utf8proc_int32_t point = 0;
        utf8proc_ssize_t length = utf8proc_iterate(at, -1, &point);
        if (length > 0 && is_written_from_right(point)) {
            return true;
        }
        at += length > 0 ? length : 1;
    }
    return false;
}

static void append_words(const char *words, struct text *out)
{
    bool isolate = has_right_to_left(words);
    text_append(out, isolate ? "\u2068" : "");
    for (const char *at = words; *at != '\0';) {
        size_t length = 1;
        (void)character_width(at, &length);
        if (length != 3 || !is_direction_mark(at)) {
            text_append_bytes(out, at, length);
        }
        at += length;
    }
    text_append(out, isolate ? "\u2069" : "");
}

/* The same on the arena. */
static const char *showable(struct arena *arena, const char *words)
{
    struct text shown;
    text_init(&shown, arena, strlen(words) + sizeof "\u2068\u2069");
    append_words(words, &shown);
    return shown.data;
}

/* The spans as one string, with line ends where a line is to end. */
static const char *join(struct arena *arena, struct document_spans spans)
{
    size_t length = 0;
    for (size_t i = 0; i < spans.count; i++) {
        length += strlen(spans.spans[i].words) + sizeof "\u2068\u2069\n";
    }
    struct text joined;
    text_init(&joined, arena, length);
    for (size_t i = 0; i < spans.count; i++) {
        append_words(spans.spans[i].words, &joined);
        if (spans.spans[i].ends_line && i + 1 < spans.count) {
            text_append_char(&joined, '\n');
        }
    }
    return joined.data;
}

static const char *join_one(struct arena *arena, const struct document_span *span)
{
    return join(arena, (struct document_spans){span, 1});
}

/* ---- lines ---- */

struct line {
    const char *words;
    size_t length;
    const char *next; /* where the following line begins; at a NUL: there is none */
};

/* The line at the start of `words` that fits into `width` columns: broken at a space, or within a
 * word that is longer than a line. */
static struct line take_line(const char *words, int width)
{
    const char *space = NULL;
    const char *at = words;
    int used = 0;
    while (*at != '\0' && *at != '\n') {
        size_t length = 0;
        int taken = character_width(at, &length);
        if (used + taken > width && at > words) {
            break;
        }
        space = *at == ' ' ? at : space;
        used += taken;
        at += length;
    }
    if (*at == '\0' || *at == '\n' || *at == ' ') {
        const char *next = *at == '\0' ? at : at + 1;
        return (struct line){words, (size_t)(at - words), next};
    }
    if (space != NULL && space > words) {
        return (struct line){words, (size_t)(space - words), space + 1};
    }
    return (struct line){words, (size_t)(at - words), at};
}

static void append_spaces(int count, struct text *out)
{
    for (int i = 0; i < count; i++) {
        text_append_char(out, ' ');
    }
}

static size_t trimmed(const char *words, size_t length)
{
    while (length > 0 && words[length - 1] == ' ') {
        length--;
    }
    return length;
}

/* Lines behind `first` and, from the second on, behind `rest`, both in columns of their own. */
static void write_wrapped(const char *first, const char *rest, const char *words, struct text *out)
{
    const char *start = first;
    do {
        struct line line = take_line(words, WIDTH - width_of(start));
        size_t length = trimmed(line.words, line.length);
        const char *lead = length > 0 ? start : "";
        text_append(out, lead);
        text_append_bytes(out, line.words, length);
        text_append_char(out, '\n');
        words = line.next;
        start = rest;
    } while (*words != '\0');
}

/* ---- blocks ---- */

static void write_heading(const struct document_block *block, struct text *out)
{
    static const char rules[] = {'\0', '=', '-', '~'};
    const char *words = join(out->arena, block->spans);
    int width = width_of(words);
    write_wrapped("", "", words, out);
    for (int i = 0; i < (width < WIDTH ? width : WIDTH); i++) {
        text_append_char(out, rules[block->level]);
    }
    text_append_char(out, '\n');
}

static void write_paragraph(const struct document_block *block, struct text *out)
{
    const char *lead = block->tone == DOCUMENT_CAUTION ? "! " : "";
    write_wrapped(lead, lead, join(out->arena, block->spans), out);
}

static void write_list(const struct document_block *block, struct text *out)
{
    for (size_t i = 0; i < block->count; i++) {
        write_wrapped("- ", "  ", join(out->arena, block->items[i]), out);
    }
}

/* Terms stand above one another and so do values; a term that is too long has its line alone. */
static void write_facts(const struct document_block *block, struct text *out)
{
    int widest = 0;
    for (size_t i = 0; i < block->count; i++) {
        int width = width_of(block->terms[i].term) + 1;
        widest = width > widest && width <= TERM_WIDTH_MAX ? width : widest;
    }
    char rest[TERM_WIDTH_MAX + GAP + 1];
    memset(rest, ' ', sizeof rest);
    rest[widest + GAP] = '\0';
    for (size_t i = 0; i < block->count; i++) {
        const char *value = join_one(out->arena, &block->terms[i].value);
        const char *term = showable(out->arena, block->terms[i].term);
        int width = width_of(term) + 1;
        if (width > widest) {
            write_wrapped("", "", arena_printf(out->arena, "%s:", term), out);
            write_wrapped(rest, rest, value, out);
        } else {
            const char *first = arena_printf(out->arena, "%s:%*s", term, widest + GAP - width, "");
            write_wrapped(first, rest, value, out);
        }
    }
}

static void write_figure(const struct document_figure *figure, struct text *out)
{
    write_wrapped("[", " ",
                  arena_printf(out->arena, "Figure: %s. %s]", showable(out->arena, figure->caption),
                               showable(out->arena, figure->alternative)),
                  out);
}

/* ---- tables ---- */

static int longest_word(const char *words)
{
    int longest = 0;
    while (*words != '\0') {
        size_t length = strcspn(words, " ");
        int width = words_width(words, length);
        longest = width > longest ? width : longest;
        words += length;
        words += *words == ' ' ? 1 : 0;
    }
    return longest;
}

struct layout {
    size_t count;
    int gap;
    int widths[COLUMNS_MAX];
    int least[COLUMNS_MAX]; /* what a column cannot do without */
};

static int larger(int one, int other)
{
    return one > other ? one : other;
}

static void measure_column(const struct document_block *block, size_t column, struct layout *layout,
                           struct arena *arena)
{
    const struct document_column *head = &block->columns[column];
    int widest = 0;
    int word = 0;
    for (size_t i = 0; i < block->count; i++) {
        const char *cell = join_one(arena, &block->rows[i][column]);
        widest = larger(widest, width_of(cell));
        word = larger(word, longest_word(cell));
    }
    int label = longest_word(head->label);
    int room = word < WORD_WIDTH_MAX ? word : WORD_WIDTH_MAX;
    int heading = width_of(head->label);
    layout->least[column] = larger(label, head->is_number ? widest : room);
    layout->widths[column] = larger(larger(layout->least[column], widest),
                                    heading < LABEL_WIDTH_MAX ? heading : LABEL_WIDTH_MAX);
}

static int layout_width(const struct layout *layout, const int *widths)
{
    int width = layout->gap * ((int)layout->count - 1);
    for (size_t i = 0; i < layout->count; i++) {
        width += widths[i];
    }
    return width;
}

/* Narrows the gaps, then the widest columns until the table fits; false when it cannot. */
static bool fit(struct layout *layout)
{
    if (layout_width(layout, layout->least) > WIDTH) {
        layout->gap = 1;
    }
    if (layout_width(layout, layout->least) > WIDTH) {
        return false;
    }
    while (layout_width(layout, layout->widths) > WIDTH) {
        size_t widest = layout->count;
        for (size_t i = 0; i < layout->count; i++) {
            if (layout->widths[i] > layout->least[i] &&
                (widest == layout->count || layout->widths[i] > layout->widths[widest])) {
                widest = i;
            }
        }
        layout->widths[widest]--;
    }
    return true;
}

/* One row of a table, as many lines as its highest cell. */
static void write_cells(const struct document_block *block, const struct layout *layout,
                        const char **cells, struct text *out)
{
    bool more = true;
    while (more) {
        struct text line;
        text_init(&line, out->arena, (size_t)16 * WIDTH * COLUMNS_MAX);
        more = false;
        for (size_t i = 0; i < layout->count; i++) {
            struct line part = take_line(cells[i], layout->widths[i]);
            size_t length = trimmed(part.words, part.length);
            int room = layout->widths[i] - words_width(part.words, length);
            append_spaces(block->columns[i].is_number ? room : 0, &line);
            text_append_bytes(&line, part.words, length);
            append_spaces(block->columns[i].is_number ? 0 : room, &line);
            append_spaces(i + 1 < layout->count ? layout->gap : 0, &line);
            cells[i] = part.next;
            more = more || *part.next != '\0';
        }
        text_append_bytes(out, line.data, trimmed(line.data, line.length));
        text_append_char(out, '\n');
    }
}

static void write_table_head(const struct document_block *block, const struct layout *layout,
                             struct text *out)
{
    const char *labels[COLUMNS_MAX];
    for (size_t i = 0; i < layout->count; i++) {
        labels[i] = showable(out->arena, block->columns[i].label);
    }
    write_cells(block, layout, labels, out);
    for (size_t i = 0; i < layout->count; i++) {
        for (int j = 0; j < layout->widths[i]; j++) {
            text_append_char(out, '-');
        }
        append_spaces(i + 1 < layout->count ? layout->gap : 0, out);
    }
    text_append_char(out, '\n');
}

/* A table that is too wide: each row as pairs. */
static void write_rows_as_pairs(const struct document_block *block, struct text *out)
{
    for (size_t i = 0; i < block->count; i++) {
        const char *lead = "- ";
        for (size_t j = 0; j < block->column_count; j++) {
            write_wrapped(lead, "    ",
                          arena_printf(out->arena, "%s: %s",
                                       showable(out->arena, block->columns[j].label),
                                       join_one(out->arena, &block->rows[i][j])),
                          out);
            lead = "  ";
        }
    }
}

static void write_table(const struct document_block *block, struct text *out)
{
    struct layout layout = {.count = block->column_count, .gap = GAP};
    if (block->caption[0] != '\0') {
        write_wrapped("", "", showable(out->arena, block->caption), out);
        text_append_char(out, '\n');
    }
    for (size_t i = 0; i < layout.count && i < COLUMNS_MAX; i++) {
        measure_column(block, i, &layout, out->arena);
    }
    if (layout.count > COLUMNS_MAX || !fit(&layout)) {
        write_rows_as_pairs(block, out);
        return;
    }
    write_table_head(block, &layout, out);
    for (size_t i = 0; i < block->count; i++) {
        const char *cells[COLUMNS_MAX];
        for (size_t j = 0; j < layout.count; j++) {
            cells[j] = join_one(out->arena, &block->rows[i][j]);
        }
        write_cells(block, &layout, cells, out);
    }
}

/* ---- the whole ---- */

static void write_block(const struct document_block *block, struct text *out)
{
    switch (block->kind) {
    case DOCUMENT_HEADING:
        write_heading(block, out);
        break;
    case DOCUMENT_PARAGRAPH:
        write_paragraph(block, out);
        break;
    case DOCUMENT_LIST:
        write_list(block, out);
        break;
    case DOCUMENT_FACTS:
        write_facts(block, out);
        break;
    case DOCUMENT_TABLE:
        write_table(block, out);
        break;
    case DOCUMENT_FIGURE:
        write_figure(&block->figure, out);
        break;
    case DOCUMENT_PAGE_BREAK:
        return;
    }
    text_append_char(out, '\n');
}

static void write_line(const char *words, struct text *out)
{
    if (words[0] != '\0') {
        write_wrapped("", "", showable(out->arena, words), out);
    }
}

void document_write_text(const struct document *document, struct text *out)
{
    const struct document_facts *facts = document_facts(document);
    if (facts->mark != NULL) {
        write_wrapped("*** ", "*** ", arena_printf(out->arena, "%s ***", facts->mark), out);
    }
    write_line(facts->head_end, out);
    write_line(facts->head_start, out);
    text_append_char(out, '\n');
    for (const struct document_block *block = document_first_block(document); block != NULL;
         block = block->next) {
        write_block(block, out);
    }
    write_line(facts->foot, out);
}
