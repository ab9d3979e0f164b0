#include "report/document.h"

#include "base/utf8.h"

#include <string.h>

struct document {
    struct arena *arena;
    struct document_facts facts;
    struct document_block *first;
    struct document_block *last;
    size_t capacity; /* of the last block's items, terms or rows */
};

/* ---- words ---- */

/* Control characters of C0 and C1, and Unicode's line and paragraph separators. */
static bool is_control(const char *at, size_t length)
{
    unsigned char byte = (unsigned char)at[0];
    unsigned char next = (unsigned char)(length > 1 ? at[1] : 0);
    return byte < 0x20 || byte == 0x7F || (length == 2 && byte == 0xC2 && next < 0xA0) ||
           (length == 3 && memcmp(at, "\u2028", 3) == 0) ||
           (length == 3 && memcmp(at, "\u2029", 3) == 0);
}

/* Unicode's separators are spaces: only who pressed the key for a new line wanted one. */
static bool is_space(const char *at, size_t length)
{
    return *at == '\t' || *at == '\n' || (length == 3 && is_control(at, length));
}

/* A copy in which every character can be shown: a tab or line break is a space, every other control
 * character and what is not UTF-8 a replacement character; a carriage return is left out. */
static char *copy_stretch(struct arena *arena, const char *words, size_t length)
{
    struct text copy;
    text_init(&copy, arena, 3 * length);
    for (size_t i = 0; i < length;) {
        size_t taken = utf8_sequence(words + i, length - i);
        if (taken == 0) {
            text_append(&copy, "\ufffd");
            taken = 1;
        } else if (is_space(words + i, taken)) {
            text_append_char(&copy, ' ');
        } else if (is_control(words + i, taken)) {
            text_append(&copy, words[i] == '\r' ? "" : "\ufffd");
        } else {
            text_append_bytes(&copy, words + i, taken);
        }
        i += taken;
    }
    return copy.data;
}

static const char *copy_words(struct arena *arena, const char *words)
{
    return words == NULL ? "" : copy_stretch(arena, words, strlen(words));
}

static const char *copy_optional(struct arena *arena, const char *words)
{
    return words == NULL || words[0] == '\0' ? NULL : copy_words(arena, words);
}

static struct document_span copy_span(struct arena *arena, const struct document_span *span)
{
    struct document_span copy = *span;
    copy.words = copy_words(arena, span->words);
    return copy;
}

/* Where the first line of `words` ends, and how long the break is: 0 at the end of the words. */
static size_t find_line_end(const char *words, size_t length, size_t *ret_break)
{
    *ret_break = 0;
    for (size_t i = 0; i < length;) {
        size_t taken = utf8_sequence(words + i, length - i);
        if (taken > 0 && words[i] == '\n') {
            *ret_break = taken;
            return i;
        }
        i += taken > 0 ? taken : 1;
    }
    return length;
}

static size_t count_lines(const char *words)
{
    size_t lines = 1;
    size_t length = strlen(words);
    size_t break_length = 0;
    for (;;) {
        size_t end = find_line_end(words, length, &break_length);
        if (break_length == 0) {
            return lines;
        }
        lines++;
        words += end + break_length;
        length -= end + break_length;
    }
}

/* Copies a span as one span a line; returns how many. */
static size_t copy_lines(struct arena *arena, const struct document_span *span,
                         struct document_span *to)
{
    const char *words = span->words == NULL ? "" : span->words;
    size_t length = strlen(words);
    for (size_t lines = 0;; lines++) {
        size_t break_length = 0;
        size_t end = find_line_end(words, length, &break_length);
        to[lines] = *span;
        to[lines].words = copy_stretch(arena, words, end);
        to[lines].ends_line = break_length > 0 || span->ends_line;
        if (break_length == 0) {
            return lines + 1;
        }
        words += end + break_length;
        length -= end + break_length;
    }
}

/* Nothing to show: writers need not know of it. A line that ends is something. */
static bool is_empty(const struct document_span *span)
{
    return (span->words == NULL || span->words[0] == '\0') && !span->ends_line;
}

static struct document_spans copy_spans(struct arena *arena, const struct document_span *spans,
                                        size_t count)
{
    size_t lines = 1;
    for (size_t i = 0; i < count; i++) {
        lines +=
            is_empty(&spans[i]) ? 0 : count_lines(spans[i].words == NULL ? "" : spans[i].words);
    }
    struct document_span *copies = arena_array(arena, lines, sizeof *copies);
    size_t taken = 0;
    for (size_t i = 0; i < count; i++) {
        taken += is_empty(&spans[i]) ? 0 : copy_lines(arena, &spans[i], copies + taken);
    }
    return (struct document_spans){copies, taken};
}

/* ---- blocks ---- */

struct document *document_new(struct arena *arena, const struct document_facts *facts)
{
    struct document *document = arena_alloc(arena, sizeof *document);
    document->arena = arena;
    document->facts = (struct document_facts){
        .title = copy_words(arena, facts->title),
        .language = copy_words(arena, facts->language == NULL ? "en" : facts->language),
        .author = copy_words(arena, facts->author),
        .subject = copy_optional(arena, facts->subject),
        .head_start = copy_words(arena, facts->head_start),
        .head_end = copy_words(arena, facts->head_end),
        .foot = copy_words(arena, facts->foot),
        .mark = copy_optional(arena, facts->mark),
        .code = copy_optional(arena, facts->code),
        .code_label = copy_optional(arena, facts->code_label),
        .made_at_us = facts->made_at_us,
    };
    return document;
}

