/* The electromyogram of a cystometry or pressure-flow study. */
#ifndef ANALYSIS_EMG_EMG_H
#define ANALYSIS_EMG_EMG_H

#include "analysis/filling/filling.h"

/* Computes the EMG measures. `filling` and `void_phase` may be NULL when the recording has none;
 * void_phase->span is in recorded (not delay-corrected) time, and `flow_delay_s` says by how much
 * flow is late. False when memory ran out. */
bool emg_measure(struct study *study, const struct filling_phase *filling,
                 const struct void_phase *void_phase, double flow_delay_s,
                 struct emg_measures *measures);

/* Drafts findings about the sphincter: result->emg and result->voiding are complete. */
void emg_draft(struct study *study);

#endif
