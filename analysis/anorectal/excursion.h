/* One excursion of a pressure from the level just before it, up or down. */
#ifndef ANALYSIS_ANORECTAL_EXCURSION_H
#define ANALYSIS_ANORECTAL_EXCURSION_H

#include "analysis/signal/level.h"
#include "analysis/signal/series.h"

struct excursion_rule {
    double direction;   /* 1: up, -1: down */
    struct span window; /* in which its extreme lies */
    double reach_s;     /* up to here its end is sought */
    double start_share; /* it lasts from where it has come this share of its change ... */
    double end_share;   /* ... to where it has gone back to this share of it */
};

struct excursion {
    bool found;
    double rest; /* median of the 5 s before its onset */
    double extreme;
    double extreme_s;
    double change; /* from rest to extreme, in the direction of the rule */
    struct span span;
    bool end_seen; /* it went back, and the signal shows where */
};

/* Finds it. Not found when the window, or the time before it, holds no samples. */
struct excursion excursion_find(const struct series *series, const struct excursion_rule *rule,
                                struct level_scratch scratch);

#endif
