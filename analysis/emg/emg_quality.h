/* What is doubtful about an electromyogram, or another signal of the pelvic floor. */
#ifndef ANALYSIS_EMG_EMG_QUALITY_H
#define ANALYSIS_EMG_EMG_QUALITY_H

#include "analysis/emg/bursts.h"
#include "analysis/signal/envelope.h"

/* The signal as such: slow sampling, missing samples, an extreme at which it stays, spikes, and
 * samples that cannot be what they were said to be.
 *
 * input  as uploaded, not reduced */
void emg_quality_of_signal(struct study *study, const struct series *input,
                           const struct envelope *envelope);

/* Missing samples, and an extreme at which the signal stays: for any signal.
 *
 * smooth  an envelope or a pressure, which stays at one value for longer than a raw signal would */
void emg_quality_of_samples(struct study *study, enum signal_kind signal,
                            const struct series *input, bool smooth);

/* Bursts during which pabd is above its level before the voiding: straining. */
void emg_quality_of_strain(struct study *study, const struct burst_list *bursts,
                           double pabd_before_cmh2o);

/* A sudden change around the onset of flow: urine on the electrodes. */
void emg_quality_of_wetting(struct study *study, const struct series *envelope, double onset_s);

#endif
