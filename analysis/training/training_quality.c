#include "analysis/training/training_quality.h"

#include "analysis/criteria_training.h"
#include "analysis/emg/emg_quality.h"

#include <math.h>

void training_quality_of_pressure(struct study *study, enum signal_kind signal,
                                  const struct series *input)
{
    emg_quality_of_samples(study, signal, input, true);
    if (input->rate_hz < CRITERIA_TRAINING_RATE_FLOOR_HZ * (1.0 - 1e-6)) {
        outcome_note(&study->outcome, "low_sampling_rate", QUALITY_WARNING, signal,
                     "This signal is sampled below 10 Hz. Quick contractions are not seen well, "
                     "and times are less exact.");
    }
}

void training_quality_of_session(struct study *study, enum signal_kind signal,
                                 const struct holds *holds)
{
    if (holds->rest.count == 0) {
        outcome_note(&study->outcome, "training_no_rest", QUALITY_ERROR, signal,
                     "Hardly any rest was recorded, so that nothing tells rest from contraction. "
                     "Record at least 10 s of rest before the first contraction, better 60 s.");
        return;
    }
    if (holds_rest_before_s(holds) < CRITERIA_TRAINING_REST_BEFORE_S) {
        outcome_note(&study->outcome, "training_short_rest", QUALITY_INFO, signal,
                     "Less than 10 s of rest was recorded before the first contraction. The rest "
                     "tone comes from the pauses between contractions, where muscles may not have "
                     "let go; record 60 s of rest first.");
    }
    if (holds->count == 0) {
        outcome_note(&study->outcome, "training_no_contraction", QUALITY_WARNING, signal,
                     "No contraction was found. Check the sensor and its place, and look at the "
                     "trace.");
        return;
    }
    if (fabs(holds->rest_drift) > CRITERIA_TRAINING_DRIFT_SHARE * holds->best) {
        outcome_note(&study->outcome, "training_drift", QUALITY_WARNING, signal,
                     "The level at rest changes over the session by more than a tenth of the best "
                     "contraction. The sensor may have moved or warmed, or the muscles did not let "
                     "go: compare contractions with the rest beside them.");
    }
}
