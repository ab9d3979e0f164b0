/* The pattern of the electromyogram during the voiding contraction, as a hint and never a
 * conclusion. */
#ifndef ANALYSIS_EMG_EMG_PATTERN_H
#define ANALYSIS_EMG_EMG_PATTERN_H

#include <stdbool.h>
#include <stddef.h>

/* What it is taken from; NaN: not known. */
struct emg_pattern {
    bool bursts_known;
    size_t burst_count;     /* during the voiding contraction */
    double longest_s;       /* of these; 0 when there is none */
    double overlap_percent; /* share of the detrusor contraction that bursts cover */
    double peak_offset_s;   /* largest EMG minus largest pdet within the contraction */
    double fall_percent;    /* lowest EMG within 2 s after its largest, over it */
    double voiding_ratio;   /* voiding over end of filling */
};

/* "type_3" when bursts cover at least 80 % of the contraction; else "type_2" for at least three
 * bursts, each shorter than 3 s, that cover 20 to 80 %; else "type_1" when the largest EMG lies
 * within 2 s of the largest pdet and then falls below half within 2 s; else "quiet" without a
 * burst; else "higher" or "lower" by the ratio, "unchanged" at exactly 1. NULL when nothing is
 * known.
 *
 * Types: Blaivas JG et al. J Urol 1981;125:545-548; the numbers are this project's. */
const char *emg_pattern_class(const struct emg_pattern *pattern);

#endif
