/* What is wrong or doubtful with a recording, in words for the person who reads it. Flags, never
 * refusals: every text says what it is and what to do. */
#ifndef ANALYSIS_QUALITY_H
#define ANALYSIS_QUALITY_H

#include "analysis/filling/filling.h"

/* Signals as such: missing samples, slow sampling, dead lines, implausible values, pdet that does
 * not match pves - pabd, markers outside the recording, implausible conditions. */
void quality_of_signals(struct study *study);

/* A voiding: knocks, negative flow, wrong zero, volumes that disagree or are too low, unseen ends,
 * late maximum. */
void quality_of_flow(struct study *study, const struct flow_record *record,
                     const struct void_phase *phase, const struct flow_measures *measures);

/* Flow that is cut off at the end of the meter's range. */
void quality_of_flow_range(struct study *study);

/* A filling: resting pressures, order of sensations, capacity. */
void quality_of_filling(struct study *study, const struct filling_measures *measures);

/* Pressure lines over the whole study: coughs that both lines answer alike at the start, during
 * filling, before and after voiding; damped, dead, drifting, clipped, noisy lines; a catheter that
 * came out; pump and infused volume that disagree. False when memory ran out.
 *
 * filling     NULL when there is none
 * void_phase  ->found says whether there is one */
bool quality_of_pressures(struct study *study, const struct filling_phase *filling,
                          const struct void_phase *void_phase);

#endif
