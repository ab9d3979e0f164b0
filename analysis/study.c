#include "analysis/study.h"

#include "analysis/classify.h"
#include "analysis/criteria.h"
#include "analysis/measure.h"
#include "analysis/memory.h"
#include "analysis/series_copy.h"
#include "analysis/signal/derive.h"
#include "analysis/signal/resample.h"

#include <math.h>

enum { SCRATCH_SAMPLES = 8192 };

static bool is_measurement(double sample)
{
    return fabs(sample) <= CRITERIA_SAMPLE_LIMIT; /* false for NaN and infinities too */
}

static bool axis_usable(const struct channel *channel)
{
    return isfinite(channel->rate_hz) && channel->rate_hz >= CRITERIA_RATE_MIN_HZ &&
           channel->rate_hz <= CRITERIA_RATE_MAX_HZ &&
           fabs(channel->start_s) <= CRITERIA_START_MAX_S;
}

struct sample_tally {
    size_t present;
    size_t absurd;
};

/* Nearly always all samples are measurements, and then no branch is needed to know it. */
static struct sample_tally tally_samples(const struct channel *channel)
{
    struct sample_tally tally = {0, 0};

    for (size_t i = 0; i < channel->sample_count; i++) {
        tally.present += is_measurement(channel->samples[i]);
    }
    for (size_t i = 0; tally.present < channel->sample_count && i < channel->sample_count; i++) {
        tally.absurd += !is_measurement(channel->samples[i]) && !isnan(channel->samples[i]) ? 1 : 0;
    }
    return tally;
}

/* A copy of the samples in which everything that is no measurement is missing. */
static double *copy_measurements(const struct channel *channel,
                                 const struct analysis_memory *memory)
{
    double *copy = memory_doubles(memory, channel->sample_count);

    for (size_t i = 0; copy != NULL && i < channel->sample_count; i++) {
        copy[i] = is_measurement(channel->samples[i]) ? channel->samples[i] : SERIES_MISSING;
    }
    return copy;
}

/* Means over the steps of a coarse volume would hide them, so they are joined first. */
static bool join_fast_volume(struct series *volume, const struct analysis_memory *memory)
{
    if (resample_block(volume, CRITERIA_ANALYSIS_RATE_HZ) <= 1) {
        return true;
    }
    double *joined = memory_doubles(memory, volume->count);

    if (joined == NULL) {
        return false;
    }
    derive_join_steps(volume, derive_step(volume), joined);
    volume->samples = joined;
    return true;
}

bool study_signal(struct study *study, enum signal_kind signal, double most_rate_hz,
                  struct series *ret_series)
{
    const struct channel *channel = recording_channel(study->recording, signal);

    *ret_series = (struct series){.rate_hz = 1.0};
    if (channel == NULL) {
        return true;
    }
    if (!axis_usable(channel)) {
        outcome_note(&study->outcome, "unusable_axis", QUALITY_ERROR, signal,
                     "The sampling rate or the start of this signal is outside what can be "
                     "analysed, so the signal was left out. Check the upload.");
        return true;
    }
    const struct sample_tally tally = tally_samples(channel);

    if (tally.absurd > 0) {
        outcome_note(&study->outcome, "absurd_samples", QUALITY_ERROR, signal,
                     "Samples of this signal are far beyond any measurement and were treated as "
                     "missing. Check the unit, scale and offset of the upload.");
    }
    if (tally.present == 0) {
        outcome_note(&study->outcome, "no_samples", QUALITY_ERROR, signal,
                     "This signal holds no samples, so nothing was computed from it. Check the "
                     "sensor and the upload.");
        return true;
    }
    struct series series = {channel->rate_hz, channel->start_s, channel->sample_count,
                            channel->samples};

    if (tally.absurd > 0) {
        series.samples = copy_measurements(channel, study->memory);
        if (series.samples == NULL) {
            return false;
        }
    }
    if ((signal == SIGNAL_VVOID && !join_fast_volume(&series, study->memory)) ||
        !series_copy_reduced(&series, most_rate_hz, study->memory, ret_series)) {
        return false;
    }
    return true;
}

