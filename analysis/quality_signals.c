#include "analysis/criteria.h"
#include "analysis/memory.h"
#include "analysis/quality.h"
#include "analysis/quality_spans.h"
#include "analysis/signal/resample.h"

#include <math.h>

/* A signal as this file walks over it. */
struct subject {
    enum signal_kind signal;
    const struct series *series;
};

/* From the last sample before a stretch to the first after it, within the series. */
static struct span stretch_span(const struct series *series, size_t first, size_t end)
{
    return (struct span){series_time(series, first > 0 ? first - 1 : 0),
                         series_time(series, end < series->count ? end : series->count - 1)};
}

/* Most signals have no gap, and then counting is quicker than looking for one. */
static bool has_gap(const struct series *series)
{
    size_t missing = 0;

    for (size_t i = 0; i < series->count; i++) {
        missing += isnan(series->samples[i]) ? 1 : 0;
    }
    return missing > 0;
}

static void note_missing(struct study *study, struct subject subject)
{
    const struct series *series = subject.series;
    struct quality_spans list = {
        .outcome = &study->outcome,
        .finding = {.code = "missing_samples",
                    .severity = QUALITY_WARNING,
                    .signal = subject.signal,
                    .text = "Samples of this signal are missing here and were not filled in. "
                            "Values read near it may be absent or less certain: look at the "
                            "trace."},
        .text_rest = "Further samples of this signal are missing at several places within this "
                     "span. Check the connection of the sensor, and look at the trace."};
    size_t i = has_gap(series) ? 0 : series->count;

    while (i < series->count) {
        const size_t first = i;

        while (i < series->count && isnan(series->samples[i])) {
            i++;
        }
        if (i > first) {
            quality_spans_add(&list, stretch_span(series, first, i));
        }
        i++;
    }
    quality_spans_close(&list);
}

static void note_sampling(struct study *study, struct subject subject)
{
    if (subject.series->rate_hz < CRITERIA_SAMPLING_FLOOR_HZ * (1.0 - 1e-6)) {
        outcome_note(&study->outcome, "low_sampling_rate", QUALITY_WARNING, subject.signal,
                     "This signal is sampled below 10 Hz, the floor for flow and pressure. Fast "
                     "changes, coughs and knocks are not seen, and times are less exact.");
    }
}

static bool is_implausible(double pressure_cmh2o)
{
    return pressure_cmh2o < CRITERIA_PLAUSIBLE_PRESSURE_MIN ||
           pressure_cmh2o > CRITERIA_PLAUSIBLE_PRESSURE_MAX;
}

static void note_implausible(struct study *study, struct subject subject)
{
    const struct series *series = subject.series;
    const size_t shortest = series_whole_samples(series, CRITERIA_PLAUSIBLE_PRESSURE_S) + 1;
    struct quality_spans list = {
        .outcome = &study->outcome,
        .finding = {.code = "implausible_value",
                    .severity = QUALITY_WARNING,
                    .signal = subject.signal,
                    .text = "This pressure stays outside what is plausible for at least a second. "
                            "Check zero, reference level, flushing and the position of the line "
                            "before using values from here."},
        .text_rest = "This pressure is outside what is plausible at several further places within "
                     "this span. Check zero, reference level and the line."};
    size_t i = 0;

    while (i < series->count) {
        const size_t first = i;

        while (i < series->count && is_implausible(series->samples[i])) {
            i++;
        }
        if (i - first >= shortest) {
            quality_spans_add(&list, stretch_span(series, first, i));
        }
        i += i == first ? 1 : 0;
    }
    quality_spans_close(&list);
}

/* A line that shows one and the same value for half a minute is not measuring. */
static void note_flat(struct study *study, struct subject subject)
{
    const struct series *series = subject.series;
    size_t first = 0;
    size_t longest_length = 2; /* one sample is no stretch */
    struct span longest = {0.0, 0.0};

    for (size_t i = 1; i <= series->count; i++) {
        const bool same =
            i < series->count && fabs(series->samples[i] - series->samples[first]) <= 0.0;

        if (same) {
            continue;
        }
        if (i - first >= longest_length) {
            const struct span span = {series_time(series, first), series_time(series, i - 1)};

            longest = span.to_s - span.from_s > longest.to_s - longest.from_s ? span : longest;
            longest_length = i - first;
        }
        first = i;
    }
    if (longest.to_s - longest.from_s >= CRITERIA_FLAT_S) {
        const struct quality_finding finding = {
            .code = "flat_line",
            .severity = QUALITY_WARNING,
            .signal = subject.signal,
            .text = "This pressure does not move at all here. The line may be closed, blocked or "
                    "disconnected: ask for a cough and look at the response."};

        outcome_note_span(&study->outcome, finding, longest.from_s, longest.to_s);
    }
}

