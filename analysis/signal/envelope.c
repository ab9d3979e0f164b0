#include "analysis/signal/envelope.h"

#include "analysis/criteria_emg.h"
#include "analysis/memory.h"
#include "analysis/series_copy.h"
#include "analysis/signal/resample.h"

#include <math.h>

/* Mean of the samples within `half` to both sides of a centre that only moves on. */
struct local_mean {
    const struct series *series;
    size_t half;
    size_t added;   /* samples up to here are in the sum */
    size_t dropped; /* and up to here are out again */
    size_t present;
    double sum;
};

static double local_mean_at(struct local_mean *mean, size_t centre)
{
    const struct series *series = mean->series;
    const size_t end =
        series->count - centre > mean->half ? centre + mean->half + 1 : series->count;
    const size_t first = centre > mean->half ? centre - mean->half : 0;

    for (; mean->added < end; mean->added++) {
        if (!isnan(series->samples[mean->added])) {
            mean->sum += series->samples[mean->added];
            mean->present++;
        }
    }
    for (; mean->dropped < first; mean->dropped++) {
        if (!isnan(series->samples[mean->dropped])) {
            mean->sum -= series->samples[mean->dropped];
            mean->present--;
        }
    }
    if (mean->present == 0) {
        mean->sum = 0.0;
        return SERIES_MISSING;
    }
    return mean->sum / (double)mean->present;
}

static struct local_mean local_mean_open(const struct series *series)
{
    return (struct local_mean){.series = series,
                               .half = series_whole_samples(series, CRITERIA_EMG_MEAN_HALF_S)};
}

struct sign_tally {
    size_t present;
    size_t negative;
};

static struct sign_tally tally_signs(const struct series *emg)
{
    struct sign_tally tally = {0, 0};

    for (size_t i = 0; i < emg->count; i++) {
        tally.present += isnan(emg->samples[i]) ? 0 : 1;
        tally.negative += emg->samples[i] < 0.0 ? 1 : 0;
    }
    return tally;
}

/* Whether samples without a sign are as quick, and as often near zero, as rectified ones. */
static bool is_rectified(const struct series *emg, double present)
{
    struct local_mean mean = local_mean_open(emg);
    size_t low = 0;
    size_t crossings = 0;
    bool is_first = true;
    bool was_above = false;

    for (size_t i = 0; i < emg->count; i++) {
        if (isnan(emg->samples[i])) {
            continue;
        }
        const double level = local_mean_at(&mean, i);
        const bool is_above = emg->samples[i] > level;

        crossings += !is_first && is_above != was_above ? 1 : 0;
        low += emg->samples[i] < CRITERIA_EMG_LOW_PART * level ? 1 : 0;
        is_first = false;
        was_above = is_above;
    }
    return (double)crossings * emg->rate_hz >= CRITERIA_EMG_CROSSINGS_HZ * present &&
           (double)low >= CRITERIA_EMG_LOW_SHARE * present;
}

static enum emg_form decide_form(const struct series *emg, const struct sign_tally *tally)
{
    const double present = (double)tally->present;

    if ((double)tally->negative >= CRITERIA_EMG_NEGATIVE_SHARE * present) {
        return EMG_FORM_RAW;
    }
    if (emg->rate_hz >= CRITERIA_EMG_RECTIFIED_RATE_HZ && is_rectified(emg, present)) {
        return EMG_FORM_RECTIFIED;
    }
    return EMG_FORM_ENVELOPE;
}

/* What a window holds, as distances from a level. */
struct window {
    size_t inside;
    size_t present;
    double sum;
    double absolutes;
    double squares;
    double farthest;
};

/* Distances beyond `limit` are left out. */
static struct window window_read(const struct series *series, size_t centre, size_t half,
                                 double level, double limit)
{
    const size_t end = series->count - centre > half ? centre + half + 1 : series->count;
    const size_t first = centre > half ? centre - half : 0;
    struct window window = {.inside = end - first};

    for (size_t i = first; i < end; i++) {
        const double distance = series->samples[i] - level;
        const double size = fabs(distance);

        if (size <= limit) { /* not for a missing one */
            window.sum += distance;
            window.absolutes += size;
            window.squares += distance * distance;
            window.farthest = size > window.farthest ? size : window.farthest;
            window.present++;
        }
    }
    return window;
}

