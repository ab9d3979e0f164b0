/* A document as blocks, written once and given out as PDF, HTML and plain text: reports and
 * letters.
 *
 * Build it block after block, then write it in any form. Strings are copied; everything is on the
 * arena. All words are plain text: whoever writes a form escapes them. In what the writers see they
 * are UTF-8 without control characters: a line break in the spans of a paragraph, heading or item
 * makes two spans of one, elsewhere it is a space; NULL is "". */
#ifndef REPORT_DOCUMENT_H
#define REPORT_DOCUMENT_H

#include "base/text.h"
#include "drawing/canvas.h"

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

struct document;

struct document_facts {
    const char *title;
    const char *language; /* "en": BCP 47; also of the document's own words, such as page numbers */
    const char *author;   /* the clinic */
    const char *subject;  /* NULL: none */
    const char *head_start; /* of every page's head: whom it is about */
    const char *head_end;   /* whose it is, and of when */
    const char *foot;       /* software and revision; page x of y is added */
    const char
        *mark; /* across every page, and at the top of the other forms: "Preliminary"; NULL */
    const char *code;       /* QR code at the first page's head; NULL: none */
    const char *code_label; /* what stands below it: the id in short */
    int64_t made_at_us;     /* the date that the file bears */
};

struct document *document_new(struct arena *arena, const struct document_facts *facts);

/* What it was made with; strings are "" or, where they may be left out, NULL. */
const struct document_facts *document_facts(const struct document *document);

/* Levels 1 (the title, once), 2 and 3. A heading stays with what follows it. */
void document_heading(struct document *document, int level, const char *words);

/* A stretch of a paragraph, item or cell. */
struct document_span {
    const char *words;
    bool strong;
    bool emphasis;
    bool from_person; /* anybody's words, not ours */
    bool ends_line;   /* a line break follows */
};

enum document_tone {
    DOCUMENT_PLAIN,
    DOCUMENT_NOTE,    /* small: provenance, definitions */
    DOCUMENT_CAUTION, /* set apart: what a reader must not miss */
    DOCUMENT_ADDRESS  /* an addressee's lines, placed as a window envelope wants them */
};

void document_paragraph(struct document *document, enum document_tone tone,
                        const struct document_span *spans, size_t count);

/* The same with one span of ours, or of a person. */
void document_words(struct document *document, enum document_tone tone, const char *words);
void document_person_words(struct document *document, enum document_tone tone, const char *words);

/* An item of a bulleted list; items that follow one another make one list. */
void document_item(struct document *document, const struct document_span *spans, size_t count);

/* A pair of a list of facts; pairs that follow one another make one list, in two columns where
 * there is room. */
void document_fact(struct document *document, const char *term, const struct document_span *value);

/* ---- tables ---- */

struct document_column {
    const char *label;
    bool is_number; /* aligned to the end, never broken */
    double weight;  /* share of the width among the columns; 0: 1, which the writers see */
};

/* Begins a table; rows follow until the next block of another kind. Its head is repeated on each
 * page. */
void document_table(struct document *document, const char *caption,
                    const struct document_column *columns, size_t count);

/* The table that was begun last is narrow: on paper its rows run down two columns side by side,
 * when they fit into half the width. It stays one table. */
void document_table_fold(struct document *document);

/* A row of the table that was begun last: one span a column, as many as it has. A row is never
 * broken over two pages unless it is higher than one. */
void document_row(struct document *document, const struct document_span *cells);

/* ---- figures and pages ---- */

/* What a figure has between the margins of A4: all of the width, or half of it with a gap. */
#define DOCUMENT_MARGIN_PT     (18.0 * 72.0 / 25.4)
#define DOCUMENT_WIDTH_PT      (CANVAS_A4_WIDTH_PT - 2.0 * DOCUMENT_MARGIN_PT)
#define DOCUMENT_GAP_PT        14.0
#define DOCUMENT_HALF_WIDTH_PT ((DOCUMENT_WIDTH_PT - DOCUMENT_GAP_PT) / 2.0)

/* Draws into a rectangle of the canvas. */
typedef void document_draw(void *context, struct canvas *canvas, struct canvas_rect area);

struct document_figure {
    const char *caption;
    const char *alternative; /* in words, for whoever does not see it; also what plain text shows */
    double height_pt;        /* without the caption; most 640 */
    bool is_half;            /* half the width: two that follow one another stand side by side */
    document_draw *draw;
    void *context; /* lives as long as the document */
};

void document_figure(struct document *document, const struct document_figure *figure);

void document_page_break(struct document *document);

/* ---- forms ---- */

/* A complete HTML page without script; figures as SVG within data: addresses, so that a saved page
 * is whole; style from /assets/penstock.css only. */
void document_write_html(const struct document *document, struct text *out);

/* Plain text, lines of at most 78 columns; figures by their alternatives. */
void document_write_text(const struct document *document, struct text *out);

/* A4 pages. */
MUST_CHECK bool document_write_pdf(const struct document *document, struct arena *arena,
                                   const unsigned char **ret_bytes, size_t *ret_length,
                                   struct error *reterr);

/* ---- for the writers of forms ---- */

enum document_block_kind {
    DOCUMENT_HEADING,
    DOCUMENT_PARAGRAPH,
    DOCUMENT_LIST,
    DOCUMENT_FACTS,
    DOCUMENT_TABLE,
    DOCUMENT_FIGURE,
    DOCUMENT_PAGE_BREAK
};

struct document_spans {
    const struct document_span *spans;
    size_t count;
};

struct document_term {
    const char *term;
    struct document_span value;
};

struct document_block {
    enum document_block_kind kind;
    int level;                    /* heading */
    enum document_tone tone;      /* paragraph */
    struct document_spans spans;  /* heading, paragraph */
    size_t count;                 /* items, facts or rows */
    struct document_spans *items; /* list */
    struct document_term *terms;  /* facts */
    const char *caption;          /* table */
    bool is_folded;
    size_t column_count;
    const struct document_column *columns;
    const struct document_span **rows;
    struct document_figure figure;
    const struct document_block *next;
};

const struct document_block *document_first_block(const struct document *document);

#endif
