/* Functional length of the anal canal: by pull-through, or by sensors of known spacing. */
#ifndef ANALYSIS_ANORECTAL_CANAL_LENGTH_H
#define ANALYSIS_ANORECTAL_CANAL_LENGTH_H

#include "analysis/anorectal/manoeuvre.h"

/* When the sensor was pulled: from pull_start to pull_end, else while the puller channel moves,
 * with the stations at both ends. from_s > to_s when it was not. */
struct span canal_length_pull(const struct study *study, const struct anal_signals *signals);

/* The length. `rest` is the resting stretch for sensors of known spacing; from_s > to_s when there
 * is none. */
struct measure canal_length_measure(const struct study *study, const struct anal_signals *signals,
                                    const struct manoeuvre_list *list, struct span rest);

#endif
