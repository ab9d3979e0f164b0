#include "analysis/emg/emg_quality.h"

#include "analysis/criteria.h"
#include "analysis/criteria_emg.h"

#include <math.h>

static void note_missing(struct study *study, enum signal_kind signal, const struct series *input)
{
    size_t first = input->count;
    size_t last = 0;

    for (size_t i = 0; i < input->count; i++) {
        if (isnan(input->samples[i])) {
            first = i < first ? i : first;
            last = i;
        }
    }
    if (first < input->count) {
        outcome_note_span(&study->outcome,
                          (struct quality_finding){
                              .code = "missing_samples",
                              .severity = QUALITY_WARNING,
                              .signal = signal,
                              .text = "Samples of this signal are missing at one or more places "
                                      "within this span and were not filled in. Check the "
                                      "electrodes or the sensor, and look at the trace."},
                          series_time(input, first), series_time(input, last));
    }
}

/* The first stretch of equal samples at an extreme that is at least `least` samples long. */
static bool find_clipped(const struct series *input, double extreme, size_t least,
                         struct span *ret_span)
{
    size_t first = 0;

    for (size_t i = 0; i <= input->count; i++) {
        const bool at_extreme = i < input->count && fabs(input->samples[i] - extreme) <= 0.0;

        if (at_extreme) {
            continue;
        }
        if (i - first >= least) {
            *ret_span = (struct span){series_time(input, first), series_time(input, i - 1)};
            return true;
        }
        first = i + 1;
    }
    return false;
}

static void note_clipped(struct study *study, enum signal_kind signal, const struct series *input,
                         bool smooth)
{
    double smallest = SERIES_ENDLESS;
    double largest = -SERIES_ENDLESS;
    size_t least = smooth ? series_whole_samples(input, CRITERIA_EMG_CLIP_S) + 1 : 0;
    struct span span = {0.0, 0.0};

    for (size_t i = 0; i < input->count; i++) {
        const double sample = input->samples[i];

        smallest = sample < smallest ? sample : smallest;
        largest = sample > largest ? sample : largest;
    }
    least = least > CRITERIA_EMG_CLIP_SAMPLES ? least : CRITERIA_EMG_CLIP_SAMPLES;
    /* At rest an envelope or a pressure may well stay at its smallest value. */
    if (largest > smallest && (find_clipped(input, largest, least, &span) ||
                               (!smooth && find_clipped(input, smallest, least, &span)))) {
        outcome_note_span(&study->outcome,
                          (struct quality_finding){
                              .code = "signal_clipped",
                              .severity = QUALITY_WARNING,
                              .signal = signal,
                              .text = "This signal stays at its extreme value, here and perhaps "
                                      "elsewhere, as if the range of the amplifier or sensor were "
                                      "too small. Peaks and means may be too low: lower the gain, "
                                      "or check the sensor, and repeat."},
                          span.from_s, span.to_s);
    }
}

void emg_quality_of_samples(struct study *study, enum signal_kind signal,
                            const struct series *input, bool smooth)
{
    note_missing(study, signal, input);
    note_clipped(study, signal, input, smooth);
}

static void note_rate(struct study *study, const struct series *input,
                      const struct envelope *envelope)
{
    const bool smooth = envelope->form == EMG_FORM_ENVELOPE;
    const double wanted_hz = smooth ? CRITERIA_EMG_LOGGED_RATE_HZ : CRITERIA_EMG_RAW_RATE_HZ;

    if (input->rate_hz < wanted_hz * (1.0 - 1e-6)) {
        outcome_note(&study->outcome, "emg_low_sampling", QUALITY_WARNING, SIGNAL_EMG,
                     smooth ? "This EMG envelope is sampled below 10 Hz. Short bursts are not seen "
                              "and times are less exact."
                            : "This EMG is not an envelope and is sampled below 1000 Hz, so that "
                              "part of its activity is lost or folded. Levels may be compared "
                              "within this recording only; record it faster, or as an envelope.");
    }
}