/* pdet = pves - pabd, sample by sample, when it was not uploaded. */
static bool derive_pdet(struct study *study)
{
    if (study->pdet.count > 0 || study->pves.count == 0 || study->pabd.count == 0) {
        return true;
    }
    double *difference = memory_doubles(study->memory, study->pves.count);

    if (difference == NULL) {
        return false;
    }
    resample_difference(&study->pves, &study->pabd, difference);
    study->pdet = study->pves;
    study->pdet.samples = difference;
    study->pdet_derived = true;
    return true;
}

static bool flow_from_volume(struct study *study)
{
    if (study->flow.count > 0 || study->vvoid.count == 0) {
        return true;
    }
    double *joined = memory_doubles(study->memory, study->vvoid.count);
    double *scratch = memory_array(study->memory, study->vvoid.count, 2 * sizeof *scratch);
    double *slope = memory_doubles(study->memory, study->vvoid.count);

    if (joined == NULL || scratch == NULL || slope == NULL) {
        return false;
    }
    const double step_ml = derive_step(&study->vvoid);

    struct series volume = study->vvoid;

    derive_join_steps(&study->vvoid, step_ml, joined);
    volume.samples = joined;
    derive_flow(&volume, CRITERIA_DERIVE_HALF_S, step_ml, scratch, slope);
    study->flow = study->vvoid;
    study->flow.samples = slope;
    study->flow_derived = true;
    return true;
}

static bool take_signal(struct study *study, enum signal_kind signal, struct series *ret_series)
{
    return study_signal(study, signal, CRITERIA_ANALYSIS_RATE_HZ, ret_series);
}

bool study_open(struct study *study, const struct recording *recording,
                const struct analysis_choices *choices, const struct analysis_memory *memory,
                struct analysis_result *result)
{
    *study = (struct study){.recording = recording, .choices = choices, .memory = memory};
    study->scratch.values = memory_doubles(memory, SCRATCH_SAMPLES);
    study->scratch.capacity = SCRATCH_SAMPLES;
    return study->scratch.values != NULL && outcome_open(&study->outcome, result, memory) &&
           timeline_open(&study->timeline, recording, memory) &&
           take_signal(study, SIGNAL_PVES, &study->pves) &&
           take_signal(study, SIGNAL_PABD, &study->pabd) &&
           take_signal(study, SIGNAL_PDET, &study->pdet) &&
           take_signal(study, SIGNAL_FLOW, &study->flow) &&
           take_signal(study, SIGNAL_VVOID, &study->vvoid) &&
           take_signal(study, SIGNAL_VINF, &study->vinf) && derive_pdet(study) &&
           flow_from_volume(study);
}

double study_age_years(const struct study *study)
{
    const struct optional_number age = study->recording->age_years;

    if (!age.known || !(age.value >= 0.0 && age.value <= CRITERIA_PLAUSIBLE_AGE_MAX_YEARS)) {
        return -1.0;
    }
    return floor(age.value);
}

bool study_is_child(const struct study *study)
{
    const double age_years = study_age_years(study);

    return age_years >= 0.0 && age_years < CRITERIA_ADULT_YEARS;
}

struct measure study_expected_capacity(const struct study *study)
{
    double capacity_ml = 0.0;

    if (!study_is_child(study)) {
        return (struct measure){.state = MEASURE_NOT_APPLICABLE};
    }
    if (!classify_expected_capacity(study->recording->age_years.value, &capacity_ml)) {
        return measure_absent("no formula for the expected capacity holds from 1 to 3 years");
    }
    return measure_of(capacity_ml,
                      study->recording->age_years.value < CRITERIA_EBC_INFANT_YEARS
                          ? "38 mL plus 2.5 mL for each completed month (Holmdahl 1996)"
                          : "30 mL times completed years plus one, 390 mL from 12 years on (ICCS)");
}

struct span study_extent(const struct study *study)
{
    const struct series *const all[] = {&study->pves, &study->pabd,  &study->pdet,
                                        &study->flow, &study->vvoid, &study->vinf};
    struct span extent = {SERIES_ENDLESS, -SERIES_ENDLESS};

    for (size_t i = 0; i < sizeof all / sizeof all[0]; i++) {
        if (all[i]->count > 0) {
            extent.from_s = fmin(extent.from_s, all[i]->start_s);
            extent.to_s = fmax(extent.to_s, series_time(all[i], all[i]->count - 1));
        }
    }
    return extent;
}
