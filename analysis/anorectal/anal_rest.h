/* The anal resting pressure: mean over a quiet minute, with artefacts cut. */
#ifndef ANALYSIS_ANORECTAL_ANAL_REST_H
#define ANALYSIS_ANORECTAL_ANAL_REST_H

#include "analysis/anorectal/manoeuvre.h"

struct anal_rest {
    bool known;
    double level_mmhg;
    struct span span; /* from_s > to_s when there is none */
};

/* The minute from a `rest` marker; else the quietest one before the first manoeuvre; else the
 * quietest one between the manoeuvres; else the longest stretch between them, from 10 s on. Sets
 * the measure. False when memory ran out. */
bool anal_rest_measure(struct study *study, const struct anal_signals *signals,
                       const struct manoeuvre_list *list, struct anal_rest *ret_rest,
                       struct measure *ret_measure);

#endif
