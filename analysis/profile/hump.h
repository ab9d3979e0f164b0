/* Pulls seen in the urethral pressure alone: it rises above the bladder's and falls again. */
#ifndef ANALYSIS_PROFILE_HUMP_H
#define ANALYSIS_PROFILE_HUMP_H

#include "analysis/study.h"

/* What lies before a hump. */
enum hump_side { HUMP_UNKNOWN, HUMP_FROM_BLADDER, HUMP_FROM_OUTSIDE };

struct hump {
    struct span span; /* with up to 20 s to both sides, as far as the next hump leaves room */
    enum hump_side side;
};

struct hump_list {
    size_t count;
    struct hump *items; /* in order of time */
};

/* Finds them in pura - pves; without pves in pura over its level in the first 5 s, when the sensor
 * lies in the bladder. Outside the body pura is near zero and so below the bladder's: that tells a
 * pull from a catheter that is pushed back. False when memory ran out. */
bool hump_list_find(const struct study *study, const struct series *pura,
                    struct hump_list *ret_humps);

#endif
