#include "analysis/classify.h"
#include "analysis/criteria.h"
#include "analysis/measure.h"
#include "analysis/quality.h"
#include "analysis/signal/integrate.h"

#include <math.h>

/* The signal that flow was recorded as. */
static enum signal_kind flow_signal(const struct study *study)
{
    return study->flow_derived ? SIGNAL_VVOID : SIGNAL_FLOW;
}

/* The findings on excursions, by verdict; and on those that are too many to list. */
static struct quality_finding knock_finding(const struct study *study, enum knock_verdict verdict)
{
    static const char *const texts[] = {
        [KNOCK_REMOVED] =
            "A short, fast excursion, as when the flowmeter is knocked. It was replaced by a "
            "straight line before anything was computed: look at the curve and confirm.",
        [KNOCK_SEVERAL] =
            "Several fast excursions like each other or close together: a pulsating or staccato "
            "flow, or repeated knocks on the flowmeter. They were not removed and may raise Qmax: "
            "look at the curve.",
        [KNOCK_ALONE] =
            "A short, fast excursion with no flow around it and a large share of the volume in it: "
            "a spurt, or a knock on the flowmeter. It was not removed: look at the curve."};

    return (struct quality_finding){.code = verdict == KNOCK_REMOVED ? "spike" : "fast_changes",
                                    .severity = QUALITY_WARNING,
                                    .signal = flow_signal(study),
                                    .text = texts[verdict]};
}

/* One past the last excursion that is told of together with `first`: a train is one finding. */
static size_t knock_group_end(const struct flow_record *record, size_t first)
{
    const size_t near = series_whole_samples(&record->cleaned, CRITERIA_TRAIN_NEAR_S);
    const struct knock *knocks = record->knocks;
    size_t end = first + 1;

    while (knocks[first].verdict == KNOCK_SEVERAL && end < record->knock_count &&
           knocks[end].verdict == KNOCK_SEVERAL &&
           knocks[end].first - knocks[end - 1].last <= near) {
        end++;
    }
    return end;
}

static void note_knocks(struct study *study, const struct flow_record *record)
{
    const struct knock *knocks = record->knocks;
    size_t listed = 0;
    size_t i = 0;

    while (i < record->knock_count) {
        const size_t end = knock_group_end(record, i);
        struct quality_finding finding = knock_finding(study, knocks[i].verdict);
        size_t last = end - 1;

        if (listed++ == CRITERIA_SPANS_LISTED) {
            finding.code = "spike";
            finding.severity = QUALITY_ERROR;
            finding.text = "There are many more fast excursions in this span. The flow signal is "
                           "disturbed: repeat the measurement if you can.";
            last = record->knock_count - 1;
        }
        outcome_note_span(&study->outcome, finding, series_time(&record->cleaned, knocks[i].first),
                          series_time(&record->cleaned, knocks[last].last));
        if (last + 1 != end) {
            break;
        }
        i = end;
    }
}

static void note_negative(struct study *study, const struct flow_record *record)
{
    /* Flow from volume is noisy sample by sample: there only what lasts counts. */
    const struct series *judged = study->flow_derived ? &record->detected : &study->flow;
    struct span span = {0.0, 0.0};
    bool found = false;

    for (size_t i = 0; i < judged->count; i++) {
        if (judged->samples[i] < CRITERIA_NEGATIVE_ML_S) {
            span.from_s = found ? span.from_s : series_time(judged, i);
            span.to_s = series_time(judged, i);
            found = true;
        }
    }
    if (found) {
        outcome_note_span(&study->outcome,
                          (struct quality_finding){
                              .code = "negative_flow",
                              .severity = QUALITY_WARNING,
                              .signal = flow_signal(study),
                              .text = "Flow is below -1 mL/s within this span. The meter was "
                                      "knocked, the vessel was moved, or the meter's zero is "
                                      "wrong: check the curve and the volumes."},
                          span.from_s, span.to_s);
    }
}

/* Level over a stretch that stands still; NaN when it does not. */
static double steady_level(const struct study *study, const struct flow_record *record,
                           struct span span)
{
    const double middle_s = 0.5 * (span.from_s + span.to_s);
    const double first =
        level_median(&record->cleaned, (struct span){span.from_s, middle_s}, study->scratch);
    const double second =
        level_median(&record->cleaned, (struct span){middle_s, span.to_s}, study->scratch);

    return fabs(first - second) <= CRITERIA_ZERO_STEADY_ML_S ? 0.5 * (first + second)
                                                             : SERIES_MISSING;
}

/* Whether the meter's zero is so far off that the whole recording counts as flow. */
static bool is_all_offset(const struct study *study, const struct flow_record *record,
                          const struct void_phase *phase)
{
    const double edge_s = 2.0 * CRITERIA_REST_MIN_S;
    const double start_s = record->cleaned.start_s;
    const double end_s = series_time(&record->cleaned, record->cleaned.count - 1);

    if (phase->span.from_s > start_s + edge_s || phase->span.to_s < end_s - edge_s ||
        end_s - start_s < 2.0 * edge_s) {
        return false;
    }
    const double first = steady_level(study, record, (struct span){start_s, start_s + edge_s});
    const double last = steady_level(study, record, (struct span){end_s - edge_s, end_s});

    return fmin(first, last) > CRITERIA_FLOW_ZERO_ML_S &&
           fmax(first, last) < CRITERIA_ZERO_MOST_ML_S &&
           fabs(first - last) <= CRITERIA_ZERO_STEADY_ML_S;
}

