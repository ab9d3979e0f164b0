#include "analysis/flow/uroflow.h"

#include "analysis/criteria.h"
#include "analysis/flow/pattern.h"
#include "analysis/flow/squeeze.h"
#include "analysis/measure.h"
#include "analysis/nomogram/nomogram.h"
#include "analysis/quality.h"
#include "analysis/signal/integrate.h"

#include <math.h>

static const char no_signal[] = "no usable flow or voided volume signal";
static const char no_void[] = "no flow was found that lasts half a second and makes 1 mL";
static const char only_earlier[] =
    "flow was found only before the permission_to_void or void_start marker";
static const char no_qmax[] = "no maximum flow";
static const char no_volume[] = "no voided volume";
static const char no_residual[] = "no post-void residual was entered";
static const char gap_reason[] =
    "flow samples are missing during the voiding for longer than can be bridged (1 s)";

/* Every measure absent for one reason; the residual may still be known. */
static void all_absent(struct flow_measures *measures, const char *reason)
{
    const struct measure absent = measure_absent(reason);

    *measures = (struct flow_measures){.qmax = absent,
                                       .qave = absent,
                                       .voided_volume = absent,
                                       .flow_time = absent,
                                       .voiding_time = absent,
                                       .time_to_qmax = absent,
                                       .delay_time = absent,
                                       .interruptions = absent,
                                       .post_void_residual = absent,
                                       .initial_volume = absent,
                                       .voiding_efficiency = absent,
                                       .qmax_corrected = absent,
                                       .flow_pattern = absent,
                                       .qmax_centile = absent,
                                       .expected_capacity = measures->expected_capacity};
}

static struct measure measure_residual(const struct study *study)
{
    const struct optional_number residual = study->recording->conditions.post_void_residual_ml;

    if (!residual.known) {
        return measure_absent(no_residual);
    }
    if (!(residual.value >= 0.0 && residual.value <= CRITERIA_SAMPLE_LIMIT)) {
        return measure_absent("the entered post-void residual is no possible volume");
    }
    return measure_entered(residual.value, NULL);
}

static void note_squeezes(struct study *study, const struct span *squeezes, size_t count)
{
    const struct quality_finding finding = {
        .code = "squeeze",
        .severity = QUALITY_WARNING,
        .signal = study->flow_derived ? SIGNAL_VVOID : SIGNAL_FLOW,
        .text = "The stream stops short and comes back in a surge, as when the urethra is squeezed "
                "by hand. Qmax was not taken from here: look at the curve, and repeat the "
                "measurement if it rests on little else."};

    for (size_t i = 0; i < count; i++) {
        outcome_note_span(&study->outcome, finding, squeezes[i].from_s, squeezes[i].to_s);
    }
}

static struct measure measure_qmax(struct study *study, const struct flow_record *record,
                                   const struct void_phase *phase)
{
    const struct series *smoothed = &record->smoothed;
    struct span squeezes[SQUEEZE_MAX];
    size_t index = 0;

    if (record->smoothed.count == 0) {
        return measure_absent("flow is sampled too slowly for the 2 s average (below 1 Hz)");
    }
    const size_t count = squeeze_find(&study->flow, phase->span, squeezes);

    note_squeezes(study, squeezes, count);
    if (!squeeze_maximum(smoothed, phase->span, squeezes, count, &index)) {
        return measure_absent(count > 0 ? "all of the flow lies beside a squeeze"
                                        : "too many flow samples are missing for the 2 s average");
    }
    return measure_at(
        smoothed->samples[index], series_time(smoothed, index),
        study->flow_derived
            ? "maximum of the centred 2 s average of the flow; flow is the slope of "
              "the voided volume over 0.5 s, its steps joined by straight lines; "
              "knocks on the meter and squeezes excluded, gaps of up to 1 s bridged, windows with "
              "longer ones left out"
            : "maximum of the centred 2 s average of the flow; knocks on the meter "
              "and squeezes excluded, gaps of up to 1 s bridged, windows with "
              "longer ones left out");
}

/* Level of the volume channel over the second beside `at_s` (side 1 after it, -1 before it), or at
 * it where a marker cuts the flow there (side 0). */
static double volume_level(const struct study *study, double at_s, double side)
{
    const double reach_s = CRITERIA_VOLUME_LEVEL_S;
    const double inner_s = side < 0.0 || side > 0.0 ? 0.0 : CRITERIA_VOLUME_CUT_HALF_S;
    const struct span span = {fmin(at_s, at_s + side * reach_s) - inner_s,
                              fmax(at_s, at_s + side * reach_s) + inner_s};
    const double level = level_median(&study->vvoid, span, study->scratch);

    return isnan(level) ? series_value(&study->vvoid, at_s) : level;
}

