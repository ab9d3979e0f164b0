/* Bursts of the electromyogram, and how they lie to the detrusor contraction. */
#ifndef ANALYSIS_EMG_BURSTS_H
#define ANALYSIS_EMG_BURSTS_H

#include "analysis/study.h"

struct burst_list {
    size_t count;
    struct emg_burst *items; /* in order of time, none overlapping */
};

/* Stretches of at least 0.5 s in which the envelope is at or above `line_uv` within a span, gaps
 * shorter than 0.25 s (missing samples, too) joined. One that reaches over the span's end is cut
 * there. False when memory ran out. */
bool bursts_find(const struct series *envelope, double line_uv, struct span span,
                 const struct analysis_memory *memory, struct burst_list *ret_bursts);

/* Share of a span that bursts cover, %. NaN for a span without length. */
double bursts_overlap(const struct burst_list *bursts, struct span span);

/* The detrusor contraction of a voiding. */
struct detrusor_contraction {
    bool found;
    struct span span;
    double peak_s; /* of the 1 s average of pdet */
};

/* Finds it within `where`: where the 1 s average of pdet is at least 5 cmH2O above `level_cmh2o`
 * for at least 1 s; of several the one that overlaps `flow` most, else the one with the highest
 * peak.
 *
 * flow  from_s > to_s when there is none */
bool bursts_contraction(const struct study *study, double level_cmh2o, struct span where,
                        struct span flow, struct detrusor_contraction *ret_contraction);

#endif