static void note_zero(struct study *study, const struct flow_record *record,
                      const struct void_phase *phase)
{
    struct quality_finding finding = {
        .code = "flow_zero", .severity = QUALITY_WARNING, .signal = SIGNAL_FLOW};

    if (study->flow_derived) {
        return;
    }
    if (phase->before.off) {
        finding.text = "Flow is not zero before the voiding: it rests more than 0.1 mL/s off. "
                       "Nothing was subtracted, so Qmax, volumes and times are wrong by it: zero "
                       "the meter before a recording, and read these values with care.";
        outcome_note_span(&study->outcome, finding, phase->before.span.from_s,
                          phase->before.span.to_s);
    }
    if (phase->after.off) {
        finding.text = "Flow does not return to zero after the voiding: it rests more than "
                       "0.1 mL/s off. The meter's zero is wrong, and then Qmax, volumes and times "
                       "are, or urine still drips: look at the curve, and zero the meter.";
        outcome_note_span(&study->outcome, finding, phase->after.span.from_s,
                          phase->after.span.to_s);
    }
    if (is_all_offset(study, record, phase)) {
        finding.severity = QUALITY_ERROR;
        finding.text = "Flow stands still above 0 at both ends of the recording, so that all of it "
                       "counts as flow. The meter's zero is wrong: times and volume are too large, "
                       "and Qmax is. Set void_start and void_end, zero the meter, and repeat the "
                       "measurement if you can.";
        outcome_note_span(&study->outcome, finding, record->cleaned.start_s,
                          series_time(&record->cleaned, record->cleaned.count - 1));
    }
}

static void note_ends(struct study *study, const struct void_phase *phase)
{
    struct quality_finding finding = {.severity = QUALITY_WARNING, .signal = flow_signal(study)};

    if (phase->start_unseen) {
        finding.code = "flow_start_unseen";
        finding.text = "Flow is already running where the recording, or the part after a gap, "
                       "begins. Times and volume are too small by what was not recorded.";
        outcome_note_span(&study->outcome, finding, phase->span.from_s, phase->span.from_s);
    }
    if (phase->end_unseen) {
        finding.code = "flow_end_unseen";
        finding.text = "Flow is still running where the recording, or the part before a gap, ends. "
                       "Times and volume are too small by what was not recorded.";
        outcome_note_span(&study->outcome, finding, phase->span.to_s, phase->span.to_s);
    }
    if (phase->gap_inside) {
        finding.code = "flow_gap";
        finding.severity = QUALITY_ERROR;
        finding.text = "Flow samples are missing during the voiding for more than 1 s. Qmax may "
                       "have been missed, and what needs the whole curve is absent. Repeat the "
                       "measurement if you can.";
        outcome_note_span(&study->outcome, finding, phase->span.from_s, phase->span.to_s);
    }
}

static void note_pauses(struct study *study, const struct flow_record *record,
                        const struct void_phase *phase)
{
    const struct quality_finding finding = {
        .code = "long_pause",
        .severity = QUALITY_INFO,
        .signal = flow_signal(study),
        .text = "Flow pauses for more than 10 s. What comes after may be another voiding: if so, "
                "part them with void_start and void_end."};
    size_t listed = 0;

    for (size_t i = phase->first_run; i + 1 < phase->run_end && listed < CRITERIA_SPANS_LISTED;
         i++) {
        const double from_s = record->runs[i].span.to_s;
        const double to_s = record->runs[i + 1].span.from_s;

        if (to_s - from_s > CRITERIA_LONG_PAUSE_S) {
            outcome_note_span(&study->outcome, finding, from_s, to_s);
            listed++;
        }
    }
}

static void note_mismatch(struct study *study, const struct flow_record *record,
                          const struct void_phase *phase, double volume_ml)
{
    const struct span span = flow_with_tails(record, phase);
    double integral_ml = 0.0;

    if (study->flow_derived || study->vvoid.count == 0 ||
        !integrate_span(&record->cleaned, span, CRITERIA_BRIDGE_S, &integral_ml)) {
        return;
    }
    const double limit_ml =
        fmax(CRITERIA_VOLUME_MISMATCH_ML, CRITERIA_VOLUME_MISMATCH_SHARE * fabs(volume_ml));

    if (fabs(integral_ml - volume_ml) > limit_ml) {
        outcome_note_span(
            &study->outcome,
            (struct quality_finding){
                .code = "volume_mismatch",
                .severity = QUALITY_WARNING,
                .signal = SIGNAL_VVOID,
                .text = "The voided volume signal and the integral of the flow differ by more than "
                        "10 mL and more than 5 %. The volume signal was used: check the meter's "
                        "calibration and whether the vessel was moved."},
            span.from_s, span.to_s);
    }
}