/* The uploaded pdet against pves - pabd, on pves's axis. */
static void note_pdet_mismatch(struct study *study)
{
    size_t compared = 0;
    size_t different = 0;
    struct span span = {0.0, 0.0};

    if (study->pdet_derived || study->pdet.count == 0 || study->pves.count == 0 ||
        study->pabd.count == 0) {
        return;
    }
    const bool pabd_paired = resample_same_axis(&study->pves, &study->pabd);
    const bool pdet_paired = resample_same_axis(&study->pves, &study->pdet);

    for (size_t i = 0; i < study->pves.count; i++) {
        const double difference = study->pves.samples[i] -
                                  resample_at(&study->pves, i, &study->pabd, pabd_paired) -
                                  resample_at(&study->pves, i, &study->pdet, pdet_paired);

        if (isnan(difference)) {
            continue;
        }
        compared++;
        if (fabs(difference) > CRITERIA_PDET_DIFFERENCE_CMH2O) {
            const double at_s = series_time(&study->pves, i);

            span.from_s = different == 0 ? at_s : span.from_s;
            span.to_s = at_s;
            different++;
        }
    }
    if ((double)different > CRITERIA_PDET_DIFFERENCE_SHARE * (double)compared) {
        const struct quality_finding finding = {
            .code = "pdet_mismatch",
            .severity = QUALITY_ERROR,
            .signal = SIGNAL_PDET,
            .text = "The uploaded detrusor pressure differs from vesical minus abdominal pressure "
                    "by more than 5 cmH2O. The uploaded one was used: find out which of the three "
                    "signals is wrong before using any pressure value."};

        outcome_note_span(&study->outcome, finding, span.from_s, span.to_s);
    }
}

static void note_markers(struct study *study)
{
    const struct span extent = study_extent(study);
    const struct timeline *timeline = &study->timeline;

    /* Sections with signals of their own look at their markers themselves. */
    for (size_t i = 0; i < timeline->count && extent.from_s <= extent.to_s; i++) {
        const double at_s = timeline->events[i].at_s;

        if (at_s < extent.from_s - CRITERIA_MARKER_SLACK_S ||
            at_s > extent.to_s + CRITERIA_MARKER_SLACK_S) {
            outcome_note(&study->outcome, "marker_outside", QUALITY_WARNING, SIGNAL_NONE,
                         "At least one marker lies outside the recorded signals. Move it to where "
                         "it belongs, or delete it.");
            break;
        }
    }
    if (timeline_count(timeline, EVENT_PERMISSION_TO_VOID) > 1) {
        outcome_note(&study->outcome, "repeated_marker", QUALITY_WARNING, SIGNAL_NONE,
                     "There is more than one permission_to_void marker. The first one was used: "
                     "delete the others if that is not the right one.");
    }
    if (timeline->permission.known && timeline->void_start.known &&
        timeline->void_start.value < timeline->permission.value) {
        outcome_note(&study->outcome, "marker_order", QUALITY_WARNING, SIGNAL_NONE,
                     "A void_start marker lies before permission_to_void. Check both markers: the "
                     "later one was used.");
    }
    if (timeline->void_end.known && timeline->void_start.known &&
        timeline->void_end.value <= timeline->void_start.value) {
        outcome_note(&study->outcome, "marker_order", QUALITY_WARNING, SIGNAL_NONE,
                     "The void_end marker does not lie after void_start and was not used. Check "
                     "both markers.");
    }
}

static bool outside(struct optional_number number, double least, double most)
{
    return number.known && !(number.value >= least && number.value <= most);
}

static void note_patient(struct study *study)
{
    const struct recording *recording = study->recording;

    if (study_age_years(study) < 0.0) {
        outcome_note(&study->outcome, "age_unknown", QUALITY_INFO, SIGNAL_NONE,
                     "The patient's age is unknown or not plausible. Rules for adults were "
                     "applied where they do not need the age itself; enter the date of birth.");
    }
    if (outside(recording->weight_kg, CRITERIA_PLAUSIBLE_WEIGHT_MIN_KG,
                CRITERIA_PLAUSIBLE_WEIGHT_MAX_KG)) {
        outcome_note(&study->outcome, "implausible_value", QUALITY_WARNING, SIGNAL_NONE,
                     "The patient's weight is not plausible. Correct it.");
    }
    if (outside(recording->conditions.post_void_residual_ml, 0.0, CRITERIA_PLAUSIBLE_VOLUME_ML) ||
        outside(recording->conditions.initial_residual_ml, 0.0, CRITERIA_PLAUSIBLE_VOLUME_ML)) {
        outcome_note(&study->outcome, "implausible_value", QUALITY_WARNING, SIGNAL_NONE,
                     "An entered residual volume is outside 0 to 1000 mL. Check the entry.");
    }
}

void quality_of_signals(struct study *study)
{
    const struct subject pressures[] = {
        {SIGNAL_PVES, &study->pves}, {SIGNAL_PABD, &study->pabd}, {SIGNAL_PDET, &study->pdet}};
    const struct subject volumes[] = {
        {SIGNAL_FLOW, &study->flow}, {SIGNAL_VVOID, &study->vvoid}, {SIGNAL_VINF, &study->vinf}};

    for (size_t i = 0; i < sizeof pressures / sizeof pressures[0]; i++) {
        const bool derived = pressures[i].signal == SIGNAL_PDET && study->pdet_derived;

        if (pressures[i].series->count == 0 || derived) {
            continue;
        }
        note_missing(study, pressures[i]);
        note_sampling(study, pressures[i]);
        note_flat(study, pressures[i]);
    }
    for (size_t i = 0; i < sizeof pressures / sizeof pressures[0]; i++) {
        note_implausible(study, pressures[i]);
    }
    for (size_t i = 0; i < sizeof volumes / sizeof volumes[0]; i++) {
        const bool derived = volumes[i].signal == SIGNAL_FLOW && study->flow_derived;

        if (volumes[i].series->count == 0 || derived) {
            continue;
        }
        note_missing(study, volumes[i]);
        if (volumes[i].signal == SIGNAL_FLOW ||
            (volumes[i].signal == SIGNAL_VVOID && study->flow_derived)) {
            note_sampling(study, volumes[i]);
        }
    }
    note_pdet_mismatch(study);
    note_markers(study);
    note_patient(study);
}
