/* What the files of document_write_pdf() share: a pen on paper. Blocks are laid out twice with the
 * same code, first to count the pages, then to draw; the canvas remembers the texts meanwhile. */
#ifndef REPORT_DOCUMENT_PDF_PARTS_H
#define REPORT_DOCUMENT_PDF_PARTS_H

#include "drawing/pdf_finish.h"
#include "report/document.h"

/* Lengths are points. The body lies between the rules of head and foot. */
#define PAPER_MILLIMETRE (72.0 / 25.4)
#define PAPER_LEFT_PT    (18.0 * PAPER_MILLIMETRE)
#define PAPER_WIDTH_PT   (CANVAS_A4_WIDTH_PT - 2.0 * PAPER_LEFT_PT)
#define PAPER_TOP_PT     60.0
#define PAPER_BOTTOM_PT  (CANVAS_A4_HEIGHT_PT - 58.0)
#define PAPER_HEIGHT_PT  (PAPER_BOTTOM_PT - PAPER_TOP_PT)

/* The pages' colours in light, see server/web/src/penstock.css. */
extern const struct canvas_colour paper_ink;
extern const struct canvas_colour paper_soft;
extern const struct canvas_colour paper_rule;
extern const struct canvas_colour paper_accent;
extern const struct canvas_colour paper_caution_ink;
extern const struct canvas_colour paper_caution_ground;
extern const struct canvas_colour paper_caution_edge;

struct paper {
    struct arena *arena;
    const struct document_facts *facts;
    struct canvas *canvas;
    bool draws; /* the second time */
    int page;   /* from 1 */
    int page_count;
    double y;     /* where the next block begins, without the space before it */
    double space; /* that the last block wants below it */
    bool is_top;  /* nothing stands on the page yet */
    struct pdf_figure *figures;
    size_t figure_count;
    size_t figure_capacity;
};

/* ---- pages (document_pdf.c) ---- */

void paper_next_page(struct paper *paper);

/* Room left on the page for a block that wants `space` before it. */
double paper_room(const struct paper *paper, double space);

/* Moves to where a block begins that wants `space` before it and has a first part of `height`: on
 * the next page, unless there is room on this one. */
void paper_begin(struct paper *paper, double space, double height);

/* The block, or its part on this page, has taken `height`. */
void paper_take(struct paper *paper, double height);

/* The width beside the code of the first page, at the place of a block that wants `space`. */
double paper_width(const struct paper *paper, double space);

/* Below the code, for what needs the whole width. */
void paper_clear_code(struct paper *paper);

void paper_tag_begin(struct paper *paper, enum canvas_tag tag);
void paper_tag_end(struct paper *paper, enum canvas_tag tag);

/* ---- texts (document_pdf_text.c) ---- */

/* A text of spans in that style, as wide as told; 0: one line. */
struct canvas_text paper_text(struct paper *paper, const struct document_span *spans, size_t count,
                              struct canvas_style style, double width_pt);

struct canvas_text paper_words(struct paper *paper, const char *words, struct canvas_style style,
                               double width_pt);

double paper_text_height(struct paper *paper, const struct canvas_text *text);

/* The height of what stays together of a text: all of a short one, two lines of a long one. */
double paper_first_lines(struct paper *paper, const struct canvas_text *text);

/* Draws, when it is time to draw. */
void paper_draw(struct paper *paper, double x, double y, const struct canvas_text *text);

/* What part of a text goes onto this page: as many lines from `first` on as fit into `room`, but
 * neither the first line alone nor all but the last. */
struct paper_part {
    size_t first;
    size_t next;
    double height;
    bool is_last;
};

struct paper_part paper_find_part(struct paper *paper, const struct canvas_text *text, size_t first,
                                  double room);

void paper_draw_part(struct paper *paper, double x, double y, const struct canvas_text *text,
                     const struct paper_part *part);

/* ---- blocks ---- */

/* Each lays out one block; figures may take the block that follows. Return the last one taken. */
const struct document_block *paper_heading(struct paper *paper, const struct document_block *block);
const struct document_block *paper_paragraph(struct paper *paper,
                                             const struct document_block *block);
const struct document_block *paper_list(struct paper *paper, const struct document_block *block);
const struct document_block *paper_facts(struct paper *paper, const struct document_block *block);
const struct document_block *paper_table(struct paper *paper, const struct document_block *block);
const struct document_block *paper_figure(struct paper *paper, const struct document_block *block);

/* The height that the first part of a block takes, for what has to stay with it. */
double paper_first_height(struct paper *paper, const struct document_block *block);
double paper_table_first_height(struct paper *paper, const struct document_block *block);

#endif
