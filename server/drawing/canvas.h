/* One drawing surface for everything that leaves the clinic as a picture or on paper: the same
 * calls make SVG, PNG and PDF.
 *
 * Lengths are points (1/72 inch), x to the right and y downwards from the upper left corner. What
 * is drawn must not depend on the form, or the three would differ. Text is UTF-8; invalid bytes are
 * drawn as replacement characters. A canvas belongs to one thread.
 *
 * A failure (no memory, a font that is missing) is kept and told by canvas_finish(); calls after it
 * do nothing. */
#ifndef DRAWING_CANVAS_H
#define DRAWING_CANVAS_H

#include "base/arena.h"
#include "base/error.h"

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

struct canvas;

enum canvas_form { CANVAS_PDF, CANVAS_SVG, CANVAS_PNG };

struct canvas_point {
    double x;
    double y;
};

struct canvas_rect {
    double x;
    double y;
    double width;
    double height;
};

/* sRGB, each 0..1. There is no transparency: PDF/A and printers are better off without. */
struct canvas_colour {
    double red;
    double green;
    double blue;
};

/* A4, in points. */
#define CANVAS_A4_WIDTH_PT  595.276
#define CANVAS_A4_HEIGHT_PT 841.89

/* `dots_per_point` is for PNG alone: 2 gives 144 dots an inch. Never NULL. A PNG is on white, the
 * others have no ground. */
struct canvas *canvas_new(enum canvas_form form, double width_pt, double height_pt,
                          double dots_per_point);
void canvas_free(struct canvas *canvas);

/* Whether the fonts that text is drawn with are installed; the failure names what is missing. For
 * the start of a program: a canvas that lacks them fails as a whole, it does not draw boxes. */
MUST_CHECK bool canvas_check_fonts(struct error *reterr);

/* Frees the fonts that the process keeps for the next canvas, and those of the calling thread; a
 * thread that ends frees its own. For the end of a program, when no canvas is left in any thread.
 */
void canvas_forget_fonts(void);

/* The form, for the rare thing that one of them has no use for. */
enum canvas_form canvas_form(const struct canvas *canvas);

/* Ends the page and begins the next one. PDF alone; the first page is there from the start. */
void canvas_next_page(struct canvas *canvas);

/* The file's bytes, on the arena. PDF: as cairo made it; pdf_finish() makes a document of it. */
MUST_CHECK bool canvas_finish(struct canvas *canvas, struct arena *arena,
                              const unsigned char **ret_bytes, size_t *ret_length,
                              struct error *reterr);

/* ---- lines and areas ---- */

struct canvas_pen {
    struct canvas_colour colour;
    double width_pt;
    double dash_pt; /* 0: solid; else dashes and gaps of this length */
};

void canvas_line(struct canvas *canvas, struct canvas_point from, struct canvas_point to,
                 const struct canvas_pen *pen);

/* An open line through the points. A point with a NaN interrupts it: what is missing is not drawn.
 * A point between two interruptions is drawn as a dot of the pen's width. */
void canvas_polyline(struct canvas *canvas, const struct canvas_point *points, size_t count,
                     const struct canvas_pen *pen);

void canvas_fill_polygon(struct canvas *canvas, const struct canvas_point *points, size_t count,
                         struct canvas_colour colour);
void canvas_fill_rect(struct canvas *canvas, struct canvas_rect rect, struct canvas_colour colour);
void canvas_stroke_rect(struct canvas *canvas, struct canvas_rect rect,
                        const struct canvas_pen *pen);

/* Markers, `size_pt` across. Shapes differ, so that they are told apart without colours. */
enum canvas_marker {
    CANVAS_MARKER_DISC,
    CANVAS_MARKER_RING,
    CANVAS_MARKER_SQUARE,
    CANVAS_MARKER_DIAMOND,
    CANVAS_MARKER_TRIANGLE, /* its point upwards */
    CANVAS_MARKER_CROSS
};

void canvas_marker(struct canvas *canvas, enum canvas_marker marker, struct canvas_point centre,
                   double size_pt, struct canvas_colour colour);

/* Nothing outside the rectangle is drawn until the matching canvas_clip_end(). They nest. */
void canvas_clip_begin(struct canvas *canvas, struct canvas_rect rect);
void canvas_clip_end(struct canvas *canvas);