static double window_mean(const struct window *window)
{
    return window->present == 0 || window->present * 2 < window->inside
               ? SERIES_MISSING
               : window->sum / (double)window->present;
}

/* Root mean square without spikes. */
static double window_rms(const struct series *emg, size_t centre, size_t half,
                         const struct window *window, double level, bool *ret_spiky)
{
    struct window kept = *window;

    *ret_spiky = false;
    if (window->present == 0 || window->present * 2 < window->inside) {
        return SERIES_MISSING;
    }
    const double limit = CRITERIA_EMG_SPIKE_RATIO * window->absolutes / (double)window->present;

    if (window->farthest > limit) {
        *ret_spiky = true;
        kept = window_read(emg, centre, half, level, limit);
    }
    return sqrt(kept.squares / (double)kept.present);
}

/* Moving root mean square, or mean, at every block-th sample. Each sample is read a few times: that
 * loses nothing to rounding, where sums that slide over a spike would. */
static bool average(const struct series *emg, bool raw, const struct analysis_memory *memory,
                    struct envelope *envelope)
{
    const double half_s = raw ? CRITERIA_EMG_RMS_HALF_S : CRITERIA_EMG_RECTIFIED_HALF_S;
    const size_t half = series_whole_samples(emg, half_s);
    const size_t block = resample_block(emg, CRITERIA_EMG_ENVELOPE_RATE_HZ);
    const size_t count = emg->count > 0 ? (emg->count - 1) / block + 1 : 0;
    double *output = memory_doubles(memory, count);
    struct local_mean mean = local_mean_open(emg);
    size_t spiky = 0;
    size_t known = 0;

    if (output == NULL) {
        return false;
    }
    for (size_t i = 0; i < count; i++) {
        const size_t centre = i * block;
        const double level = raw ? local_mean_at(&mean, centre) : 0.0;
        const struct window window = window_read(emg, centre, half, level, SERIES_ENDLESS);
        bool is_spiky = false;

        output[i] =
            raw ? window_rms(emg, centre, half, &window, level, &is_spiky) : window_mean(&window);
        spiky += is_spiky ? 1 : 0;
        known += isnan(output[i]) ? 0 : 1;
    }
    envelope->series = (struct series){emg->rate_hz / (double)block, emg->start_s, count, output};
    envelope->window_s = 2.0 * half_s;
    envelope->spike_share = raw && known > 0 ? (double)spiky / (double)known : 0.0;
    return true;
}

bool envelope_make(const struct series *emg, enum emg_form form,
                   const struct analysis_memory *memory, struct envelope *ret_envelope)
{
    struct envelope envelope = {.series = {.rate_hz = emg->rate_hz, .start_s = emg->start_s},
                                .form = form == EMG_FORM_UNKNOWN ? EMG_FORM_ENVELOPE : form,
                                .decided = form == EMG_FORM_UNKNOWN};
    const struct sign_tally tally = tally_signs(emg);
    bool made = true;

    if (tally.present > 0) {
        envelope.negative_share = (double)tally.negative / (double)tally.present;
        envelope.form = envelope.decided ? decide_form(emg, &tally) : form;
        made =
            envelope.form == EMG_FORM_ENVELOPE
                ? series_copy_reduced(emg, CRITERIA_EMG_ENVELOPE_RATE_HZ, memory, &envelope.series)
                : average(emg, envelope.form == EMG_FORM_RAW, memory, &envelope);
    }
    *ret_envelope = envelope;
    return made;
}

const char *envelope_word(enum emg_form form)
{
    switch (form) {
    case EMG_FORM_RAW:
        return "moving_rms_of_raw";
    case EMG_FORM_RECTIFIED:
        return "moving_mean_of_rectified";
    case EMG_FORM_ENVELOPE:
    case EMG_FORM_UNKNOWN:
    default:
        return "as_recorded";
    }
}

const char *envelope_method(const struct envelope *envelope)
{
    if (!envelope->decided) {
        return "emg_form as entered";
    }
    switch (envelope->form) {
    case EMG_FORM_RAW:
        return "emg_form not entered: taken for raw, because samples are negative";
    case EMG_FORM_RECTIFIED:
        return "emg_form not entered: taken for rectified, because quick samples without a sign "
               "often lie near zero";
    case EMG_FORM_ENVELOPE:
    case EMG_FORM_UNKNOWN:
    default:
        return "emg_form not entered: taken for an envelope, because no sample is negative and "
               "none behaves as a rectified one does";
    }
}
