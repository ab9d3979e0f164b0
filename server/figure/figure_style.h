/* How figures look: colours, pens, sizes of text, order and scale of signals. Private to figure/.
 *
 * Order, colours and scales are those of the pages' light theme (server/web/src/signals.js and
 * penstock.css), so that a clinician meets the same traces on screen and paper. Each colour has
 * 4.5:1 against white, and stays apart from the grid when printed in black and white. */
#ifndef FIGURE_FIGURE_STYLE_H
#define FIGURE_FIGURE_STYLE_H

#include "analysis/recording.h"
#include "drawing/canvas.h"

#include <stdbool.h>

enum style_colour {
    STYLE_INK,
    STYLE_INK_SOFT, /* ticks and notes */
    STYLE_RULE,     /* frames */
    STYLE_GRID,
    STYLE_BAND,  /* behind the words of a phase */
    STYLE_EVENT, /* marks that people set */
    STYLE_PAPER
};

struct canvas_colour style_colour(enum style_colour which);
struct canvas_colour style_signal_colour(enum signal_kind signal);

#define STYLE_TEXT_PT  7.5
#define STYLE_SMALL_PT 6.5
/* Line pitch of texts of those sizes, as figures reckon with it. */
#define STYLE_LINE_PT   10.0
#define STYLE_MARKER_PT 6.0

struct canvas_style style_text(enum style_colour colour, double size_pt, bool bold);
struct canvas_pen style_pen(enum style_colour colour, double width_pt);
struct canvas_pen style_dashed_pen(enum style_colour colour, double width_pt, double dash_pt);

/* Place of a signal in the stack: smaller is higher up. */
int style_rank(enum signal_kind signal);

/* Whether signals of the unit share one scale, so that heights in neighbouring strips compare. */
bool style_shares_scale(const char *unit);

/* The top of a scale is never below this, so that a quiet signal looks quiet; 0: none. */
double style_least_top(const char *unit);

/* The step to which samples of a unit are told in words. */
double style_unit_step(const char *unit);

#endif
