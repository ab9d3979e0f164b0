#include "analysis/profile/profile_quality.h"

#include "analysis/criteria_profile.h"
#include "analysis/measure.h"

#include <string.h>

static void note(struct study *study, const struct pull *pull, const char *code,
                 enum quality_severity severity, enum signal_kind signal, const char *text)
{
    outcome_note_span(&study->outcome,
                      (struct quality_finding){
                          .code = code, .severity = severity, .signal = signal, .text = text},
                      pull->span.from_s, pull->span.to_s);
}

static void look_at_movement(struct study *study, const struct pull *pull)
{
    if (pull->inward) {
        note(study, pull, "profile_inward", QUALITY_WARNING, SIGNAL_PULLER,
             "The puller moved back during this marked pull. A profile goes from the bladder "
             "outward, so it was read mirrored. Check the markers and the puller's direction.");
    }
    if (pull->stalled) {
        note(study, pull, "puller_stalled", QUALITY_WARNING, SIGNAL_PULLER,
             "The puller stood still for a moment during this pull. Lengths follow its position; "
             "look at the curve and consider to repeat the pull.");
    }
    if (pull->still) {
        note(study, pull, "puller_still", QUALITY_WARNING, SIGNAL_PULLER,
             "The puller signal does not move during this marked pull, so lengths need an entered "
             "speed. Check the puller and its connection.");
    }
    if (pull->unpaired) {
        note(study, pull, "pull_marker_unpaired", QUALITY_WARNING, SIGNAL_PURA,
             "This pull has only one of its two markers (pull_start, pull_end). The other end was "
             "assumed; set the missing marker.");
    }
    if (pull->found == PULL_BY_SHAPE) {
        note(study, pull, "pull_found_by_shape", QUALITY_INFO, SIGNAL_PURA,
             "This pull was found from the urethral pressure alone, without markers or a puller "
             "signal. Check its ends.");
    }
    if (pull->one_sided) {
        note(study, pull, "profile_direction_unknown", QUALITY_WARNING, SIGNAL_PURA,
             "Nothing tells on which side of this pull the bladder is; it was read as going from "
             "the bladder outward. If it does not, length and area to the peak are wrong.");
    }
}

static void look_at_speed(struct study *study, const struct profile_pull_facts *facts)
{
    const struct profile_trace *trace = facts->trace;
    const struct optional_number entered = study->recording->conditions.puller_speed_mm_s;

    if (trace->speed_known == PROFILE_SPEED_UNKNOWN) {
        note(study, facts->pull, "speed_unknown", QUALITY_WARNING, SIGNAL_PURA,
             "Neither a moving puller nor its speed is known, so lengths and areas are withheld. "
             "Enter puller_speed_mm_s.");
        return;
    }
    if (trace->speed_known == PROFILE_SPEED_MEASURED && entered.known &&
        fabs(trace->speed_mm_s - entered.value) >
            CRITERIA_PROFILE_SPEED_SHARE * trace->speed_mm_s) {
        note(study, facts->pull, "puller_speed_mismatch", QUALITY_WARNING, SIGNAL_PULLER,
             "The puller's own movement and the entered speed differ by more than 10 %. The "
             "movement was used; correct the entry or the puller's scale.");
    }
    if (trace->speed_mm_s > CRITERIA_PROFILE_SPEED_HIGH_MM_S) {
        note(study, facts->pull, "pull_fast", QUALITY_WARNING, SIGNAL_PURA,
             "The pull was faster than 7 mm/s, which a perfused catheter may not follow: the "
             "profile may be too flat. Repeat it at 0.5 to 2 mm/s.");
    }
}

static double highest(const double *values, size_t count)
{
    double most = -SERIES_ENDLESS;

    for (size_t i = 0; i < count; i++) {
        most = values[i] > most ? values[i] : most;
    }
    return most;
}

static void look_at_vesical(struct study *study, const struct profile_pull_facts *facts)
{
    const struct profile_trace *trace = facts->trace;
    const size_t step = trace->count / study->scratch.capacity + 1;
    double *const values = study->scratch.values;
    size_t held = 0;

    if (trace->no_closure != NULL) {
        return;
    }
    if (trace->one_level) {
        note(study, facts->pull, "pves_not_simultaneous", QUALITY_WARNING, SIGNAL_PVES,
             "Vesical pressure was not recorded during this pull; its level in the 5 s before was "
             "used throughout. Movement, strain and coughs cannot be seen in it; prefer a catheter "
             "with two channels.");
        return;
    }
    for (size_t i = 0; i < trace->count; i += step) {
        if (!isnan(trace->pves[i])) {
            values[held++] = trace->pves[i];
        }
    }
    if (held == 0) {
        return;
    }
    const double low = level_quantile_of(values, held, CRITERIA_PROFILE_PVES_LOW_SHARE);
    const double high = level_quantile_of(values, held, CRITERIA_PROFILE_PVES_HIGH_SHARE);
    const double median = level_median_of(values, held);

    if (high - low > CRITERIA_PROFILE_PVES_RANGE_CMH2O) {
        note(study, facts->pull, "pves_moving", QUALITY_WARNING, SIGNAL_PVES,
             "Vesical pressure moved by more than 10 cmH2O during this pull. Closure pressure "
             "allows for it, urethral pressure does not; repeat the pull with the patient at "
             "rest.");
    }
    if (facts->coughs->count == 0 &&
        highest(trace->pves, trace->count) - median > CRITERIA_PROFILE_EXCURSION_CMH2O) {
        note(study, facts->pull, "cough_in_rest", QUALITY_WARNING, SIGNAL_PVES,
             "Vesical pressure rose by more than 10 cmH2O during this resting pull: a cough, a "
             "strain or movement. Its numbers are doubtful; repeat the pull.");
    }
}

