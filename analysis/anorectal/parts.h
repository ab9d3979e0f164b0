/* What the parts of an anorectal manometry share, and the parts. Private to this folder. */
#ifndef ANALYSIS_ANORECTAL_PARTS_H
#define ANALYSIS_ANORECTAL_PARTS_H

#include "analysis/anorectal/anal_rest.h"
#include "analysis/anorectal/excursion.h"

struct anorectal_parts {
    struct study *study;
    struct anal_signals signals;
    struct manoeuvre_list list;
    struct anal_rest rest;
    struct anorectal_measures *measures;
};

/* Each sets its measures, and the items of its manoeuvres. */
void squeeze_measure(struct anorectal_parts *parts);
void cough_measure(struct anorectal_parts *parts);
void push_measure(struct anorectal_parts *parts);
void rair_measure(struct anorectal_parts *parts);
void rectal_sensation_measure(struct anorectal_parts *parts);

/* The change of a pressure within a manoeuvre's window, and how long it lasts up to the next
 * manoeuvre: half of it counts on both sides. direction: 1 up, -1 down. */
struct excursion parts_excursion(const struct anorectal_parts *parts,
                                 const struct manoeuvre *manoeuvre, const struct series *series,
                                 double direction);

/* An item of which nothing is known but its kind, time and volume. */
struct anorectal_manoeuvre parts_empty_item(const struct manoeuvre *manoeuvre);

/* Draws on all of them: dead, cut off, drifting or implausible lines, slow sampling, missing rest,
 * volumes that are missing or out of order. */
void quality_of_anorectal(struct anorectal_parts *parts);

#endif