const struct document_facts *document_facts(const struct document *document)
{
    return &document->facts;
}

const struct document_block *document_first_block(const struct document *document)
{
    return document->first;
}

static struct document_block *add_block(struct document *document, enum document_block_kind kind)
{
    struct document_block *block = arena_alloc(document->arena, sizeof *block);
    block->kind = kind;
    if (document->last == NULL) {
        document->first = block;
    } else {
        document->last->next = block;
    }
    document->last = block;
    document->capacity = 0;
    return block;
}

/* The last block when it is of this kind and can go on, or else a new one. */
static struct document_block *continue_block(struct document *document,
                                             enum document_block_kind kind)
{
    struct document_block *last = document->last;
    return last != NULL && last->kind == kind ? last : add_block(document, kind);
}

/* The array with room for one more element; elements that are there stay. */
static void *grow(struct document *document, const void *array, size_t count, size_t size)
{
    enum { FIRST_CAPACITY = 8 };

    if (count < document->capacity) {
        return NULL;
    }
    document->capacity = document->capacity == 0 ? FIRST_CAPACITY : 2 * document->capacity;
    void *larger = arena_array(document->arena, document->capacity, size);
    if (count > 0) {
        memcpy(larger, array, count * size);
    }
    return larger;
}

void document_heading(struct document *document, int level, const char *words)
{
    struct document_block *block = add_block(document, DOCUMENT_HEADING);
    block->level = level;
    block->spans = copy_spans(document->arena, &(struct document_span){.words = words}, 1);
}

void document_paragraph(struct document *document, enum document_tone tone,
                        const struct document_span *spans, size_t count)
{
    struct document_block *block = add_block(document, DOCUMENT_PARAGRAPH);
    block->tone = tone;
    block->spans = copy_spans(document->arena, spans, count);
}

void document_words(struct document *document, enum document_tone tone, const char *words)
{
    document_paragraph(document, tone, &(struct document_span){.words = words}, 1);
}

void document_person_words(struct document *document, enum document_tone tone, const char *words)
{
    document_paragraph(document, tone, &(struct document_span){.words = words, .from_person = true},
                       1);
}

void document_item(struct document *document, const struct document_span *spans, size_t count)
{
    struct document_block *block = continue_block(document, DOCUMENT_LIST);
    struct document_spans *larger =
        grow(document, block->items, block->count, sizeof *block->items);
    block->items = larger != NULL ? larger : block->items;
    block->items[block->count++] = copy_spans(document->arena, spans, count);
}

void document_fact(struct document *document, const char *term, const struct document_span *value)
{
    struct document_block *block = continue_block(document, DOCUMENT_FACTS);
    struct document_term *larger = grow(document, block->terms, block->count, sizeof *block->terms);
    block->terms = larger != NULL ? larger : block->terms;
    block->terms[block->count++] = (struct document_term){copy_words(document->arena, term),
                                                          copy_span(document->arena, value)};
}

/* ---- tables ---- */

void document_table(struct document *document, const char *caption,
                    const struct document_column *columns, size_t count)
{
    struct document_block *block = add_block(document, DOCUMENT_TABLE);
    block->caption = copy_words(document->arena, caption);
    block->column_count = count;
    struct document_column *copies = arena_array(document->arena, count, sizeof *copies);
    for (size_t i = 0; i < count; i++) {
        copies[i] = columns[i];
        copies[i].label = copy_words(document->arena, columns[i].label);
        copies[i].weight = columns[i].weight > 0.0 ? columns[i].weight : 1.0;
    }
    block->columns = copies;
}

void document_table_fold(struct document *document)
{
    if (document->last != NULL && document->last->kind == DOCUMENT_TABLE) {
        document->last->is_folded = true;
    }
}

void document_row(struct document *document, const struct document_span *cells)
{
    struct document_block *block = document->last;
    if (block == NULL || block->kind != DOCUMENT_TABLE) {
        return; /* a row without a table has no place */
    }
    const struct document_span **larger = (const struct document_span **)grow(
        document, (const void *)block->rows, block->count, sizeof(void *));
    block->rows = larger != NULL ? larger : block->rows;
    struct document_span *row = arena_array(document->arena, block->column_count, sizeof *row);
    for (size_t i = 0; i < block->column_count; i++) {
        row[i] = copy_span(document->arena, &cells[i]);
    }
    block->rows[block->count++] = row;
}

/* ---- figures and pages ---- */

void document_figure(struct document *document, const struct document_figure *figure)
{
    struct document_block *block = add_block(document, DOCUMENT_FIGURE);
    block->figure = *figure;
    block->figure.caption = copy_words(document->arena, figure->caption);
    block->figure.alternative = copy_words(document->arena, figure->alternative);
}

void document_page_break(struct document *document)
{
    add_block(document, DOCUMENT_PAGE_BREAK);
}