/* For how long closure was near zero at the bladder's end. */
static double baseline_s(const struct profile_trace *trace)
{
    size_t near = 0;

    while (near < trace->count && fabs(trace->closure[near]) <= CRITERIA_PROFILE_BASELINE_CMH2O) {
        near++;
    }
    return trace->bladder_s + (double)near / trace->rate_hz;
}

static void look_at_profile(struct study *study, const struct profile_pull_facts *facts)
{
    const struct profile_trace *trace = facts->trace;

    if (facts->extent->absent != NULL) {
        return;
    }
    if (baseline_s(trace) < CRITERIA_PROFILE_BASELINE_S) {
        note(study, facts->pull, "no_baseline", QUALITY_WARNING, SIGNAL_PURA,
             "Closure pressure is not near 0 (within 5 cmH2O) for 3 s at the bladder's end of this "
             "pull. The catheter was not in the bladder, or the two transducers differ in zero or "
             "height: closure pressure is then wrong by as much. Check both.");
    }
    if (facts->extent->start_cut || facts->extent->end_cut) {
        note(study, facts->pull, "profile_truncated", QUALITY_WARNING, SIGNAL_PURA,
             "Closure pressure is still above the threshold at the first or last sample of this "
             "pull, so lengths are at least what is given. Start in the bladder and pull until the "
             "sensor is outside.");
    }
    if (facts->coughs->count > 0 && trace->raw_rate_hz < CRITERIA_PROFILE_STRESS_RATE_HZ) {
        note(study, facts->pull, "stress_sampling_slow", QUALITY_WARNING, SIGNAL_PURA,
             "Coughs were recorded at fewer than 50 samples a second, which misses their peaks. "
             "Transmission ratios are uncertain; record stress profiles faster.");
    }
}

void profile_quality_of_pull(struct study *study, const struct profile_pull_facts *facts)
{
    look_at_movement(study, facts->pull);
    if (!measure_known(&facts->measures->maximum_urethral_pressure)) {
        note(study, facts->pull, "pull_without_pressure", QUALITY_ERROR, SIGNAL_PURA,
             "Urethral pressure has too few samples during this pull to measure a profile. Check "
             "the markers and the sensor.");
        return;
    }
    look_at_speed(study, facts);
    look_at_vesical(study, facts);
    look_at_profile(study, facts);
}

static double cv_of(const struct measure *measure)
{
    for (size_t i = 0; i < measure->part_count; i++) {
        if (strcmp(measure->parts[i].code, "cv_percent") == 0) {
            return measure->parts[i].value;
        }
    }
    return SERIES_MISSING;
}

static void look_at_repeats(struct study *study)
{
    const struct profiles_summary_measures *summary = &study->outcome.result->profiles_summary;

    if (summary->pulls.value > 0.5 && summary->pulls.value < 1.5) {
        outcome_note(&study->outcome, "single_pull", QUALITY_INFO, SIGNAL_PURA,
                     "Only one resting pull could be measured. Three are usual, so that their "
                     "spread is known.");
    }
    if (cv_of(&summary->maximum_closure_pressure) > CRITERIA_PROFILE_REPEAT_CV_PERCENT) {
        outcome_note(&study->outcome, "repeat_spread", QUALITY_WARNING, SIGNAL_PURA,
                     "Maximum closure pressure varies by more than 15 % (coefficient of variation) "
                     "between the resting pulls. Look at each curve; repeat the pulls.");
    }
}

void profile_quality_of_all(struct study *study, const struct pull_signals *signals,
                            const struct pull_list *pulls)
{
    if (signals->pura.count == 0) {
        if (recording_channel(study->recording, SIGNAL_PURA) == NULL) {
            outcome_note(&study->outcome, "no_urethral_pressure", QUALITY_ERROR, SIGNAL_PURA,
                         "There is no urethral pressure (pura) in the recording, so no profile was "
                         "measured. Check the channels of the upload.");
        }
        return;
    }
    if (pulls->count == 0) {
        outcome_note(&study->outcome, "no_pull_found", QUALITY_WARNING, SIGNAL_PURA,
                     "No pull was found: there are no pull_start and pull_end markers, no outward "
                     "movement of a puller and no rise of urethral pressure of at least 10 cmH2O. "
                     "Set the markers.");
    }
    if (pulls->more) {
        outcome_note(&study->outcome, "more_pulls", QUALITY_WARNING, SIGNAL_PURA,
                     "There are more than 100 pulls; the first 100 were measured. Check the "
                     "markers.");
    }
    if (pulls->unmarked) {
        outcome_note(
            &study->outcome, "pull_unmarked", QUALITY_INFO, SIGNAL_PULLER,
            "The puller also moved outward where no pull is marked. Only marked pulls were "
            "measured; mark the others if they are profiles.");
    }
    look_at_repeats(study);
}
