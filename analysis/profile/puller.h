/* The movements of a catheter puller: outward (withdrawn length grows), or back. */
#ifndef ANALYSIS_PROFILE_PULLER_H
#define ANALYSIS_PROFILE_PULLER_H

#include "analysis/analysis.h"
#include "analysis/signal/series.h"

struct puller_move {
    struct span span;
    double travel_mm; /* > 0 */
    bool inward;      /* back into the bladder: no pull, unless someone marked it as one */
    bool stalled;     /* it stood still for a moment on the way */
};

struct puller_moves {
    size_t count;
    struct puller_move *items; /* in order of time */
};

/* Finds movements of at least 10 mm. A jump from one sample to the next, such as a counter set to
 * zero, is a movement back.
 *
 * puller  withdrawn length, mm; no more than some samples a second
 *
 * False when memory ran out. */
bool puller_moves_find(const struct series *puller, const struct analysis_memory *memory,
                       struct puller_moves *ret_moves);

/* Withdrawn length at each of `count` moments within a span, mm, from 0 at its start; it never
 * falls. An even movement is a straight line, which a puller that reports in steps lacks.
 *
 * inward     the length falls: the result is what was pushed back in
 * at         moments of the positions, equally spaced
 * positions  room for at->count values
 *
 * Returns the mean speed, mm/s (> 0); NaN, with nothing written, when the puller was not recorded
 * there or did not move. False in ret_memory_left when memory ran out. */
double puller_positions(const struct series *puller, struct span span, bool inward,
                        const struct series *at, const struct analysis_memory *memory,
                        double *positions, bool *ret_memory_left);

#endif