static struct measure measure_volume(const struct study *study, const struct flow_record *record,
                                     const struct void_phase *phase)
{
    const struct span span = flow_with_tails(record, phase);

    if (study->vvoid.count > 0) {
        const double after = volume_level(study, span.to_s, phase->end_cut ? 0.0 : 1.0);
        const double before = volume_level(study, span.from_s, phase->start_cut ? 0.0 : -1.0);

        if (isfinite(after - before)) {
            return measure_of(after - before, "rise of the voided volume signal over the voiding");
        }
    }
    double integral_ml = 0.0;

    if (study->flow_derived) {
        return measure_absent("the voided volume signal is missing beside the voiding");
    }
    if (!integrate_span(&record->cleaned, span, CRITERIA_BRIDGE_S, &integral_ml)) {
        return measure_absent(gap_reason);
    }
    return measure_of(integral_ml,
                      "integral of the flow over the voiding with the trickle beside it "
                      "(up to 10 s, down to 0.05 mL/s above its resting level), knocks excluded");
}

/* Without a run of flow: the rise of the volume from end to end of where voiding was looked for. */
static struct measure measure_volume_alone(struct study *study, const struct void_phase *phase,
                                           const char *reason)
{
    const struct series *vvoid = &study->vvoid;

    if (vvoid->count == 0) {
        return measure_absent(reason);
    }
    const double from_s = fmax(vvoid->start_s, phase->limits.from_s);
    const double to_s = fmin(series_time(vvoid, vvoid->count - 1), phase->limits.to_s);
    const double rise_ml = volume_level(study, to_s, -1.0) - volume_level(study, from_s, 1.0);

    if (!(rise_ml >= CRITERIA_VOLUME_ALONE_MIN_ML)) {
        return measure_absent(reason);
    }
    outcome_note_span(
        &study->outcome,
        (struct quality_finding){
            .code = "volume_without_flow",
            .severity = QUALITY_WARNING,
            .signal = SIGNAL_VVOID,
            .text = "The voided volume rises, but no flow was found that lasts. Urine came too "
                    "slowly or in drops, or the vessel was moved: look at the curve before using "
                    "the volume."},
        from_s, to_s);
    return measure_of(rise_ml, "rise of the voided volume signal over the recording, or between "
                               "its markers; no flow was found that lasts");
}

static void measure_times(const struct study *study, const struct flow_record *record,
                          const struct void_phase *phase, struct flow_measures *measures)
{
    static const char from_flow[] = "flow counts from 0.5 mL/s, sustained for 0.5 s; a gap is flow "
                                    "below that for at least 1 s";
    static const char from_volume[] =
        "flow counts from 0.5 mL/s, sustained for 0.5 s; a gap is flow below that for at least "
        "1 s. Flow is the slope of the voided volume: onset and end are exact to 0.1 s, or to the "
        "time that one step of the volume signal takes if that is longer";
    const char *threshold = study->flow_derived ? from_volume : from_flow;
    const struct optional_number permission = study->timeline.permission;
    double flow_s = 0.0;

    for (size_t i = phase->first_run; i < phase->run_end; i++) {
        const struct span run = flow_run_span(record, phase, i);

        flow_s += run.to_s - run.from_s;
    }
    measures->voiding_time =
        measure_at(phase->span.to_s - phase->span.from_s, phase->span.from_s, threshold);
    if (phase->gap_inside) {
        measures->flow_time = measure_absent(gap_reason);
        measures->interruptions = measure_absent(gap_reason);
    } else {
        measures->flow_time = measure_at(flow_s, phase->span.from_s, threshold);
        measures->interruptions =
            measure_of((double)(phase->run_end - phase->first_run - 1), threshold);
    }
    if (measure_known(&measures->qmax)) {
        measures->time_to_qmax = measure_at(fmax(measures->qmax.at_s - phase->span.from_s, 0.0),
                                            measures->qmax.at_s, threshold);
    } else {
        measures->time_to_qmax = measure_absent(no_qmax);
    }
    if (!permission.known) {
        measures->delay_time = measure_absent("no permission_to_void marker");
    } else if (phase->span.from_s < permission.value) {
        measures->delay_time = measure_absent("flow began before the permission_to_void marker");
    } else {
        measures->delay_time =
            measure_at(phase->span.from_s - permission.value, permission.value, threshold);
    }
}

static void measure_ratios(struct flow_measures *measures)
{
    const struct measure *volume = &measures->voided_volume;
    const struct measure *residual = &measures->post_void_residual;

    if (!measure_known(volume)) {
        measures->qave = measure_absent(no_volume);
    } else if (!measure_known(&measures->flow_time)) {
        measures->qave = measure_absent("no flow time");
    } else {
        measures->qave = measure_of(volume->value / measures->flow_time.value,
                                    "voided volume over flow time; gaps in the flow not counted");
    }
    if (!measure_known(volume) || !measure_known(residual)) {
        const struct measure absent =
            measure_absent(measure_known(volume) ? residual->reason : no_volume);

        measures->initial_volume = absent;
        measures->voiding_efficiency = absent;
        measures->qmax_corrected = absent;
        return;
    }
    const double initial_ml = volume->value + residual->value;

    if (!(initial_ml > 0.0 && volume->value >= 0.0)) {
        const struct measure absent = measure_absent("the voided volume is not positive");

        measures->initial_volume = absent;
        measures->voiding_efficiency = absent;
        measures->qmax_corrected = absent;
        return;
    }
    measures->initial_volume = measure_of(initial_ml, "voided volume plus entered residual");
    measures->voiding_efficiency =
        measure_of(100.0 * volume->value / initial_ml, "100 * voided / (voided + residual)");
    measures->qmax_corrected =
        measure_known(&measures->qmax)
            ? measure_of(measures->qmax.value / sqrt(initial_ml),
                         "Qmax over the square root of voided plus residual volume")
            : measure_absent(no_qmax);
}

