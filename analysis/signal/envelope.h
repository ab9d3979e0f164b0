/* The envelope of an electromyogram: how strong it is, over time. */
#ifndef ANALYSIS_SIGNAL_ENVELOPE_H
#define ANALYSIS_SIGNAL_ENVELOPE_H

#include "analysis/analysis.h"
#include "analysis/signal/series.h"

struct envelope {
    struct series series;  /* uV, at most CRITERIA_EMG_ENVELOPE_RATE_HZ; count 0: no signal */
    enum emg_form form;    /* what the samples were taken to be; never EMG_FORM_UNKNOWN */
    bool decided;          /* from the samples, because nobody said */
    double negative_share; /* of the samples: what the decision rests on first */
    double window_s;       /* that was averaged over; 0 for an envelope that was kept */
    double spike_share;    /* of a raw signal's windows: those that hold spikes; else 0 */
};

/* Makes the envelope of a signal.
 *
 * emg   every sample finite or NaN, not reduced
 * form  what the samples are: a raw signal loses its mean over 2 s and gets a moving root mean
 *       square over 0.2 s, single samples far beyond the rest of their window left out; a rectified
 * one a moving mean over 0.5 s; an envelope is kept, and only reduced by block means when it is
 * fast. When unknown it is decided: negative samples mean raw; quick samples that often lie near
 * zero mean rectified; everything else an envelope. A raw signal whose offset keeps it above zero
 * cannot be told from an envelope.
 *
 * Windows are centred, and shorter at both ends. Missing samples are left out; where more than half
 * of a window is missing, so is the envelope. False when memory ran out. Time is linear in the
 * number of samples. */
bool envelope_make(const struct series *emg, enum emg_form form,
                   const struct analysis_memory *memory, struct envelope *ret_envelope);

/* How an envelope of a form was made ("moving_rms_of_raw", "moving_mean_of_rectified",
 * "as_recorded"), and how the form is known. Static strings. */
const char *envelope_word(enum emg_form form);
const char *envelope_method(const struct envelope *envelope);

#endif