/* ---- text ---- */

enum canvas_align { CANVAS_START, CANVAS_CENTRE, CANVAS_END };

struct canvas_style {
    double size_pt;
    bool bold;
    bool italic;
    struct canvas_colour colour;
};

/* A stretch of text in one style. */
struct canvas_run {
    const char *words; /* a line feed breaks the line; in the last of lines_most it is a space */
    bool bold;         /* beside the paragraph's own style */
    bool italic;
    bool from_person; /* typed by anybody: isolated, so that right-to-left text cannot reorder what
                         stands around it */
};

struct canvas_text {
    const struct canvas_run *runs;
    size_t run_count;
    struct canvas_style style;
    enum canvas_align align;
    double width_pt; /* lines are broken to fit; 0: one line however long */
    int lines_most;  /* what does not fit ends in an ellipsis; 0: as many as it takes */
    double leading;  /* line pitch as a multiple of the font's own; 0: 1 */
};

struct canvas_size {
    double width;
    double height;
    double baseline; /* of the first line, below the top */
};

/* The room that a text takes. */
struct canvas_size canvas_text_size(struct canvas *canvas, const struct canvas_text *text);

/* Draws a text with its upper left corner at `at`; without width_pt `align` says which point of its
 * top `at` is. Returns its size. */
struct canvas_size canvas_draw_text(struct canvas *canvas, struct canvas_point at,
                                    const struct canvas_text *text);

/* Lines of a text from `first` on that fit into `height_pt`: for paragraphs over two pages. Draws
 * them unless `measure_only`, and gives the number of the next line and the height taken. Returns
 * whether lines are left. At least one line is taken. */
bool canvas_draw_lines(struct canvas *canvas, struct canvas_point at,
                       const struct canvas_text *text, size_t first, double height_pt,
                       bool measure_only, size_t *ret_next, double *ret_taken_pt);

/* The short way: one run, one line, without breaking. `angle_degrees` turns it counter-clockwise
 * around `at`. */
struct canvas_size canvas_label(struct canvas *canvas, struct canvas_point at, const char *words,
                                const struct canvas_style *style, enum canvas_align align,
                                double angle_degrees);

/* ---- structure of a PDF; nothing in the other forms ---- */

enum canvas_tag {
    CANVAS_TAG_DOCUMENT,
    CANVAS_TAG_H1,
    CANVAS_TAG_H2,
    CANVAS_TAG_H3,
    CANVAS_TAG_P,
    CANVAS_TAG_LIST,
    CANVAS_TAG_LIST_ITEM, /* holds a label, if it has one, and a body */
    CANVAS_TAG_LIST_LABEL,
    CANVAS_TAG_LIST_BODY,
    CANVAS_TAG_TABLE,
    CANVAS_TAG_ROW,
    CANVAS_TAG_HEADER_CELL,
    CANVAS_TAG_CELL,
    CANVAS_TAG_FIGURE,
    CANVAS_TAG_CAPTION
};

/* `alt` says in words what a figure shows; NULL for every other tag. It is not within cairo's file:
 * hand the same texts to pdf_finish(), in this order. Tags nest, and end on the page on which they
 * began but for documents, lists, list bodies, tables and paragraphs. Only the innermost tags hold
 * what is drawn; what is drawn outside of them is an artefact: page heads, rules, marks across the
 * page. The functions that draw a figure begin no tags. */
void canvas_tag_begin(struct canvas *canvas, enum canvas_tag tag, const char *alt);
void canvas_tag_end(struct canvas *canvas, enum canvas_tag tag);

/* An entry of the outline that leads here; level 1 or 2. */
void canvas_bookmark(struct canvas *canvas, int level, const char *words, struct canvas_point at);

/* Makes an area lead to an address. */
void canvas_link(struct canvas *canvas, struct canvas_rect area, const char *address);

/* ---- a code for cameras ---- */

/* A QR code (ISO/IEC 18004, by libqrencode, error correction M) of `words` within a square, quiet
 * zone included. False when it does not fit into a code. */
MUST_CHECK bool canvas_qr(struct canvas *canvas, struct canvas_rect square, const char *words);

#endif