/* Whether a train of fast changes that was kept lies in the voiding: the 2 s average would hide it.
 */
static bool has_train(const struct flow_record *record, const struct void_phase *phase)
{
    for (size_t i = 0; i < record->knock_count; i++) {
        const double at_s = series_time(&record->cleaned, record->knocks[i].first);

        if (record->knocks[i].verdict == KNOCK_SEVERAL && at_s >= phase->span.from_s &&
            at_s <= phase->span.to_s) {
            return true;
        }
    }
    return false;
}

static struct measure measure_pattern(const struct study *study, const struct flow_record *record,
                                      const struct void_phase *phase,
                                      const struct flow_measures *measures)
{
    if (!measure_known(&measures->qmax)) {
        return measure_absent(no_qmax);
    }
    if (!measure_known(&measures->interruptions)) {
        return measure_absent(gap_reason);
    }
    const struct series *curve = has_train(record, phase) ? &record->cleaned : &record->smoothed;

    const struct pattern_facts facts = {
        .child = study_is_child(study),
        .interruptions = measures->interruptions.value,
        .dip_ml_s = pattern_deepest_dip(curve, phase->span),
        .qmax_ml_s = measures->qmax.value,
        .volume_ml = measure_known(&measures->voided_volume) ? measures->voided_volume.value
                                                             : SERIES_MISSING,
        .flat_share = pattern_flat_share(&record->smoothed, phase->span, measures->qmax.value)};

    return pattern_name(&facts);
}

static struct measure measure_centile(const struct study *study, bool free_flow,
                                      const struct flow_measures *measures)
{
    if (!free_flow) {
        return measure_absent("the nomogram is for free flow without a catheter");
    }
    if (!measure_known(&measures->qmax)) {
        return measure_absent(no_qmax);
    }
    if (!measure_known(&measures->voided_volume)) {
        return measure_absent(no_volume);
    }
    const struct nomogram_answer answer =
        nomogram_liverpool(study->recording->sex, study_age_years(study),
                           measures->voided_volume.value, measures->qmax.value);

    if (!answer.known) {
        return measure_absent(answer.reason);
    }
    return measure_of(answer.centile,
                      study->recording->sex == SEX_FEMALE
                          ? "Liverpool nomogram for adult women (Haylen 1989), by voided volume, "
                            "15 to 600 mL; coefficients from memory, unconfirmed"
                          : "Liverpool nomogram for adult men (Haylen 1989), by voided volume and "
                            "age, 15 to 600 mL; coefficients from memory, unconfirmed");
}

/* What is counted or summed over the voiding. */
static void rest_on_voiding(const struct void_phase *phase, struct flow_measures *measures)
{
    struct measure *const all[] = {&measures->voided_volume, &measures->flow_time,
                                   &measures->voiding_time, &measures->interruptions,
                                   &measures->flow_pattern};

    for (size_t i = 0; i < sizeof all / sizeof all[0]; i++) {
        measure_rest_on(all[i], phase->span.from_s, phase->span.to_s);
    }
}

void uroflow_measure(struct study *study, const struct flow_record *record,
                     const struct void_phase *phase, bool free_flow, struct flow_measures *measures)
{
    if (free_flow) {
        measures->expected_capacity = study_expected_capacity(study);
    }
    if (record->cleaned.count == 0 || !phase->found) {
        const char *reason = phase->only_earlier ? only_earlier : no_void;

        all_absent(measures, record->cleaned.count == 0 ? no_signal : reason);
        measures->post_void_residual = measure_residual(study);
        measures->voided_volume =
            measure_volume_alone(study, phase, measures->voided_volume.reason);
        if (measure_known(&measures->voided_volume)) {
            measure_ratios(measures);
        }
        if (!free_flow) {
            measures->qmax_centile = measure_centile(study, free_flow, measures);
        }
        quality_of_flow(study, record, phase, measures);
        return;
    }
    measures->post_void_residual = measure_residual(study);
    measures->qmax = measure_qmax(study, record, phase);
    measures->voided_volume = measure_volume(study, record, phase);
    measure_times(study, record, phase, measures);
    measure_ratios(measures);
    measures->flow_pattern = measure_pattern(study, record, phase, measures);
    measures->qmax_centile = measure_centile(study, free_flow, measures);
    rest_on_voiding(phase, measures);
    quality_of_flow(study, record, phase, measures);
}
