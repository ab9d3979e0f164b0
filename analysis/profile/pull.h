/* Where the pulls of a recording lie. */
#ifndef ANALYSIS_PROFILE_PULL_H
#define ANALYSIS_PROFILE_PULL_H

#include "analysis/profile/puller.h"
#include "analysis/study.h"

/* The signals that the profiles alone need. */
struct pull_signals {
    struct series pura;
    struct series puller;
    struct puller_moves moves;
};

/* Most pulls that are measured; the rest is told. */
enum { PULLS_MAX = 100 };

enum pull_found { PULL_BY_MARKERS, PULL_BY_PULLER, PULL_BY_SHAPE };

struct pull {
    struct span span;
    enum pull_found found;
    bool inward;    /* from outside into the bladder: read mirrored */
    bool stalled;   /* the puller stood still on the way */
    bool still;     /* there is a puller, and it did not move */
    bool unpaired;  /* one of its two markers is missing */
    bool one_sided; /* found by shape, and nothing tells which side is the bladder */
};

struct pull_list {
    size_t count;
    struct pull *items; /* in order of time */
    bool more;          /* there are more than are listed */
    bool unmarked;      /* the puller also moved outward where no marker is */
};

/* Makes the signals ready. False when memory ran out. */
bool pull_signals_open(struct study *study, struct pull_signals *ret_signals);

/* Finds the pulls: by pull_start and pull_end markers; without any, where the puller moves outward;
 * without a puller, in a recording of profiles, by the shape of the pressure. A profile goes from
 * the bladder outward: a puller that moves back between pulls is no pull. False when memory ran
 * out. */
bool pull_list_find(struct study *study, const struct pull_signals *signals,
                    struct pull_list *ret_pulls);

#endif