static void note_child_volume(struct study *study, const struct flow_measures *measures)
{
    double capacity_ml = 0.0;
    const double volume_ml = measures->voided_volume.value;

    if (!classify_expected_capacity(study->recording->age_years.value, &capacity_ml)) {
        return;
    }
    if (volume_ml < CRITERIA_LOW_VOLUME_CHILD_SHARE * capacity_ml) {
        outcome_note(&study->outcome, "low_volume", QUALITY_WARNING, flow_signal(study),
                     "The voided volume is below half of the capacity expected at the child's age. "
                     "The flow is not representative: repeat with a fuller bladder.");
    } else if (volume_ml > CRITERIA_HIGH_VOLUME_CHILD_SHARE * capacity_ml ||
               (measure_known(&measures->initial_volume) &&
                measures->initial_volume.value > CRITERIA_HIGH_INITIAL_CHILD_SHARE * capacity_ml)) {
        outcome_note(&study->outcome, "high_volume", QUALITY_INFO, flow_signal(study),
                     "The bladder was fuller than the capacity expected at the child's age. An "
                     "over-full bladder changes the flow: consider repeating it.");
    }
}

static void note_volume(struct study *study, const struct flow_measures *measures)
{
    const double volume_ml = measures->voided_volume.value;

    if (volume_ml > CRITERIA_PLAUSIBLE_VOLUME_ML || volume_ml < 0.0) {
        outcome_note(&study->outcome, "implausible_value", QUALITY_WARNING, flow_signal(study),
                     "The voided volume is outside 0 to 1000 mL. Check the meter and the unit.");
    }
    if (study_is_child(study)) {
        note_child_volume(study, measures);
        return;
    }
    if (volume_ml < CRITERIA_LOW_VOLUME_ADULT_ML) {
        outcome_note(&study->outcome, "low_volume", QUALITY_WARNING, flow_signal(study),
                     "The voided volume is below 150 mL. The flow is not representative: repeat "
                     "with a fuller bladder, and read Qmax with care.");
    } else if (volume_ml > CRITERIA_HIGH_VOLUME_ADULT_ML) {
        outcome_note(&study->outcome, "high_volume", QUALITY_INFO, flow_signal(study),
                     "The voided volume is above 600 mL. An over-full bladder may flow less well: "
                     "read Qmax with care.");
    }
}

static void note_qmax(struct study *study, const struct void_phase *phase,
                      const struct flow_measures *measures)
{
    const double at_s = measures->qmax.at_s;

    if (measures->qmax.value > CRITERIA_PLAUSIBLE_QMAX_ML_S) {
        outcome_note_span(&study->outcome,
                          (struct quality_finding){
                              .code = "implausible_value",
                              .severity = QUALITY_WARNING,
                              .signal = flow_signal(study),
                              .text = "Qmax is above 60 mL/s. Check the meter, the unit and the "
                                      "curve before using it."},
                          at_s, at_s);
    }
    if (measure_known(&measures->qave) &&
        measures->qave.value > CRITERIA_QAVE_RATIO * measures->qmax.value) {
        outcome_note_span(
            &study->outcome,
            (struct quality_finding){
                .code = "qave_above_qmax",
                .severity = QUALITY_WARNING,
                .signal = flow_signal(study),
                .text = "Qave is above Qmax. The flow comes in stretches shorter than the 2 s over "
                        "which Qmax is averaged, or volume and flow do not fit together: look at "
                        "the curve, and use neither number by itself."},
            phase->span.from_s, phase->span.to_s);
    }
    if (measure_known(&measures->flow_time) &&
        phase->span.to_s - at_s < CRITERIA_LATE_MAX_SHARE * measures->flow_time.value) {
        outcome_note_span(&study->outcome,
                          (struct quality_finding){
                              .code = "late_max",
                              .severity = QUALITY_WARNING,
                              .signal = flow_signal(study),
                              .text = "Qmax lies at the very end of the flow. The vessel may have "
                                      "been moved then: look at the curve, and set void_end before "
                                      "it if so."},
                          at_s, fmax(at_s, phase->span.to_s));
    }
}

void quality_of_flow(struct study *study, const struct flow_record *record,
                     const struct void_phase *phase, const struct flow_measures *measures)
{
    if (record->cleaned.count == 0) {
        return;
    }
    quality_of_flow_range(study);
    note_knocks(study, record);
    note_negative(study, record);
    if (phase->only_earlier) {
        outcome_note(&study->outcome, "flow_before_marker", QUALITY_WARNING, flow_signal(study),
                     "All flow lies before the permission_to_void or void_start marker, so no "
                     "voiding was found. If it is the voiding, move the marker before it.");
    }
    if (!phase->found) {
        return;
    }
    note_zero(study, record, phase);
    note_ends(study, phase);
    note_pauses(study, record, phase);
    if (measure_known(&measures->voided_volume)) {
        note_mismatch(study, record, phase, measures->voided_volume.value);
        note_volume(study, measures);
    }
    if (measure_known(&measures->qmax)) {
        note_qmax(study, phase, measures);
    }
}