void emg_quality_of_signal(struct study *study, const struct series *input,
                           const struct envelope *envelope)
{
    const bool raw = envelope->form == EMG_FORM_RAW;

    emg_quality_of_samples(study, SIGNAL_EMG, input, envelope->form == EMG_FORM_ENVELOPE);
    note_rate(study, input, envelope);
    if (envelope->decided) {
        outcome_note(&study->outcome, "emg_form_unknown", QUALITY_INFO, SIGNAL_EMG,
                     "Nothing says whether this EMG is raw, rectified or an envelope. It was "
                     "decided from the samples: check it against the equipment and enter "
                     "emg_form.");
    }
    if (!raw && envelope->negative_share >= CRITERIA_EMG_NEGATIVE_SHARE) {
        outcome_note(&study->outcome, "emg_form_mismatch", QUALITY_WARNING, SIGNAL_EMG,
                     "This EMG was said to be rectified or an envelope, but holds negative "
                     "samples. Either it is raw or its zero is off: correct emg_form, or the "
                     "upload.");
    }
    if (envelope->spike_share >= CRITERIA_EMG_SPIKE_SHARE) {
        outcome_note(
            &study->outcome, "emg_spikes", QUALITY_WARNING, SIGNAL_EMG,
            "This EMG holds many spikes: single samples far beyond their neighbours, which were "
            "left out of the envelope. Check the electrodes, cables and other equipment "
            "nearby.");
    }
}

void emg_quality_of_strain(struct study *study, const struct burst_list *bursts,
                           double pabd_before_cmh2o)
{
    size_t told = 0;

    for (size_t i = 0; i < bursts->count && told < CRITERIA_SPANS_LISTED; i++) {
        const struct span span = {bursts->items[i].start_s, bursts->items[i].end_s};
        const struct series part = series_part(&study->pabd, span);
        size_t peak = 0;

        if (series_maximum(&part, &peak) &&
            part.samples[peak] > pabd_before_cmh2o + CRITERIA_EMG_STRAIN_CMH2O) {
            outcome_note_span(&study->outcome,
                              (struct quality_finding){
                                  .code = "emg_with_strain",
                                  .severity = QUALITY_WARNING,
                                  .signal = SIGNAL_EMG,
                                  .text = "During this EMG burst the abdominal pressure is more "
                                          "than 10 cmH2O above its level before voiding. Straining "
                                          "or a cough raises surface EMG too: do not read this "
                                          "burst as activity of the sphincter alone."},
                              span.from_s, span.to_s);
            told++;
        }
    }
}

void emg_quality_of_wetting(struct study *study, const struct series *envelope, double onset_s)
{
    const struct span around = {onset_s - CRITERIA_EMG_WET_BEFORE_S,
                                onset_s + CRITERIA_EMG_WET_AFTER_S};
    const struct series part = series_part(envelope, around);
    const size_t step = series_whole_samples(&part, CRITERIA_EMG_WET_STEP_S);
    double greatest = 0.0;

    for (size_t i = 0; i < part.count; i++) {
        for (size_t k = i + 1; k < part.count && k - i <= step; k++) {
            const double low = fmin(part.samples[i], part.samples[k]);
            const double high = fmax(part.samples[i], part.samples[k]);

            if (!isnan(part.samples[i]) && !isnan(part.samples[k])) {
                greatest = fmax(greatest, high / fmax(low, CRITERIA_EMG_SD_FLOOR_UV));
            }
        }
    }
    if (greatest > CRITERIA_EMG_WET_RATIO) {
        outcome_note_span(&study->outcome,
                          (struct quality_finding){
                              .code = "emg_wet",
                              .severity = QUALITY_WARNING,
                              .signal = SIGNAL_EMG,
                              .text = "The EMG changes more than fivefold within a second around "
                                      "the onset of flow. Urine on the electrodes does that: what "
                                      "follows may show no muscle. Look at the trace, and dry and "
                                      "renew the electrodes before a repeat."},
                          around.from_s, around.to_s);
    }
}
