/* The kinds of figures, each with a file of its own. Private to figure/.
 *
 * Of each: whether it is there, what it shows, and its drawing. */
#ifndef FIGURE_FIGURE_PARTS_H
#define FIGURE_FIGURE_PARTS_H

#include "figure/figure.h"
#include "figure/key.h"

/* What drawing a figure needs. */
struct figure_paper {
    const struct figure_source *source;
    const struct figure *figure;
    struct arena *arena;
    struct canvas *canvas;
    struct canvas_rect area;
};

/* Adds the figures of a kind that the source has to those already there. */
typedef size_t figure_lister(const struct figure_source *source, struct arena *arena,
                             struct figure *figures, size_t room);
typedef void figure_drawer(const struct figure_paper *paper);
typedef void figure_teller(const struct figure_source *source, const struct figure *figure,
                           struct text *out);

figure_lister figure_traces_list;
figure_drawer figure_traces_draw;
figure_teller figure_traces_tell;

figure_lister figure_loop_list;
figure_drawer figure_loop_draw;
figure_teller figure_loop_tell;

figure_lister figure_nomogram_list;
figure_drawer figure_nomogram_draw;
figure_teller figure_nomogram_tell;

figure_lister figure_contractility_list;
figure_drawer figure_contractility_draw;
figure_teller figure_contractility_tell;

figure_lister figure_profile_list;
figure_drawer figure_profile_draw;
figure_teller figure_profile_tell;

figure_lister figure_transmission_list;
figure_drawer figure_transmission_draw;
figure_teller figure_transmission_tell;

/* Figures of half a page's width. */
#define FIGURE_FULL_PT        500.0
#define FIGURE_HALF_PT        243.0
#define FIGURE_HALF_HEIGHT_PT 262.0

/* Draws the key at the bottom of the area, and says in the first line of it that a preliminary
 * figure is preliminary; returns what is left of the area between the two. */
struct canvas_rect figure_frame(const struct figure_paper *paper, const struct key *key);

#endif
